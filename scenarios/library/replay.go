package library

import (
	"fmt"
	"io/fs"
	"path"
	"strings"

	"zonule/scenarios/eye"
	"zonule/scenarios/play"
	"zonule/scenarios/script"
	"zonule/scenarios/script/text"
)

// Replay is a recorded list of decisions with the result it must keep, from replays/<name>.yaml.
type Replay struct {
	Name      string
	About     string
	Options   play.Options
	Decisions []play.Decision
	Expect    Expected
}

// Expected is what a replay must end with. Measures are those after the last decision; each may differ by
// Tolerance, relative to the larger of 1 and the expected value.
type Expected struct {
	Ending    string
	Safe      bool
	Measures  map[string]float64
	Tolerance float64
}

type rawReplay struct {
	Zonule    string        `yaml:"zonule"`
	About     string        `yaml:"about"`
	Variant   string        `yaml:"variant"`
	Seed      uint64        `yaml:"seed"`
	ClockOff  bool          `yaml:"clock_off"`
	Decisions []rawDecision `yaml:"decisions"`
	Expect    struct {
		Ending    string             `yaml:"ending"`
		Safe      bool               `yaml:"safe"`
		Measures  map[string]float64 `yaml:"measures"`
		Tolerance float64            `yaml:"tolerance"`
	} `yaml:"expect"`
}

type rawDecision struct {
	Choice  string `yaml:"choice"`
	Free    []any  `yaml:"free"`
	Elapsed string `yaml:"elapsed"`
	Reason  string `yaml:"reason"`
}

// replayKind is the first line of every replay.
const replayKind = "replay/1"

func replays(folder string) ([]Replay, error) {
	names, err := fs.Glob(files, path.Join(folder, "replays", "*.yaml"))
	if err != nil {
		return nil, err
	}
	var out []Replay
	for _, name := range names {
		data, err := files.ReadFile(name)
		if err != nil {
			return nil, err
		}
		r, err := ParseReplay(name, data)
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, nil
}

// ParseReplay reads one recorded replay; file is only a name for messages, its last part the replay's. The error is
// text.Problems.
func ParseReplay(file string, data []byte) (Replay, error) {
	var raw rawReplay
	doc, err := text.Parse(file, data)
	if err == nil {
		err = doc.Decode(&raw)
	}
	if err != nil {
		return Replay{}, err
	}
	if raw.Zonule != replayKind {
		return Replay{}, text.Problems{doc.Problem("this is no replay", "begin it with zonule: "+replayKind, "zonule")}
	}
	r := Replay{
		Name: strings.TrimSuffix(path.Base(file), ".yaml"), About: raw.About,
		Options: play.Options{Variant: raw.Variant, Seed: raw.Seed, ClockOff: raw.ClockOff},
		Expect:  Expected(raw.Expect),
	}
	for name := range raw.Expect.Measures {
		if _, ok := eye.MeasureIndex(name); !ok {
			return r, text.Problems{doc.Problem(fmt.Sprintf("the eye has no measure %q", name), "see the eye's table of measures", "expect", "measures", name)}
		}
	}
	for i, d := range raw.Decisions {
		dec := play.Decision{Choice: d.Choice, Reason: d.Reason}
		if d.Choice == script.ClockRanOut {
			dec = play.Decision{TimedOut: true}
		} else if dec.Elapsed, err = script.ParseSeconds(d.Elapsed); err != nil {
			return r, text.Problems{doc.Problem(err.Error(), "write elapsed: 3.5 s", "decisions", i)}
		}
		if dec.Free, err = script.ParseActions(doc, d.Free, "decisions", i, "free"); err != nil {
			return r, err
		}
		r.Decisions = append(r.Decisions, dec)
	}
	return r, nil
}

// Play plays the replay's decisions on its scenario.
func (r Replay) Play(sc *script.Scenario) (*play.Drill, error) {
	d, err := play.New(sc, r.Options)
	if err != nil {
		return nil, err
	}
	for i, dec := range r.Decisions {
		if _, err := d.Decide(dec); err != nil {
			return nil, fmt.Errorf("replay %s, decision %d: %w", r.Name, i, err)
		}
	}
	return d, nil
}
