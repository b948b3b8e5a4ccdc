// Package overlay lets a programme change what is local about a scenario without touching its text: settings,
// thresholds and what is never done here. An overlay is a versioned file that somebody approved, with a reason;
// [Apply] gives the changed scenario, whose digest names both and which says which overlay applied, so that every
// drill played on it says so too.
//
//	zonule: overlay/1
//	id: north-wet-lab
//	version: 2
//	approved_by: "programme director, 2026-10-01"
//	reason: "the benches' machines run with lower bottles"
//	scenarios:
//	  morning-list-two:
//	    machine: {bottle: 85 cm}                            # first settings
//	    settings: {lower-all: {machine: {bottle: 50 cm}}}   # in a choice's or a move's actions
//	    limits: {tug: 20 s}                                 # of a stage's clock
//	    conditions:                                         # was guards against a text that has moved on
//	      - {stage: quiet, go: filled, was: "...", now: "..."}
//	      - {ending: held, was: "...", now: "..."}
//	    never: {turn-lens: "our rule: the lens is not turned before the bag is held"}
//
// A choice in never becomes critical, with the programme's reason. Rubrics are the judge's and are not changed here.
package overlay

import (
	"fmt"
	"regexp"
	"strings"

	"zonule/scenarios/eye"
	"zonule/scenarios/script"
	"zonule/scenarios/script/text"
)

// Language names the form of an overlay and its version.
const Language = "overlay/1"

// Overlay is one version of a programme's local changes.
type Overlay struct {
	ID         string
	Version    int
	ApprovedBy string
	Reason     string
	Digest     string // of the bytes it was parsed from

	parts map[string]part
	doc   *text.Doc
}

// part is what changes in one scenario.
type part struct {
	machine    map[string]script.Term
	settings   map[string]map[string]map[string]script.Term // choice or move, verb, argument
	limits     map[string]float64
	conditions []condition
	never      map[string]string
}

// condition replaces one condition.
type condition struct{ stage, to, ending, was, now string }

type (
	rawOverlay struct {
		Zonule     string             `yaml:"zonule"`
		ID         string             `yaml:"id"`
		Version    int                `yaml:"version"`
		ApprovedBy string             `yaml:"approved_by"`
		Reason     string             `yaml:"reason"`
		Scenarios  map[string]rawPart `yaml:"scenarios"`
	}
	rawPart struct {
		Machine    map[string]any            `yaml:"machine"`
		Settings   map[string]map[string]any `yaml:"settings"`
		Limits     map[string]string         `yaml:"limits"`
		Conditions []rawCondition            `yaml:"conditions"`
		Never      map[string]string         `yaml:"never"`
	}
	rawCondition struct {
		Stage  string `yaml:"stage"`
		Go     string `yaml:"go"`
		Ending string `yaml:"ending"`
		Was    string `yaml:"was"`
		Now    string `yaml:"now"`
	}
)

var idForm = regexp.MustCompile(`^[a-z][a-z0-9]*(-[a-z0-9]+)*$`)

// Parse reads an overlay; file is only a name for messages. The error is text.Problems. Whether its names fit a
// scenario is for Apply to say.
func Parse(file string, data []byte) (*Overlay, error) {
	doc, err := text.Parse(file, data)
	if err != nil {
		return nil, err
	}
	var raw rawOverlay
	if err := doc.Decode(&raw); err != nil {
		return nil, err
	}
	o := &Overlay{ID: raw.ID, Version: raw.Version, ApprovedBy: strings.TrimSpace(raw.ApprovedBy), Reason: strings.TrimSpace(raw.Reason), Digest: script.Digest(data), parts: map[string]part{}, doc: doc}
	ps := o.header(raw)
	for _, id := range doc.Keys("scenarios") {
		p, problems := o.part(id, raw.Scenarios[id])
		o.parts[id] = p
		ps = append(ps, problems...)
	}
	if err := ps.Err(); err != nil {
		return nil, err
	}
	return o, nil
}

func (o *Overlay) header(raw rawOverlay) (ps text.Problems) {
	fail := func(message, do, key string) { ps = append(ps, o.doc.Problem(message, do, key)) }
	switch {
	case raw.Zonule != Language:
		fail("this is no overlay", "begin it with zonule: "+Language, "zonule")
	case !idForm.MatchString(o.ID):
		fail(fmt.Sprintf("%q is no name for an overlay", o.ID), "use lower-case letters, digits and single hyphens", "id")
	case o.Version < 1:
		fail("the version is missing", "write a whole number from 1, raised with every change", "version")
	case o.ApprovedBy == "" || o.ApprovedBy == "none yet":
		fail("nobody has approved the overlay, so it may not be used", "write who approved it, with role and date", "approved_by")
	case o.Reason == "":
		fail("the reason is missing", "write why this programme does it otherwise", "reason")
	case len(raw.Scenarios) == 0:
		fail("no scenario is changed", "write scenarios: {id: {machine: ...}}", "scenarios")
	}
	return ps
}

func (o *Overlay) part(id string, raw rawPart) (part, text.Problems) {
	p := part{settings: map[string]map[string]map[string]script.Term{}, limits: map[string]float64{}, never: raw.Never}
	var ps text.Problems
	at := func(path ...any) []any { return append([]any{"scenarios", id}, path...) }
	take := func(action map[string]any, path ...any) map[string]script.Term {
		terms, err := o.terms(action, path)
		if problems, ok := err.(text.Problems); ok {
			ps = append(ps, problems...)
		}
		return terms
	}
	if len(raw.Machine) > 0 {
		p.machine = take(map[string]any{"machine": raw.Machine}, at("machine")...)
	}
	for name, verbs := range raw.Settings {
		p.settings[name] = map[string]map[string]script.Term{}
		for verb, args := range verbs {
			p.settings[name][verb] = take(map[string]any{verb: args}, at("settings", name, verb)...)
		}
	}
	for stage, limit := range raw.Limits {
		seconds, err := script.ParseSeconds(limit)
		if err != nil {
			ps = append(ps, o.doc.Problem(err.Error(), "write 20 s", at("limits", stage)...))
		}
		p.limits[stage] = seconds
	}
	for i, c := range raw.Conditions {
		if c.Now == "" || c.Was == "" || (c.Ending == "") == (c.Stage == "" || c.Go == "") {
			ps = append(ps, o.doc.Problem("a changed condition is not whole", "write {stage: ..., go: ..., was: ..., now: ...} or {ending: ..., was: ..., now: ...}", at("conditions", i)...))
		}
		p.conditions = append(p.conditions, condition{c.Stage, c.Go, c.Ending, c.Was, c.Now})
	}
	for choice, why := range raw.Never {
		if strings.TrimSpace(why) == "" {
			ps = append(ps, o.doc.Problem("what is never done has no reason", "write choice: why it is never done here", at("never", choice)...))
		}
	}
	return p, ps
}

// terms reads the arguments of one action by the eye's own table. What the action needs and the overlay leaves as it
// is stands in only while it is read.
func (o *Overlay) terms(action map[string]any, path []any) (map[string]script.Term, error) {
	action, lent := lend(action)
	doc, err := text.Parse(o.doc.File, fmt.Appendf(nil, "a: [%s]\n", flow(action)))
	if err != nil {
		return nil, o.moved(err, path)
	}
	var list struct {
		A []any `yaml:"a"`
	}
	if err := doc.Decode(&list); err != nil {
		return nil, o.moved(err, path)
	}
	actions, err := script.ParseActions(doc, list.A, "a")
	if err != nil {
		return nil, o.moved(err, path)
	}
	out := map[string]script.Term{}
	for _, a := range actions {
		v, _ := eye.LookupVerb(a.Verb)
		for _, arg := range v.Args {
			if lent[arg.Name] {
				continue
			}
			if x, ok := a.Num[arg.Name]; ok {
				out[arg.Name] = script.Term{Amount: script.Amount{Number: x, Unit: arg.Unit}}
			}
			if w, ok := a.Word[arg.Name]; ok {
				out[arg.Name] = script.Term{Word: w}
			}
		}
	}
	return out, nil
}

// lend adds arguments that the verb cannot do without.
func lend(action map[string]any) (map[string]any, map[string]bool) {
	lent := map[string]bool{}
	for verb, value := range action {
		v, known := eye.LookupVerb(verb)
		given, isMap := value.(map[string]any)
		if !known || !isMap {
			return action, lent
		}
		all := map[string]any{}
		for name, x := range given {
			all[name] = x
		}
		for _, arg := range v.Args {
			if _, has := given[arg.Name]; has || !arg.Required {
				continue
			}
			lent[arg.Name] = true
			switch {
			case len(arg.Words) > 0:
				all[arg.Name] = arg.Words[0]
			case arg.FreeWord:
				all[arg.Name] = "word"
			default:
				all[arg.Name] = strings.TrimSpace(fmt.Sprintf("%g %s", arg.Min, arg.Unit))
			}
		}
		return map[string]any{verb: all}, lent
	}
	return action, lent
}

// moved puts problems of a piece where the piece stands in the overlay.
func (o *Overlay) moved(err error, path []any) error {
	ps, ok := err.(text.Problems)
	if !ok {
		return err
	}
	var out text.Problems
	for _, p := range ps {
		out = append(out, o.doc.Problem(p.Message, p.Do, path...))
	}
	return out
}

// flow writes plain values as YAML on one line.
func flow(x any) string {
	switch v := x.(type) {
	case map[string]any:
		var parts []string
		for key, value := range v {
			parts = append(parts, fmt.Sprintf("%q: %s", key, flow(value)))
		}
		return "{" + strings.Join(parts, ", ") + "}"
	case string:
		return fmt.Sprintf("%q", v)
	}
	return fmt.Sprint(x)
}
