package policy

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"strconv"
	"strings"
	"testing"

	"zonule/scenarios/eye"
)

func long() bool { return os.Getenv("ZONULE_LONG") != "" }

// harms plays a plan on paired seeds 1..n.
func harms(t testing.TB, caseName, planName string, n int) []float64 {
	t.Helper()
	c, p, err := Lookup(caseName, planName)
	if err != nil {
		t.Fatal(err)
	}
	h := make([]float64, n)
	for i := range h {
		e, err := Play(c, p, uint64(i+1))
		if err != nil {
			t.Fatalf("%s %s seed %d: %v", caseName, planName, i+1, err)
		}
		h[i] = e.Outcome().Harm()
	}
	return h
}

// The R rows of checks.csv: the share of paired seeds in which a deviation is worse
// than the recommended plan. The rows name seeds 1..200, which ZONULE_LONG=1 runs; by
// default the first 10 are run against the same share.
func TestOrderingRows(t *testing.T) {
	n := 10
	if long() {
		n = 200
	}
	f, err := os.Open("../../../testdata/eye/checks.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	ran, base := 0, map[string][]float64{}
	for _, r := range rows {
		if r[1] != "R" {
			continue
		}
		var in struct{ Eye, Policy, Seeds string }
		if err := json.Unmarshal([]byte(r[3]), &in); err != nil {
			t.Fatalf("%s: %v", r[0], err)
		}
		if in.Seeds != "1..200" {
			t.Errorf("%s names seeds %s; this test knows 1..200", r[0], in.Seeds)
		}
		want, err := strconv.ParseFloat(strings.TrimPrefix(r[4], ">="), 64)
		if err != nil {
			t.Fatalf("%s: %v", r[0], err)
		}
		if base[in.Eye] == nil {
			base[in.Eye] = harms(t, in.Eye, "P0", n)
		}
		worse := 0
		for i, h := range harms(t, in.Eye, in.Policy, n) {
			if h > base[in.Eye][i] {
				worse++
			}
		}
		share := 100 * float64(worse) / float64(n)
		t.Logf("%s: eye %s, %s worse than P0 in %.0f %% of %d seeds (at least %g)", r[0], in.Eye, in.Policy, share, n, want)
		if share < want {
			t.Errorf("%s: eye %s, %s worse in %.0f %% of %d seeds, want at least %g", r[0], in.Eye, in.Policy, share, n, want)
		}
		ran++
	}
	if ran != 5 {
		t.Errorf("%d R rows run, want 5", ran)
	}
}

// C-D04: long steps while calm change next to nothing: the hours broken are the same,
// vitreous within 0.1 uL, depth within 0.007 mm, on the recommended plan and seeds 1..10
// of all eyes. ZONULE_LONG=1 adds plans the row does not name; those that draw hundreds
// of uL of gel are held to 0.1 % of it instead.
func TestLongStepsChangeNothing(t *testing.T) {
	slow := eye.DefaultParams()
	slow.CalmAfter = 1 << 30
	plans := []string{"P0"}
	if long() {
		plans = []string{"P0", "P1", "P2", "P3", "P4", "P5"}
	}
	for _, plan := range plans {
		for _, name := range []string{"A", "B", "C", "H"} {
			c, p, err := Lookup(name, plan)
			if err != nil {
				t.Fatal(err)
			}
			for seed := uint64(1); seed <= 10; seed++ {
				a, err := Play(c, p, seed)
				if err != nil {
					t.Fatal(err)
				}
				b, err := PlayWith(c, p, seed, slow)
				if err != nil {
					t.Fatal(err)
				}
				x, y, gel := a.Outcome(), b.Outcome(), 0.1
				if plan != "P0" {
					gel = max(gel, 0.001*y.VitreousTotalUL)
				}
				if x.DialysisHours != y.DialysisHours || apart(x.VitreousTotalUL, y.VitreousTotalUL) > gel || apart(x.LowestDepthMM, y.LowestDepthMM) > 0.007 {
					t.Errorf("eye %s %s seed %d: hours %g and %g, vitreous %g and %g uL, depth %g and %g mm", name, plan, seed,
						x.DialysisHours, y.DialysisHours, x.VitreousTotalUL, y.VitreousTotalUL, x.LowestDepthMM, y.LowestDepthMM)
				}
			}
		}
	}
}

func apart(a, b float64) float64 { return max(a-b, b-a) }

// TestPlanTable prints the table of all plans with -v; the recommended plan must not
// be beaten on average by a deviation that breaks or leaves something, and hooks must
// give adequate support to the eye in which a ring alone does not.
func TestPlanTable(t *testing.T) {
	n := 2
	if long() {
		n = 100
	}
	for _, c := range Cases() {
		mean := map[string]float64{}
		for _, p := range Plans() {
			var o eye.Outcome
			supported := 0
			for seed := 1; seed <= n; seed++ {
				e, err := Play(c, p, uint64(seed))
				if err != nil {
					t.Fatalf("%s %s: %v", c.Name, p.Name, err)
				}
				o = e.Outcome()
				mean[p.Name] += o.Harm() / float64(n)
				if o.Supported {
					supported++
				}
			}
			t.Logf("%s %s: mean harm %.1f, supported %d/%d; last seed: new %.2f h, peak %.2f, vitreous %.1f/%.1f uL, traction %.2f, depth %.2f mm, cde %.1f, offset %.2f mm, wobble %.1f, %.0f s",
				c.Name, p.Name, mean[p.Name], supported, n, o.NewDialysisHours, o.PeakLoadRatio, o.VitreousTotalUL, o.VitreousLeftUL, o.TractionMNS, o.LowestDepthMM, o.CDE, o.OffsetMM, o.Wobble, o.Seconds)
			if c.Name == "C" && (p.Name == "P0" && supported > 0 || p.Name == "P8" && supported < n) {
				t.Errorf("eye C %s: adequate support in %d of %d", p.Name, supported, n)
			}
		}
		if c.Name == "H" {
			continue // settings alone do not harm a healthy eye much; see README.md
		}
		for _, p := range Plans()[1:] {
			if p.Name != "P8" && mean[p.Name] <= mean["P0"] {
				t.Errorf("eye %s: %s has mean harm %.1f, P0 %.1f", c.Name, p.Name, mean[p.Name], mean["P0"])
			}
		}
	}
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
