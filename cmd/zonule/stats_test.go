package main

import (
	"bytes"
	"context"
	"encoding/json"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

const examples = "../../testdata/statistics/examples"

// needs are the flags some methods cannot do without.
var needs = map[string][]string{
	"hofstee":     {"--lowest-cut=50", "--highest-cut=65", "--lowest-share=0.05", "--highest-share=0.4"},
	"clock":       {"--today=120"},
	"risk":        {"--model=../../assessor/casemix/testdata/capsule-2009.yaml"},
	"mixed-curve": {"--standard=75"},
	"curve":       {"--standard=80"},
	"mixed":       {"--profile"},
	"alpha":       {"--resamples=200"},
}

// zonule runs a command line and gives its code and what it wrote.
func zonule(args ...string) (code int, out, errs string) {
	var o, e bytes.Buffer
	code = run(context.Background(), args, os.Stdin, &o, &e)
	return code, o.String(), e.String()
}

func methods() []string { return slices.Sorted(maps.Keys(statsExamples)) }

// Every method has an example file, which is what the command writes; runs on it; and answers in JSON
// with the same tables. Nothing shows a number that is none.
func TestStatsRunOnTheirExamples(t *testing.T) {
	_, help, _ := zonule("stats", "--help")
	for _, m := range methods() {
		file := filepath.Join(examples, m+".csv")
		want, err := os.ReadFile(file)
		if err != nil {
			t.Errorf("%s: %v", m, err)
			continue
		}
		if code, out, errs := zonule("stats", "example", m); code != 0 || out != string(want) {
			t.Errorf("%s: the example file is not what zonule stats example writes (%d, %s)", m, code, errs)
		}
		if !strings.Contains(help, "stats "+m+" ") {
			t.Errorf("%s: the help does not list it", m)
		}
		code, text, errs := zonule(append([]string{"stats", m, file}, needs[m]...)...)
		if code != 0 {
			t.Errorf("%s: %d, %s", m, code, errs)
			continue
		}
		for _, bad := range []string{"NaN", "Inf", "%!"} {
			if strings.Contains(text, bad) {
				t.Errorf("%s shows %s:\n%s", m, bad, text)
			}
		}
		if !strings.Contains(text, "Training only") {
			t.Errorf("%s does not caution", m)
		}
		code, text, errs = zonule(append([]string{"stats", m, file, "--json"}, needs[m]...)...)
		var answer struct {
			Method, Caution string
			Tables          map[string][]map[string]any
			Notes           []string
		}
		if err := json.Unmarshal([]byte(text), &answer); code != 0 || err != nil || answer.Method != m || len(answer.Tables) == 0 || answer.Caution == "" {
			t.Errorf("%s as JSON: %d, %s, %v, %+v", m, code, errs, err, answer)
		}
	}
}

// What the methods say on the reference's own data.
func TestStatsAgreeWithTheReference(t *testing.T) {
	dir := t.TempDir()
	put := func(name, text string) string {
		file := filepath.Join(dir, name)
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return file
	}
	// The columns of the reference table renamed to ours.
	rename := func(from, header string) string {
		data, err := os.ReadFile("../../testdata/statistics/" + from)
		if err != nil {
			t.Fatal(err)
		}
		_, rest, _ := strings.Cut(string(data), "\n")
		return put(from, header+"\n"+rest)
	}
	for name, c := range map[string]struct {
		args  []string
		wants []string
	}{
		"lme4 sleepstudy":         {[]string{"mixed", rename("sleepstudy.csv", "y,x,trainee")}, []string{"251.405", "6.82456", "10.4673", "612.09", "654.941", "-871.814"}},
		"glm birthwt":             {[]string{"logistic", rename("birthwt.csv", "met,age,lwt,race2,race3,smoke,ht,ui")}, []string{"0.43724", "-0.0162850", "0.734355", "10.9072"}},
		"Clopper-Pearson, Wilson": {[]string{"interval", put("i.csv", "events,n\n81,263\n")}, []string{"0.252737", "0.367622", "0.255289", "0.36621"}},
		"spc run length":          {[]string{"cusum-arl", put("a.csv", "k,h,headstart,sides,shift\n0.5,4,0,2,0\n0.5,4,0,1,0.25\n")}, []string{"167.684", "77.0785"}},
		"JSON in, rows":           {[]string{"interval", put("i.json", `[{"events": 0, "n": 20}]`)}, []string{"0.168433", "0.161125"}},
		"JSON in, columns":        {[]string{"interval", put("c.json", `{"n": [20], "events": [0]}`)}, []string{"0.168433"}},
	} {
		code, out, errs := zonule(append([]string{"stats"}, c.args...)...)
		if code != 0 {
			t.Errorf("%s: %d, %s", name, code, errs)
		}
		for _, w := range c.wants {
			if !strings.Contains(out, strings.TrimRight(w, "0")) {
				t.Errorf("%s: no %s in\n%s", name, w, out)
			}
		}
	}
}

// Data that cannot be read, and too little data, end with a sentence and code 1.
func TestStatsRefuse(t *testing.T) {
	dir := t.TempDir()
	for name, c := range map[string]struct {
		method, data, says string
	}{
		"empty":        {"icc", "", "empty"},
		"no column":    {"curve", "a,b\n1,2\n", `no column "x"`},
		"no number":    {"curve", "x,y\n1,two\n", `"two" is no number`},
		"NaN":          {"curve", "x,y\n1,NaN\n", "is no number"},
		"empty cell":   {"curve", "x,y\n1,\n", "is empty"},
		"ragged":       {"curve", "x,y\n1\n", "wrong number of fields"},
		"twice":        {"curve", "x,x\n1,2\n", "twice"},
		"no truth":     {"lc-cusum", "met\nmaybe\n", "neither"},
		"few drills":   {"curve", "x,y\n1,2\n2,3\n", "not enough yet"},
		"few trainees": {"mixed-curve", "trainee,x,y\na,1,2\n", "not enough yet"},
		"one judge":    {"angoff", "judge,i1,i2\na,0.5,0.6\n", "not enough yet"},
		"separated":    {"logistic", "met,x\n0,1\n0,2\n0,3\n1,4\n1,5\n1,6\n", "tell met and missed apart"},
		"bad JSON":     {"curve", "[{", "JSON"},
		"nested JSON":  {"curve", `[{"x": [1]}]`, "no number"},
		"half":         {"interval", "events,n\n1.5,3\n", "whole number"},
		"impossible":   {"interval", "events,n\n5,3\n", "impossible"},
		"header only":  {"curve", "x,y\n", "not enough yet"},
		"no raters":    {"icc", "target\na\n", "no columns beside"},
		"one rater":    {"icc", "target,r1\na,1\nb,2\n", "not enough yet"},
		"all alike":    {"kappa", "first,second\na,a\na,a\n", ""},
	} {
		file := filepath.Join(dir, "data")
		if err := os.WriteFile(file, []byte(c.data), 0o600); err != nil {
			t.Fatal(err)
		}
		code, out, errs := zonule("stats", c.method, file)
		if code != 1 || out != "" || !strings.Contains(errs, c.says) {
			t.Errorf("%s: code %d, %q, %q", name, code, out, errs)
		}
	}
	if code, _, errs := zonule("stats", "example", "no-such"); code != 1 || !strings.Contains(errs, "there is no data") {
		t.Errorf("example of nothing: %d, %s", code, errs)
	}
	if code, _, _ := zonule("stats", "icc", filepath.Join(dir, "absent")); code != 1 {
		t.Errorf("absent file: %d", code)
	}
}

// Whatever the data, a method answers or refuses: it does not fall over, and shows no number that is
// none.
func FuzzStats(f *testing.F) {
	for i, m := range methods() {
		data, err := os.ReadFile(filepath.Join(examples, m+".csv"))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(uint8(i), data[:min(len(data), 400)])
	}
	file := filepath.Join(f.TempDir(), "data")
	f.Fuzz(func(t *testing.T, which uint8, data []byte) {
		if len(data) > 2000 || bytes.Count(data, []byte("\n")) > 60 {
			return
		}
		m := methods()[int(which)%len(methods())]
		if err := os.WriteFile(file, data, 0o600); err != nil {
			t.Fatal(err)
		}
		code, out, errs := zonule(append([]string{"stats", m, file}, needs[m]...)...)
		if code > 1 || strings.Contains(out, "NaN") && !strings.Contains(string(data), "NaN") || strings.Contains(out, "+Inf") || strings.Contains(errs, "%!") {
			t.Errorf("%s: %d\n%s\n%s", m, code, out, errs)
		}
	})
}
