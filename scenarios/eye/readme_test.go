package eye

import (
	"os"
	"reflect"
	"regexp"
	"strings"
	"testing"
)

// README.md must list every parameter, so that each has its source beside it, and must
// carry the safety wording.
func TestReadmeListsEveryParameter(t *testing.T) {
	b, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	text := string(b)
	par := reflect.TypeFor[Params]()
	for i := range par.NumField() {
		name := par.Field(i).Name
		if !regexp.MustCompile(`\b` + name + `\b`).MatchString(text) {
			t.Errorf("README.md does not list parameter %s", name)
		}
	}
	for _, must := range []string{"never clinical advice", "Not for use on or about a patient", "design target"} {
		if !strings.Contains(text, must) {
			t.Errorf("README.md lacks %q", must)
		}
	}
}
