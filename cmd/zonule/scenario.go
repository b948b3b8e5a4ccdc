package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"zonule/assessor"
	"zonule/assessor/rubric"
	"zonule/scenarios/author"
	"zonule/scenarios/play"
	"zonule/scenarios/script"
	"zonule/scenarios/script/rule"
	"zonule/services/scenario"
)

// scenarioCmd groups what can be done with scenarios.
type scenarioCmd struct {
	Check   scenarioCheckCmd   `cmd:"" help:"Say what is wrong with scenarios and their rubrics, by file, line and column. Exit code 1 when anything is."`
	Explore scenarioExploreCmd `cmd:"" help:"Play a scenario through and say what its branches lead to."`
	Draw    scenarioDrawCmd    `cmd:"" help:"Draw the branches of a scenario, for teachers."`
	New     scenarioNewCmd     `cmd:"" help:"Start a scenario of one's own from a commented file."`
	Play    scenarioPlayCmd    `cmd:"" help:"Play a scenario of one's own in the terminal."`
	List    scenarioListCmd    `cmd:"" help:"List scenarios with what they are about, for teachers."`
	Diff    scenarioDiffCmd    `cmd:"" help:"Say what changed between two versions and which recordings change result."`
	Schema  scenarioSchemaCmd  `cmd:"" help:"Write the JSON Schema of scenarios, for editors."`
	Publish scenarioPublishCmd `cmd:"" help:"Publish a scenario with its rubric on a running site."`
}

// Names of the files of a scenario's folder.
const (
	scenarioFile = "scenario.yaml"
	rubricFile   = "rubric.yaml"
	policiesFile = "policies.yaml"
	replaysDir   = "replays"
)

// scenarioFiles gives a file itself, or every scenario.yaml at or below a folder.
func scenarioFiles(path string) ([]string, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.IsDir() {
		return []string{path}, nil
	}
	var files []string
	err = filepath.WalkDir(path, func(p string, d os.DirEntry, err error) error {
		if err == nil && d.Name() == scenarioFile {
			files = append(files, p)
		}
		return err
	})
	if err == nil && len(files) == 0 {
		err = fmt.Errorf("%s holds no %s", path, scenarioFile)
	}
	return files, err
}

// folder is a scenario with what lies beside it; what is not there is nil.
type folder struct {
	file     string
	source   []byte
	scenario *script.Scenario
	rubric   *rubric.Rubric
	policies []play.Policy
}

// openFolder reads a scenario, and its rubric and policies when it is called scenario.yaml and they lie beside
// it. Problems of any of them are text.Problems.
func openFolder(file string) (folder, error) {
	f := folder{file: file}
	var err error
	if f.source, err = os.ReadFile(file); err != nil {
		return f, err
	}
	if f.scenario, err = scenario.CheckScenario(file, f.source); err != nil {
		return f, err
	}
	if filepath.Base(file) != scenarioFile {
		return f, nil
	}
	if data, ok, err := beside(file, rubricFile); err != nil {
		return f, err
	} else if ok {
		if f.rubric, err = scenario.CheckRubric(filepath.Join(filepath.Dir(file), rubricFile), data, f.scenario); err != nil {
			return f, err
		}
	}
	data, ok, err := beside(file, policiesFile)
	if err != nil || !ok {
		return f, err
	}
	f.policies, err = play.ParsePolicies(filepath.Join(filepath.Dir(file), policiesFile), data, f.scenario)
	return f, err
}

// beside reads a file in the same folder; ok says whether it is there.
func beside(file, name string) (data []byte, ok bool, err error) {
	data, err = os.ReadFile(filepath.Join(filepath.Dir(file), name))
	if errors.Is(err, os.ErrNotExist) {
		return nil, false, nil
	}
	return data, err == nil, err
}

// one opens the single scenario that a path names.
func one(path string) (folder, error) {
	files, err := scenarioFiles(path)
	if err != nil {
		return folder{}, err
	}
	if len(files) > 1 {
		return folder{}, fmt.Errorf("%s holds %d scenarios; name one", path, len(files))
	}
	return openFolder(files[0])
}

// evidence tells the author's tools what the rubric asks for; nil without a rubric.
func (f folder) evidence() *author.Evidence {
	if f.rubric == nil {
		return nil
	}
	var rules []string
	add := func(r *rule.Rule) {
		if r != nil {
			rules = append(rules, r.Source())
		}
	}
	for _, c := range f.rubric.Criteria {
		add(c.Needs)
		for _, l := range c.Levels {
			add(l)
		}
	}
	for _, c := range f.rubric.Critical {
		add(c.When)
	}
	return author.EvidenceOf(rules)
}

// judge lets the author's tools mark drills; nil without a rubric.
func (f folder) judge() author.Judge {
	if f.rubric == nil {
		return nil
	}
	return func(t *play.Timeline) (author.Marks, error) {
		a, err := assessor.Assess(*t, f.rubric)
		m := author.Marks{Mean: a.Mean}
		for _, c := range a.Criteria {
			m.Levels = append(m.Levels, author.Level{Criterion: c.ID, Level: c.Level})
		}
		for _, e := range a.Critical {
			m.Critical = append(m.Critical, e.ID)
		}
		return m, err
	}
}

// today is the day a review is held against.
func today() string { return time.Now().Format("2006-01-02") }
