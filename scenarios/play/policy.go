package play

import (
	"fmt"
	"slices"

	"zonule/scenarios/script"
	"zonule/scenarios/script/text"
)

// Policy is a way to play a scenario: what it would choose, in order, and how long it thinks. Choice ids are
// unique in a scenario, so one list serves all stages.
type Policy struct {
	Name      string
	About     string
	Prefer    []string // choice ids; the first one offered and not yet taken is preferred
	ThinkFrom float64  // seconds, evenly between the two
	ThinkTo   float64
	Reason    string // given when a choice asks for one
}

type rawPolicies struct {
	Policies map[string]struct {
		About  string   `yaml:"about"`
		Prefer []string `yaml:"prefer"`
		As     string   `yaml:"as"`
		Thinks struct {
			From string `yaml:"from"`
			To   string `yaml:"to"`
		} `yaml:"thinks"`
		Reason string `yaml:"reason"`
	} `yaml:"policies"`
}

// ParsePolicies reads a scenario's policies.yaml:
//
//	policies:
//	  recommended: {about: ..., thinks: {from: 2 s, to: 5 s}, prefer: [hold, fill, ...], reason: "..."}
//	  withdraw-at-once: {about: ..., prefer: [withdraw-now], as: recommended}
//
// as appends the preferences of another policy, one that has no as itself, and takes its thinking time and
// reason where none are given. The error is text.Problems: unknown choices, policies and keys.
func ParsePolicies(file string, data []byte, sc *script.Scenario) ([]Policy, error) {
	doc, err := text.Parse(file, data)
	if err != nil {
		return nil, err
	}
	var raw rawPolicies
	if err := doc.Decode(&raw); err != nil {
		return nil, err
	}
	var out []Policy
	var problems text.Problems
	for _, name := range doc.Keys("policies") {
		r := raw.Policies[name]
		p := Policy{Name: name, About: r.About, Reason: r.Reason}
		base, has := raw.Policies[r.As]
		if r.As != "" && (!has || base.As != "") {
			problems = append(problems, doc.Problem(fmt.Sprintf("as: %q is no policy that stands by itself", r.As), "name one without as", "policies", name, "as"))
		}
		p.Prefer = append(slices.Clone(r.Prefer), base.Prefer...)
		if p.Reason == "" {
			p.Reason = base.Reason
		}
		if r.Thinks.From == "" {
			r.Thinks = base.Thinks
		}
		for i, id := range r.Prefer {
			if _, _, ok := sc.Choice(id); !ok && id != script.SafeStop {
				problems = append(problems, doc.Problem(fmt.Sprintf("the scenario offers no choice %q", id), "name a choice of its stages", "policies", name, "prefer", i))
			}
		}
		from, err1 := script.ParseSeconds(r.Thinks.From)
		to, err2 := script.ParseSeconds(r.Thinks.To)
		if err1 != nil || err2 != nil || from < 0 || to < from {
			problems = append(problems, doc.Problem("thinks wants two times", "write thinks: {from: 2 s, to: 5 s}", "policies", name))
		}
		p.ThinkFrom, p.ThinkTo = from, to
		out = append(out, p)
	}
	return out, problems.Err()
}

// Player plays drills of one scenario by a policy. It sees only what a trainee sees, and the author's stances.
type Player struct {
	policy Policy
	sc     *script.Scenario
	skill  float64
	stream *script.Stream
	taken  map[string]bool
}

// NewPlayer makes a player. Skill is the chance, 0 to 1, that a decision is the policy's own; otherwise it is
// any other offered choice but the safe stop. Chance and thinking times come from the seed alone, so that two
// policies on one seed think equally long until they part.
func NewPlayer(p Policy, sc *script.Scenario, skill float64, seed uint64) *Player {
	return &Player{policy: p, sc: sc, skill: skill, stream: script.NewStream(seed, "player"), taken: map[string]bool{}}
}

// Choose decides on a scene. When the thinking time drawn is beyond the limit the clock runs out.
func (p *Player) Choose(s Scene) Decision {
	own := p.policy.Pick(s, p.sc, func(id string) bool { return p.taken[id] })
	slips := p.stream.Uniform() >= p.skill
	pick := p.stream.Uniform()
	thinks := p.policy.ThinkFrom + float64(p.stream.Uniform()*(p.policy.ThinkTo-p.policy.ThinkFrom))
	if others := p.others(s, own); slips && len(others) > 0 {
		own = others[min(len(others)-1, int(pick*float64(len(others))))]
	}
	d := Decision{Choice: own, Elapsed: thinks}
	for _, o := range s.Choices {
		if o.ID == own && o.AsksReason {
			d.Reason = p.policy.Reason
		}
	}
	if s.LimitS > 0 && thinks > s.LimitS {
		return Decision{TimedOut: true}
	}
	p.taken[own] = true
	return d
}

// Pick gives what the policy would choose in a scene: the first of its list that is offered and not yet taken,
// else the first that is offered, else a choice the author prefers, else the safe stop.
func (p Policy) Pick(s Scene, sc *script.Scenario, taken func(choice string) bool) string {
	offered := func(id string) bool { return slices.ContainsFunc(s.Choices, func(o Offer) bool { return o.ID == id }) }
	for _, fresh := range []bool{true, false} {
		for _, id := range p.Prefer {
			if offered(id) && !(fresh && taken(id)) {
				return id
			}
		}
	}
	for _, want := range []string{string(Preferred), string(Acceptable)} {
		for _, o := range s.Choices {
			if _, c, ok := sc.Choice(o.ID); ok && c.Stance == want {
				return o.ID
			}
		}
	}
	return script.SafeStop
}

func (p *Player) others(s Scene, own string) []string {
	var out []string
	for _, o := range s.Choices {
		if o.ID != own && o.ID != script.SafeStop {
			out = append(out, o.ID)
		}
	}
	return out
}

// MaxDecisions is where a player gives up and takes the safe stop.
const MaxDecisions = 80

// Play plays a drill to its end.
func (p *Player) Play(d *Drill) error {
	for !d.Ended() {
		scene := d.Scene()
		dec := p.Choose(scene)
		if scene.Index >= MaxDecisions {
			dec = Decision{Choice: script.SafeStop}
		}
		if _, err := d.Decide(dec); err != nil {
			return err
		}
	}
	return nil
}
