package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"strings"
	"text/tabwriter"

	"zonule/scenarios/eye"
	"zonule/scenarios/script"
)

type eyeRunCmd struct {
	Script string   `arg:"" help:"A list of actions, one a line as in free hands (pedal 2 for=3s), or a YAML file (.yaml) with eye, seed and actions as in scenarios; - reads lines from standard input." placeholder:"SCRIPT"`
	Seed   uint64   `help:"Seed of the eye; a seed in the file comes before it." default:"1"`
	JSON   bool     `help:"Print JSON instead of tables." name:"json"`
	Show   []string `help:"Measures to print beside each action." default:"chamber_depth_mm,iop_mmhg,vitreous_pressure_mmhg,vacuum_mmhg,ovd_fill,vitreous_in_chamber_ul,dialysis_hours,peak_load_ratio" placeholder:"NAME"`
}

// runStep is what one action did.
type runStep struct {
	At      float64            `json:"at_s"`
	Took    float64            `json:"took_s"`
	Action  string             `json:"action"`
	Refused string             `json:"refused,omitempty"`
	Marks   []runMark          `json:"marks"`
	Showing []string           `json:"showing"`
	State   map[string]float64 `json:"state"`
	Lowest  map[string]float64 `json:"lowest"`
	Highest map[string]float64 `json:"highest"`
}

type runMark struct {
	At   float64 `json:"at_s"`
	Name string  `json:"name"`
	Off  bool    `json:"off,omitempty"`
	Text string  `json:"text,omitempty"`
}

// Run plays the actions one after another; what the eye refuses is said and passed over.
func (c *eyeRunCmd) Run(sh *shell) error {
	shown, err := measuresNamed(c.Show)
	if err != nil {
		return err
	}
	list, err := c.read(sh)
	if err != nil {
		return err
	}
	e, err := eye.New(list.spec, list.seed)
	if err != nil {
		return err
	}
	steps := make([]runStep, len(list.actions))
	refused := 0
	for i, a := range list.actions {
		steps[i] = takeStep(e, a)
		if steps[i].Refused != "" {
			refused++
		}
	}
	if c.JSON {
		err = printJSON(sh.out, list.seed, steps, e)
	} else {
		err = printSteps(sh.out, list.seed, steps, shown, e)
	}
	if err == nil && refused > 0 {
		fmt.Fprintf(sh.err, "zonule: %d of %d actions were refused; the words stand beside each\n", refused, len(steps))
		return errSaid
	}
	return err
}

func (c *eyeRunCmd) read(sh *shell) (runList, error) {
	data, err := readScript(c.Script, sh.in)
	if err != nil {
		return runList{}, err
	}
	if strings.HasSuffix(c.Script, ".yaml") || strings.HasSuffix(c.Script, ".yml") {
		return readYAMLList(c.Script, data, c.Seed)
	}
	return readLineList(c.Script, data, c.Seed)
}

func readScript(path string, in io.Reader) ([]byte, error) {
	if path == "-" {
		return io.ReadAll(in)
	}
	return os.ReadFile(path)
}

func takeStep(e *eye.Eye, a eye.Action) runStep {
	s := runStep{At: e.Time(), Action: script.InWords(a), Marks: []runMark{}, Showing: []string{}}
	r, err := e.Apply(a)
	if err != nil {
		s.Refused = err.Error()
		r.After = e.Measures()
		r.Low, r.High = r.After, r.After
	}
	s.Took = e.Time() - s.At
	for _, m := range r.Marks {
		s.Marks = append(s.Marks, runMark{m.At, m.Name, m.Off, m.Text})
	}
	for _, f := range e.Showing() {
		s.Showing = append(s.Showing, f.ID)
	}
	s.State, s.Lowest, s.Highest = named(r.After), named(r.Low), named(r.High)
	return s
}

func named(m eye.Measures) map[string]float64 {
	out := make(map[string]float64, len(m))
	for i, info := range eye.MeasureTable() {
		out[info.Name] = m[i]
	}
	return out
}

func measuresNamed(names []string) ([]eye.MeasureInfo, error) {
	table := eye.MeasureTable()
	var out []eye.MeasureInfo
	for _, name := range names {
		i, ok := eye.MeasureIndex(name)
		if !ok {
			return nil, fmt.Errorf("the eye has no measure %q; leave --show out and see the last table for the names", name)
		}
		out = append(out, table[i])
	}
	return out, nil
}

func printJSON(w io.Writer, seed uint64, steps []runStep, e *eye.Eye) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	return enc.Encode(struct {
		Model  string             `json:"model"`
		Notice string             `json:"notice"`
		Seed   uint64             `json:"seed"`
		Steps  []runStep          `json:"steps"`
		State  map[string]float64 `json:"state"`
	}{eye.Model, illustrative, seed, steps, named(e.Measures())})
}

// printSteps prints a line an action, its marks under it, and the state at the end.
func printSteps(out io.Writer, seed uint64, steps []runStep, shown []eye.MeasureInfo, e *eye.Eye) error {
	fmt.Fprintf(out, "%s, seed %d\n\n", eye.Model, seed)
	w := tabwriter.NewWriter(out, 0, 8, 2, ' ', 0)
	head := []string{"at s", "took s"}
	for _, m := range shown {
		head = append(head, m.Name)
	}
	fmt.Fprintln(w, strings.Join(append(head, "action"), "\t"))
	for _, s := range steps {
		cells := []string{fmt.Sprintf("%.2f", s.At), fmt.Sprintf("%.2f", s.Took)}
		for _, m := range shown {
			cells = append(cells, fmt.Sprintf("%.3g", s.State[m.Name]))
		}
		fmt.Fprintln(w, strings.Join(append(cells, s.Action), "\t"))
	}
	if err := w.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(out, "\nWhat happened, by the second:")
	for _, s := range steps {
		if s.Refused != "" {
			fmt.Fprintf(out, "%8.2f  refused   %s\n", s.At, s.Refused)
		}
		for _, m := range s.Marks {
			fmt.Fprintf(out, "%8.2f  %s\n", m.At, m.line())
		}
	}
	fmt.Fprintln(out, "\nThe eye at the end:")
	after := e.Measures()
	for i, info := range eye.MeasureTable() {
		fmt.Fprintf(w, "%s\t%.6g\t%s\t%s\n", info.Name, after[i], info.Unit, info.Meaning)
	}
	if err := w.Flush(); err != nil {
		return err
	}
	fmt.Fprintf(out, "\n%s\n", illustrative)
	return nil
}

func (m runMark) line() string {
	switch {
	case m.Off:
		return "off       " + m.Name
	case m.Text == "":
		return "          " + m.Name
	}
	return "          " + m.Name + ": " + m.Text
}
