// Package zonule_test holds the house rules: who may import whom, what stands at the top, and that every
// package says what it is. It reads the files itself, so a cached result never hides a change.
package zonule_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const module = "zonule/"

// source is one Go file of ours: its folder, its imports, whether it is a test, and its package comment.
type source struct {
	path, dir string
	imports   []string
	test      bool
	doc       string
	lines     int
}

func sources(t *testing.T) []source {
	t.Helper()
	var all []source
	err := filepath.WalkDir(".", func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if path != "." && (strings.HasPrefix(d.Name(), ".") || d.Name() == "testdata") || filepath.ToSlash(path) == "proto/gen" {
				return fs.SkipDir
			}
			return nil
		}
		if !strings.HasSuffix(path, ".go") {
			return nil
		}
		s, err := read(path)
		all = append(all, s)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(all) < 50 {
		t.Fatalf("only %d Go files found: the test does not see the house", len(all))
	}
	return all
}

func read(path string) (source, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return source{}, err
	}
	f, err := parser.ParseFile(token.NewFileSet(), path, text, parser.ImportsOnly|parser.ParseComments)
	if err != nil {
		return source{}, err
	}
	s := source{path: filepath.ToSlash(path), dir: filepath.ToSlash(filepath.Dir(path)), test: strings.HasSuffix(path, "_test.go"), doc: docText(f.Doc), lines: strings.Count(string(text), "\n")}
	for _, i := range f.Imports {
		p, err := strconv.Unquote(i.Path.Value)
		if err != nil {
			return source{}, err
		}
		s.imports = append(s.imports, p)
	}
	return s, nil
}

func docText(g *ast.CommentGroup) string {
	if g == nil {
		return ""
	}
	return strings.TrimSpace(g.Text())
}

// under says whether path is prefix or lies below it.
func under(path string, prefixes ...string) bool {
	return slices.ContainsFunc(prefixes, func(p string) bool { return path == p || strings.HasPrefix(path, p+"/") })
}

// office gives the office a folder belongs to ("drill" for services/drill and below), or "".
func office(dir string) string {
	rest, ok := strings.CutPrefix(dir, "services/")
	if !ok {
		return ""
	}
	name, _, _ := strings.Cut(rest, "/")
	if slices.Contains([]string{"rpc", "fault", "clock", "ledger"}, name) {
		return "" // plumbing, open to every office
	}
	return name
}

// banned says why a file in dir may not import imp, or "".
func banned(s source, imp string) string {
	own, internal := strings.CutPrefix(imp, module)
	pure := under(s.dir, "scenarios", "assessor")
	impure := []string{"context", "time", "os", "net", "log", "log/slog", "math/rand", "math/rand/v2", "crypto/rand"}
	switch {
	case pure && !s.test && (slices.Contains(impure, imp) || strings.HasPrefix(imp, "net/") || strings.HasPrefix(imp, "os/")):
		return "pure packages know no clock, disk, network or chance"
	case under(s.dir, "scenarios") && !s.test && internal && !under(own, "scenarios"):
		return "the drill world knows nothing beyond itself"
	case under(s.dir, "scenarios") && internal && under(own, "services", "cmd", "proto"):
		return "the drill world knows no office, not even in its tests"
	case under(s.dir, "assessor") && internal && !under(own, "assessor", "scenarios"):
		return "the judge knows the drill world and itself only"
	case under(s.dir, "scenarios/eye/ode") && internal && !under(own, "scenarios/eye/ode"):
		return "the integrator knows no eye"
	case under(imp, "github.com/dgraph-io/badger") && !under(s.dir, "services/ledger"):
		return "only the ledger knows Badger"
	case under(imp, "github.com/nats-io") && !under(s.dir, "services/ledger", "services/dashboard", "services/bench", "cmd"):
		return "only the ledger, the pages and cmd know NATS"
	case internal && under(own, "cmd") && !under(s.dir, "cmd"):
		return "nothing imports the shell"
	case under(s.dir, "services/rpc", "services/fault", "services/clock") && internal && !s.test && !under(own, "services/rpc", "services/fault", "services/clock"):
		return "plumbing knows no office"
	case under(s.dir, "services/dashboard", "services/bench") && internal && !s.test && !under(own, "proto/gen", "services/dashboard", "services/bench", "services/fault", "services/clock", "services/rpc"):
		return "pages see only the contracts and NATS"
	}
	return otherOffice(s, own, internal)
}

// otherOffice refuses an import of one office by another: they meet through generated clients. A test of
// one office may start others to talk to.
func otherOffice(s source, own string, internal bool) string {
	here, there := office(s.dir), office(own)
	if internal && here != "" && there != "" && here != there && !s.test {
		return "offices meet only through generated clients"
	}
	if internal && under(s.dir, "services/ledger") && there != "" {
		return "the ledger knows no office"
	}
	return ""
}

func TestWhoMayImportWhom(t *testing.T) {
	for _, s := range sources(t) {
		for _, imp := range s.imports {
			if why := banned(s, imp); why != "" {
				t.Errorf("%s imports %s: %s", s.path, imp, why)
			}
		}
	}
}

// The rules themselves are tried on imports that must be refused and imports that must not.
func TestTheRulesBite(t *testing.T) {
	cases := []struct {
		file, imp string
		refused   bool
	}{
		{"scenarios/eye/a.go", "time", true},
		{"scenarios/eye/a.go", "math", false},
		{"scenarios/eye/a_test.go", "os", false},
		{"scenarios/play/a.go", "zonule/assessor", true},
		{"scenarios/play/a.go", "zonule/scenarios/eye", false},
		{"scenarios/eye/ode/a.go", "zonule/scenarios/eye", true},
		{"assessor/rubric/a.go", "zonule/scenarios/play", false},
		{"assessor/rubric/a.go", "zonule/services/fault", true},
		{"assessor/curve/a.go", "net/http", true},
		{"services/drill/a.go", "zonule/services/roster", true},
		{"services/drill/a_test.go", "zonule/services/roster", false},
		{"services/drill/a.go", "zonule/services/ledger", false},
		{"services/drill/a.go", "github.com/dgraph-io/badger/v4", true},
		{"services/ledger/relay/a.go", "github.com/nats-io/nats.go", false},
		{"services/progress/a.go", "github.com/nats-io/nats.go", true},
		{"services/ledger/a.go", "zonule/services/drill", true},
		{"services/dashboard/a.go", "zonule/services/progress", true},
		{"services/dashboard/a.go", "zonule/proto/gen/zonule/progress/v1", false},
		{"services/rpc/a.go", "zonule/services/ledger", true},
		{"services/roster/a.go", "zonule/cmd/zonule", true},
	}
	for _, c := range cases {
		s := source{path: c.file, dir: filepath.ToSlash(filepath.Dir(c.file)), test: strings.HasSuffix(c.file, "_test.go")}
		if got := banned(s, c.imp) != ""; got != c.refused {
			t.Errorf("%s importing %s: refused %v, want %v", c.file, c.imp, got, c.refused)
		}
	}
}

func TestEveryPackageSaysWhatItIs(t *testing.T) {
	docs := map[string]string{}
	for _, s := range sources(t) {
		if s.test {
			continue
		}
		docs[s.dir] += s.doc
	}
	for _, dir := range slices.Sorted(maps.Keys(docs)) {
		if len(docs[dir]) < 40 {
			t.Errorf("%s has no package comment that says what it is", dir)
		}
		if slices.Contains([]string{"util", "common", "base", "helpers", "manager", "types", "models"}, filepath.Base(dir)) {
			t.Errorf("%s: a package is named after what is in it", dir)
		}
	}
}

func TestFilesStayReadable(t *testing.T) {
	const most = 500
	for _, s := range sources(t) {
		if s.lines > most && !s.test {
			t.Errorf("%s has %d lines, more than %d: split it by what is in it", s.path, s.lines, most)
		}
	}
}

func TestTopLevel(t *testing.T) {
	allowed := []string{"proto", "services", "assessor", "scenarios", "cmd", "testdata", "README.md", "DEVELOPERS.md", "LICENSE", "go.mod", "go.sum", "buf.yaml", "buf.gen.yaml", "house_test.go"}
	entries, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), ".") && !slices.Contains(allowed, e.Name()) {
			t.Errorf("%s does not belong at the top: the house has no room of that name", e.Name())
		}
	}
}
