package author

import (
	_ "embed"
	"fmt"
	"regexp"
	"strings"

	"zonule/scenarios/script"
)

//go:embed start/scenario.yaml
var startScenario string

//go:embed start/rubric.yaml
var startRubric string

//go:embed start/policies.yaml
var startPolicies string

// File is one file of a new scenario's folder.
type File struct{ Name, Text string }

var idForm = regexp.MustCompile(`^[a-z][a-z0-9]*(-[a-z0-9]+)*$`)

// New gives the files of a new scenario with an id: a small invented case with a comment on every part, its
// rubric and its policies. They pass Check as they are. It refuses an id the language does not take, and one
// that would give a case away.
func New(id string) ([]File, error) {
	if !idForm.MatchString(id) || len(id) > 40 {
		return nil, fmt.Errorf("%q is no name for a scenario; use lower-case letters, digits and single hyphens, at most 40", id)
	}
	if w := script.GivesAway(strings.ReplaceAll(id, "-", " "), ""); w != "" {
		return nil, fmt.Errorf("the name gives the case away with %q, and a trainee may see it; choose one that says nothing, such as a list and a place in it", w)
	}
	var files []File
	for _, f := range []File{{"scenario.yaml", startScenario}, {"rubric.yaml", startRubric}, {"policies.yaml", startPolicies}} {
		files = append(files, File{f.Name, strings.ReplaceAll(f.Text, "NAME", id)})
	}
	return files, nil
}
