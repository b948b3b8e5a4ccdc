package rubric

import (
	_ "embed"
	"fmt"
	"slices"
	"sync"

	"zonule/scenarios/script/text"
)

// Top is the highest level; levels run from 1 to Top, and 0 means not shown.
const Top = 5

// Standard is the list of criteria that rubrics refer to, with what each level looks like.
type Standard struct {
	ID                               string
	Version                          int
	Licence, Attribution, ApprovedBy string
	Levels                           [Top + 1]Level // index 1..Top
	Criteria                         []Definition   // C1 to C10, in order
}

// Level names a level and says what it means for any criterion.
type Level struct{ Name, Means string }

// Definition is one criterion: its id, its name, the question it asks, and an anchor (what is seen
// at that level) for each level 1..Top.
type Definition struct {
	ID, Name, Asks string
	Anchors        [Top + 1]string
}

// Ref is how a rubric refers to the standard: "zonule-ten/1".
func (s *Standard) Ref() string { return fmt.Sprintf("%s/%d", s.ID, s.Version) }

// Criterion finds a criterion by id, or nil.
func (s *Standard) Criterion(id string) *Definition {
	for i := range s.Criteria {
		if s.Criteria[i].ID == id {
			return &s.Criteria[i]
		}
	}
	return nil
}

func (s *Standard) ids() []string {
	out := make([]string, len(s.Criteria))
	for i, d := range s.Criteria {
		out[i] = d.ID
	}
	return out
}

//go:embed standard.yaml
var standardText []byte

var embedded = sync.OnceValues(func() (*Standard, error) { return parseStandard("standard.yaml", standardText) })

// TheStandard returns the embedded standard. It must not be changed.
func TheStandard() *Standard {
	s, err := embedded()
	if err != nil {
		// The text is part of the program and a test reads it, so this is a broken build.
		panic("the embedded standard does not parse: " + err.Error())
	}
	return s
}

type standardSource struct {
	Zonule      string              `yaml:"zonule"`
	ID          string              `yaml:"id"`
	Version     int                 `yaml:"version"`
	Licence     string              `yaml:"licence"`
	Attribution string              `yaml:"attribution"`
	ApprovedBy  string              `yaml:"approved_by"`
	Levels      map[int]levelSource `yaml:"levels"`
	Criteria    map[string]struct {
		Name    string         `yaml:"name"`
		Asks    string         `yaml:"asks"`
		Anchors map[int]string `yaml:"anchors"`
	} `yaml:"criteria"`
}

type levelSource struct {
	Name  string `yaml:"name"`
	Means string `yaml:"means"`
}

func parseStandard(file string, data []byte) (*Standard, error) {
	doc, err := text.Parse(file, data)
	if err != nil {
		return nil, err
	}
	var src standardSource
	if err := doc.Decode(&src); err != nil {
		return nil, err
	}
	var ps text.Problems
	need := func(ok bool, message, do string, path ...any) {
		if !ok {
			ps = append(ps, doc.Problem(message, do, path...))
		}
	}
	need(src.Zonule == "standard/1", fmt.Sprintf("%q is not a kind of text read here", src.Zonule), "write zonule: standard/1", "zonule")
	need(src.ID != "" && src.Version >= 1, "a standard needs an id and a version", "write id: and version: 1", "id")
	s := &Standard{ID: src.ID, Version: src.Version, Licence: src.Licence, Attribution: src.Attribution, ApprovedBy: src.ApprovedBy}
	for l := 1; l <= Top; l++ {
		v, ok := src.Levels[l]
		need(ok && v.Name != "" && v.Means != "", fmt.Sprintf("level %d is not described", l), "give it a name and means", "levels")
		s.Levels[l] = Level(v)
	}
	need(len(src.Levels) == Top, "there are levels beyond 1 to 5", "describe levels 1 to 5", "levels")
	for _, id := range doc.Keys("criteria") {
		c := src.Criteria[id]
		d := Definition{ID: id, Name: c.Name, Asks: c.Asks}
		need(c.Name != "" && c.Asks != "", id+" has no name or asks nothing", "give it name and asks", "criteria", id)
		for l := 1; l <= Top; l++ {
			need(c.Anchors[l] != "", fmt.Sprintf("%s has no anchor for level %d", id, l), "say what is seen at that level", "criteria", id, "anchors")
			d.Anchors[l] = c.Anchors[l]
		}
		need(len(c.Anchors) == Top, id+" has anchors beyond levels 1 to 5", "keep levels 1 to 5", "criteria", id, "anchors")
		s.Criteria = append(s.Criteria, d)
	}
	want := make([]string, 10)
	for i := range want {
		want[i] = fmt.Sprintf("C%d", i+1)
	}
	need(slices.Equal(s.ids(), want), "the criteria are not C1 to C10 in order", "list C1 to C10", "criteria")
	return s, ps.Err()
}
