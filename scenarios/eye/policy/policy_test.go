package policy

import (
	"encoding/csv"
	"fmt"
	"os"
	"reflect"
	"runtime"
	"strconv"
	"strings"
	"testing"

	"zonule/scenarios/eye"
)

func long() bool { return os.Getenv("ZONULE_LONG") != "" }

// Long steps while calm change next to nothing: row C-D04 (see eye/checks) says so of the
// recommended plan. Here it is tried on plans the row does not name, where those that draw
// hundreds of uL of gel are held to 0.1 % of it. ZONULE_LONG=1 takes all plans and ten seeds.
func TestLongStepsChangeNothing(t *testing.T) {
	slow := eye.DefaultParams()
	slow.CalmAfter = 1 << 30
	plans, last := []string{"P1", "P3"}, uint64(2)
	if long() {
		plans, last = []string{"P1", "P2", "P3", "P4", "P5"}, 10
	}
	for _, plan := range plans {
		for _, name := range []string{"A", "B", "C", "H"} {
			c, p, err := Lookup(name, plan)
			if err != nil {
				t.Fatal(err)
			}
			for seed := uint64(1); seed <= last; seed++ {
				a, err := Play(c, p, seed)
				if err != nil {
					t.Fatal(err)
				}
				b, err := PlayWith(c, p, seed, slow)
				if err != nil {
					t.Fatal(err)
				}
				x, y := a.Outcome(), b.Outcome()
				gel := max(0.1, 0.001*y.VitreousTotalUL)
				if x.DialysisHours != y.DialysisHours || apart(x.VitreousTotalUL, y.VitreousTotalUL) > gel || apart(x.LowestDepthMM, y.LowestDepthMM) > 0.007 {
					t.Errorf("eye %s %s seed %d: hours %g and %g, vitreous %g and %g uL, depth %g and %g mm", name, plan, seed,
						x.DialysisHours, y.DialysisHours, x.VitreousTotalUL, y.VitreousTotalUL, x.LowestDepthMM, y.LowestDepthMM)
				}
			}
		}
	}
}

func apart(a, b float64) float64 { return max(a-b, b-a) }

// The recommended plan must not be beaten on average by a deviation that breaks or leaves
// something, and hooks must give adequate support to the eye in which a ring alone does not.
// The number of workers changes nothing, to the bit.
func TestTableRanksThePlans(t *testing.T) {
	n := 2
	if long() {
		n = 100
	}
	cells, err := Table(n, 2)
	if err != nil {
		t.Fatal(err)
	}
	mean := map[string]float64{}
	for _, c := range cells {
		mean[c.Case.Name+c.Plan.Name] = c.Harm
	}
	for _, c := range cells {
		if c.Case.Name == "C" && (c.Plan.Name == "P0" && c.Supported > 0 || c.Plan.Name == "P8" && c.Supported < 100) {
			t.Errorf("eye C %s: adequate support in %.0f %%", c.Plan.Name, c.Supported)
		}
		if c.Case.Name == "H" || c.Plan.Name == "P0" || c.Plan.Name == "P8" {
			continue // settings alone do not harm a healthy eye much; see README.md
		}
		if c.Harm <= mean[c.Case.Name+"P0"] {
			t.Errorf("eye %s: %s has mean harm %.1f, P0 %.1f", c.Case.Name, c.Plan.Name, c.Harm, mean[c.Case.Name+"P0"])
		}
	}
	sameRanking(t, mean)
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	alone, err := Table(n, 1)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(cells, alone) {
		t.Error("the table differs between one worker on one core and two on all")
	}
}

// prototype reads the mean harm of 200 seeds under the prototype of the model, from which the
// plans were specified.
func prototype(t *testing.T) map[string]float64 {
	t.Helper()
	f, err := os.Open(testdata + "ranking.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]float64{}
	for _, r := range rows[1:] {
		if out[r[0]+r[1]], err = strconv.ParseFloat(r[2], 64); err != nil {
			t.Fatal(err)
		}
	}
	return out
}

const testdata = "../../../testdata/eye/"

// sameRanking: two plans on one eye of which the prototype's means differ by more than 15 %
// stand in the same order here. Nearer ones are ties: in eye B plans 3, 4 and 9 all end with
// the bag lost, and how much further it tears after that is not played here.
func sameRanking(t *testing.T, mean map[string]float64) {
	t.Helper()
	proto := prototype(t)
	pairs := 0
	for a, x := range proto {
		for b, y := range proto {
			if a[0] == b[0] && x < y/1.15 {
				pairs++
				if mean[a] >= mean[b] {
					t.Errorf("%s has mean harm %.1f and %s %.1f; the prototype %.1f and %.1f", a, mean[a], b, mean[b], x, y)
				}
			}
		}
	}
	if len(mean) != len(proto) || pairs < 100 {
		t.Errorf("%d means, %d of the prototype, %d pairs compared", len(mean), len(proto), pairs)
	}
}

// The committed table of 200 seeds has the same ranking, and with the share of seeds in which
// each deviation is worse.
func TestCommittedTable(t *testing.T) {
	data, err := os.ReadFile(testdata + "policies.md")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(data), "zonule eye policies --seeds 200") || !strings.Contains(string(data), "200 paired seeds") {
		t.Error("the table does not say how it was made")
	}
	mean, name := map[string]float64{}, ""
	for line := range strings.SplitSeq(string(data), "\n") {
		if rest, ok := strings.CutPrefix(line, "Eye "); ok {
			name = rest[:1]
		}
		cells := strings.Split(line, "|")
		if len(cells) < 5 || !strings.HasPrefix(strings.TrimSpace(cells[1]), "P") || strings.TrimSpace(cells[1]) == "plan" {
			continue
		}
		plan := strings.TrimSpace(cells[1])[:2]
		var harm float64
		var worse float64
		if _, err := fmt.Sscan(cells[2], &harm); err != nil {
			t.Fatalf("%s: %v", line, err)
		}
		if _, err := fmt.Sscan(cells[3], &worse); err != nil {
			t.Fatalf("%s: %v", line, err)
		}
		mean[name+plan] = harm
		if name != "H" && plan != "P0" && plan != "P8" && worse < 80 {
			t.Errorf("eye %s %s is worse in %.0f %% of seeds only", name, plan, worse)
		}
	}
	sameRanking(t, mean)
}

func TestLookupNamesWhatThereIs(t *testing.T) {
	for _, c := range [][2]string{{"Z", "P0"}, {"A", "P77"}} {
		if _, _, err := Lookup(c[0], c[1]); err == nil || !strings.Contains(err.Error(), "they are") {
			t.Errorf("Lookup(%q, %q): %v", c[0], c[1], err)
		}
	}
}

// BenchmarkPlan plays the recommended sequence on eye C; ms/eye-minute tells what a
// minute of a busy drill costs.
func BenchmarkPlan(b *testing.B) {
	c, p, _ := Lookup("C", "P0")
	seconds, seed := 0.0, uint64(0)
	for b.Loop() {
		seed++
		e, err := Play(c, p, seed%20+1)
		if err != nil {
			b.Fatal(err)
		}
		seconds += e.Time()
	}
	b.ReportMetric(1e3*b.Elapsed().Seconds()/(seconds/60), "ms/eye-minute")
}

// BenchmarkSixMinuteDrill replays the recommended sequence with thinking time before
// each decision, until about six minutes of eye time.
func BenchmarkSixMinuteDrill(b *testing.B) {
	c, p, _ := Lookup("A", "P0")
	p.Think = 5
	var e *eye.Eye
	for b.Loop() {
		var err error
		if e, err = Play(c, p, 1); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(e.Time(), "eye-s")
	b.ReportMetric(1e3*b.Elapsed().Seconds()/float64(b.N), "ms/drill")
}
