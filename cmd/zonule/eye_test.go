package main

import (
	"bytes"
	"context"
	"encoding/json"
	"encoding/xml"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// eyeLine runs one command line and gives its exit code and what it printed.
func eyeLine(t *testing.T, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	code = run(context.Background(), append([]string{"eye"}, args...), os.Stdin, &o, &e)
	return code, o.String(), e.String()
}

func fileWith(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestEyeCheck(t *testing.T) {
	code, out, errs := eyeLine(t, "check", "--max-seeds", "2", "../../testdata/eye/checks.csv")
	if code != 0 || out != "eye: 144 passed, 0 failed\n" || errs != "" {
		t.Errorf("code %d, %q, %q", code, out, errs)
	}
	bad := fileWith(t, "bad.csv", "id,area,quantity,inputs_json,expected,unit,tol_rel,tol_abs,kind,basis\n"+
		`A1,U,hydrostatic pressure of a fluid column,"{""height_cm"":1}",0.73556,mmHg,1e-9,0,exact,`+"\n"+
		`A2,U,hydrostatic pressure of a fluid column,"{""height_cm"":1}",0.75,mmHg,1e-9,0,exact,`+"\n"+
		`A3,U,colour of the eye,{},1,mmHg,1e-9,0,exact,`+"\n")
	code, out, _ = eyeLine(t, "check", bad)
	lines := strings.Split(strings.TrimSpace(out), "\n")
	if code != 1 || len(lines) != 3 || lines[2] != "eye: 1 passed, 2 failed" ||
		!strings.Contains(lines[0], "A2") || !strings.Contains(lines[0], "got 0.73556, expected 0.75") || !strings.Contains(lines[1], "not known") {
		t.Errorf("code %d, %q", code, out)
	}
}

func TestEyePolicies(t *testing.T) {
	code, one, _ := eyeLine(t, "policies", "--seeds", "1", "--workers", "1")
	_, two, _ := eyeLine(t, "policies", "--seeds", "1", "--workers", "3")
	if code != 0 || one != two || strings.Count(one, "\n| P0 ") != 4 || !strings.Contains(one, illustrative) {
		t.Errorf("code %d; the same with three workers: %v; it begins %.300s", code, one == two, one)
	}
	if code, _, errs := eyeLine(t, "policies", "--seeds", "0"); code != 1 || !strings.Contains(errs, "1 to 10000") {
		t.Errorf("no seeds: code %d, %q", code, errs)
	}
}

const lineScript = `# a start, three actions, one of them impossible
eye dialysis=3h dialysis_at=4 pieces=8:40,12:40 cortex=none pupil=5.5mm
seed 7
enter phaco-tip
pedal 2 for=2s; say stop
implant bag
pedal 0 for=500ms
`

const yamlScript = `eye: {dialysis: 3 h, dialysis_at: 4, pieces: "8:40,12:40", cortex: none, pupil: 5.5 mm}
seed: 7
actions:
  - {enter: phaco-tip}
  - {pedal: 2, for: 2 s}
  - {say: stop}
  - {implant: bag}
  - {pedal: 0, for: 0.5 s}
`

// A list as lines and the same as YAML give the same eye; what is refused is said.
func TestEyeRun(t *testing.T) {
	lines, yaml := fileWith(t, "a.txt", lineScript), fileWith(t, "a.yaml", yamlScript)
	code, a, errs := eyeLine(t, "run", "--json", lines)
	if code != 1 || !strings.Contains(errs, "1 of 5 actions were refused") {
		t.Errorf("code %d, %q", code, errs)
	}
	if _, b, errs := eyeLine(t, "run", "--json", yaml); a != b {
		t.Errorf("lines and YAML differ: %s %.300s", errs, b)
	}
	var got struct {
		Seed  uint64
		Steps []struct {
			Action, Refused string
			State           map[string]float64
			Marks           []struct{ Name string }
		}
		State map[string]float64
	}
	if err := json.Unmarshal([]byte(a), &got); err != nil {
		t.Fatal(err)
	}
	if got.Seed != 7 || len(got.Steps) != 5 || got.State["dialysis_hours"] != 3 || got.State["pupil_mm"] != 5.5 ||
		got.State["cortex_sectors_left"] != 0 || got.State["fragments_left"] != 2 || got.Steps[3].Refused == "" || got.Steps[1].State["aspirating"] != 1 {
		t.Errorf("%+v", got)
	}
	_, table, _ := eyeLine(t, "run", lines)
	for _, must := range []string{"eye/1, seed 7", "refused   implant", "said-stop", "chamber_depth_mm", illustrative} {
		if !strings.Contains(table, must) {
			t.Errorf("the table lacks %q", must)
		}
	}
}

// The worked lists of the manual play without a refusal, and what they are meant to show is
// among what happened.
func TestEyeLists(t *testing.T) {
	shows := map[string][]string{
		"fluid-astray.txt":    {"felt-hard", "reflex-clear", "drip-given"},
		"choroid-bleed.txt":   {"reflex-dark", "bleeding-stopped"},
		"limp-iris.txt":       {"iris-billows", "iris-prolapses", "off       iris-prolapses"},
		"membrane.txt":        {"membrane-flap", "air-filled"},
		"implant-support.txt": {"implant-slips", "off       implant-slips"},
	}
	files, err := filepath.Glob("../../testdata/eye/lists/*.txt")
	if err != nil || len(files) != len(shows) {
		t.Fatalf("%d lists, %v", len(files), err)
	}
	for _, path := range files {
		code, out, errs := eyeLine(t, "run", path)
		if code != 0 {
			t.Errorf("%s: code %d, %s", path, code, errs)
		}
		for _, must := range shows[filepath.Base(path)] {
			if !strings.Contains(out, must) {
				t.Errorf("%s does not show %q", path, must)
			}
		}
	}
}

func TestEyeRunSaysWhatIsWrong(t *testing.T) {
	for _, c := range []struct{ name, text, says string }{
		{"a.txt", "enter phaco-tip\npedal 7\n", "a.txt:2: pedal: position: 7 is out of range"},
		{"a.txt", "fly\n", "no action"}, {"a.txt", "", "holds no action"}, {"a.txt", "eye grade=9\nwait 1\n", "grade is 9"},
		{"a.txt", "eye hair=1\nwait 1\n", "has no \"hair\""}, {"a.txt", "eye dialysis=3mm\nwait 1\n", "unit"}, {"a.txt", "eye pieces=8\nwait 1\n", "hour:uL"},
		{"a.txt", "seed minus\nwait 1\n", "whole number"}, {"a.yaml", "actions: [{fly: 1}]\n", "fly"}, {"a.yaml", "eye: {hair: 1}\nactions: [{wait: 1 s}]\n", "hair"},
		{"a.yaml", "actions: []\n", "holds no action"}, {"a.yaml", "eye: [\n", "a.yaml"},
	} {
		code, _, errs := eyeLine(t, "run", fileWith(t, c.name, c.text))
		if code != 1 || !strings.Contains(errs, c.says) {
			t.Errorf("%q: code %d, %q; want %q", c.text, code, errs, c.says)
		}
	}
	if code, _, errs := eyeLine(t, "run", "--show", "colour", fileWith(t, "a.txt", "wait 1\n")); code != 1 || !strings.Contains(errs, "colour") {
		t.Errorf("--show colour: code %d, %q", code, errs)
	}
}

// Each picture is whole SVG, small enough to keep in git, and there is one of the same name
// beside the manual.
func TestEyePlot(t *testing.T) {
	dir := t.TempDir()
	if code, _, errs := eyeLine(t, "plot", "-o", dir); code != 0 {
		t.Fatalf("code %d, %q", code, errs)
	}
	for _, name := range []string{"surge.svg", "withdrawal.svg", "zonules.svg"} {
		for _, path := range []string{filepath.Join(dir, name), filepath.Join("../../scenarios/eye/plots", name)} {
			data, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if len(data) > 50_000 || !wholeXML(data) || bytes.Contains(data, []byte("NaN")) {
				t.Errorf("%s: %d bytes", path, len(data))
			}
		}
	}
}

func wholeXML(data []byte) bool {
	d := xml.NewDecoder(bytes.NewReader(data))
	paths := 0
	for {
		tok, err := d.Token()
		if err == io.EOF {
			return paths > 10
		}
		if err != nil {
			return false
		}
		if s, ok := tok.(xml.StartElement); ok && s.Name.Local == "path" {
			paths++
		}
	}
}
