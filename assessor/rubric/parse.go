package rubric

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"

	"zonule/scenarios/script/rule"
	"zonule/scenarios/script/text"
)

// source is a rubric as it is written.
type source struct {
	Zonule      string                     `yaml:"zonule"`
	ID          string                     `yaml:"id"`
	Version     int                        `yaml:"version"`
	Scenario    string                     `yaml:"scenario"`
	Standard    string                     `yaml:"standard"`
	Licence     string                     `yaml:"licence"`
	Attribution string                     `yaml:"attribution"`
	ApprovedBy  string                     `yaml:"approved_by"`
	Criteria    map[string]criterionSource `yaml:"criteria"`
	Critical    map[string]criticalSource  `yaml:"critical"`
}

type criterionSource struct {
	Weight  float64        `yaml:"weight"`
	Needs   string         `yaml:"needs"`
	Levels  map[int]string `yaml:"levels"`
	Anchors map[int]string `yaml:"anchors"`
}

type criticalSource struct {
	When string         `yaml:"when"`
	Why  string         `yaml:"why"`
	At   string         `yaml:"at"`
	Caps map[string]int `yaml:"caps"`
}

var plainID = regexp.MustCompile(`^[a-z][a-z0-9]*(-[a-z0-9]+)*$`)

// heaviest is the largest weight of a criterion; beyond it the others would not count.
const heaviest = 10

// Parse reads and compiles a rubric. The error is text.Problems: everything found wrong, each with
// file, line, column and what to do about it.
func Parse(file string, data []byte, names Names) (*Rubric, error) {
	doc, err := text.Parse(file, data)
	if err != nil {
		return nil, err
	}
	p := &parser{doc: doc, words: newVocabulary(names)}
	if err := doc.Decode(&p.src); err != nil {
		return nil, err
	}
	if p.language, err = p.words.language(); err != nil {
		return nil, err
	}
	digest := sha256.Sum256(data)
	r := &Rubric{
		ID: p.src.ID, Version: p.src.Version, Digest: hex.EncodeToString(digest[:]),
		Scenario: p.src.Scenario, Standard: p.src.Standard,
		Licence: p.src.Licence, Attribution: p.src.Attribution, ApprovedBy: p.src.ApprovedBy,
	}
	p.head()
	for _, d := range TheStandard().Criteria {
		if _, ok := p.src.Criteria[d.ID]; ok {
			r.Criteria = append(r.Criteria, p.criterion(d))
		}
	}
	for _, id := range doc.Keys("critical") {
		r.Critical = append(r.Critical, p.critical(id))
	}
	p.claims()
	if err := p.problems.Err(); err != nil {
		return nil, err
	}
	return r, nil
}

type parser struct {
	doc      *text.Doc
	src      source
	words    *vocabulary
	language *rule.Language
	problems text.Problems
}

func (p *parser) wrong(message, do string, path ...any) {
	p.problems = append(p.problems, p.doc.Problem(message, do, path...))
}

// head checks everything above the criteria.
func (p *parser) head() {
	s := p.src
	if s.Zonule != Kind {
		p.wrong(fmt.Sprintf("this is no rubric of the version read here: zonule is %q", s.Zonule), "write zonule: "+Kind+" on the first line", "zonule")
	}
	if !plainID.MatchString(s.ID) {
		p.wrong(fmt.Sprintf("the id %q is no plain id", s.ID), "use lower-case words joined by hyphens", "id")
	}
	if s.Version < 1 {
		p.wrong("the rubric has no version", "write version: 1, and raise it with every change", "version")
	}
	switch want := p.words.names.Scenario; {
	case s.Scenario == "":
		p.wrong("the rubric names no scenario", "write the id of the scenario it judges", "scenario")
	case want != "" && s.Scenario != want:
		p.wrong(fmt.Sprintf("the rubric judges %q, but stands beside %q", s.Scenario, want), "write scenario: "+want, "scenario")
	}
	if want := TheStandard().Ref(); s.Standard != want {
		p.wrong(fmt.Sprintf("the standard %q is not known", s.Standard), "write standard: "+want, "standard")
	}
	for _, k := range []struct{ key, value string }{{"licence", s.Licence}, {"attribution", s.Attribution}, {"approved_by", s.ApprovedBy}} {
		if k.value == "" {
			p.wrong("the rubric does not say "+k.key, map[string]string{
				"licence": "name the licence of the text", "attribution": "say whose work it is", "approved_by": "write none yet, until a programme approves it",
			}[k.key], k.key)
		}
	}
	if len(s.Criteria) == 0 {
		p.wrong("the rubric judges no criterion", "give at least one of C1 to C10", "criteria")
	}
	for _, id := range p.doc.Keys("criteria") {
		if TheStandard().Criterion(id) == nil {
			p.wrong(fmt.Sprintf("%q is no criterion of the standard", id), "use C1 to C10", "criteria", id)
		}
	}
}

// criterion compiles one criterion.
func (p *parser) criterion(d Definition) Criterion {
	src := p.src.Criteria[d.ID]
	c := Criterion{ID: d.ID, Name: d.Name, Weight: 1, Anchors: d.Anchors}
	if p.doc.Has("criteria", d.ID, "weight") {
		if c.Weight = src.Weight; !(c.Weight > 0 && c.Weight <= heaviest) {
			p.wrong(fmt.Sprintf("weight %g is out of range", c.Weight), fmt.Sprintf("give a number above 0, up to %d", heaviest), "criteria", d.ID, "weight")
		}
	}
	if p.doc.Has("criteria", d.ID, "needs") {
		c.Needs = p.rule(src.Needs, "criteria", d.ID, "needs")
	}
	for _, l := range p.levels("levels", d.ID, src.Levels) {
		if l == 1 {
			p.wrong("level 1 has a rule", "leave it out: level 1 is what is left", "criteria", d.ID, "levels", "1")
			continue
		}
		c.Levels[l] = p.rule(src.Levels[l], "criteria", d.ID, "levels", strconv.Itoa(l))
	}
	if len(src.Levels) == 0 {
		p.wrong(d.ID+" has no level rules", "give a rule for at least one of the levels 5, 4, 3, 2", "criteria", d.ID)
	}
	for _, l := range p.levels("anchors", d.ID, src.Anchors) {
		if c.Anchors[l] = src.Anchors[l]; c.Anchors[l] == "" {
			p.wrong("the anchor is empty", "say what is seen at this level, or leave it out for the standard's", "criteria", d.ID, "anchors", strconv.Itoa(l))
		}
	}
	return c
}

// levels gives the levels under a key, highest first, and refuses what is no level.
func (p *parser) levels(key, id string, m map[int]string) []int {
	var out []int
	for l := range m {
		if l < 1 || l > Top {
			p.wrong(fmt.Sprintf("%d is no level", l), "levels run from 1 to 5", "criteria", id, key, strconv.Itoa(l))
			continue
		}
		out = append(out, l)
	}
	slices.Sort(out)
	slices.Reverse(out)
	return out
}

// critical compiles one critical error.
func (p *parser) critical(id string) CriticalError {
	src := p.src.Critical[id]
	e := CriticalError{ID: id, Why: src.Why, At: src.At}
	if !plainID.MatchString(id) {
		p.wrong(fmt.Sprintf("the critical error %q has no plain id", id), "use lower-case words joined by hyphens", "critical", id)
	}
	if src.Why == "" {
		p.wrong("a critical error needs a reason", "write why: a sentence for the debrief", "critical", id)
	}
	if src.At != "" {
		if err := p.words.mark(src.At); err != nil {
			p.wrong(err.Error(), "name the mark whose first second is the error's, or leave at out", "critical", id, "at")
		}
	}
	e.When = p.rule(src.When, "critical", id, "when")
	for _, c := range p.doc.Keys("critical", id, "caps") {
		if _, ok := p.src.Criteria[c]; !ok {
			p.wrong(fmt.Sprintf("the error caps %s, which this rubric does not judge", c), "cap criteria of this rubric", "critical", id, "caps", c)
		}
		if l := src.Caps[c]; l != 1 && l != 2 {
			p.wrong(fmt.Sprintf("a critical error cannot leave level %d", l), "cap at 1 or 2", "critical", id, "caps", c)
		}
	}
	for _, d := range TheStandard().Criteria {
		if l, ok := src.Caps[d.ID]; ok {
			e.Caps = append(e.Caps, Cap{d.ID, l})
		}
	}
	return e
}

// claims compares what the rubric judges with what the scenario claims to show.
func (p *parser) claims() {
	claimed := p.words.names.Evidences
	if claimed == nil {
		return
	}
	for _, id := range p.doc.Keys("criteria") {
		if !slices.Contains(claimed, id) && TheStandard().Criterion(id) != nil {
			p.wrong(fmt.Sprintf("%s is judged, but the scenario does not claim to show it", id), "add it to the scenario's evidences, or leave it out here", "criteria", id)
		}
	}
	for _, id := range claimed {
		if _, ok := p.src.Criteria[id]; !ok {
			p.wrong(fmt.Sprintf("the scenario claims to show %s, which is not judged here", id), "judge it, or take it out of the scenario's evidences", "criteria")
		}
	}
}

// rule compiles a rule and places what is wrong with it inside the text.
func (p *parser) rule(src string, path ...any) *rule.Rule {
	r, err := p.language.Compile(src)
	if err == nil {
		return r
	}
	var m *rule.Mistake
	if !errors.As(err, &m) {
		p.wrong(err.Error(), "", path...)
		return nil
	}
	if !p.doc.Has(path...) {
		p.wrong("a rule is missing here", "write a condition", path...)
		return nil
	}
	p.problems = append(p.problems, p.doc.ProblemIn(m.Offset, m.Message, m.Do, path...))
	return nil
}
