package casemix

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// Every row of the reference table, to its stated tolerance; testdata/statistics/README.md says
// where the table comes from.
func TestIntervalsAgreeWithTheReference(t *testing.T) {
	const tolerance = 1e-8
	f, err := os.Open("../../testdata/statistics/intervals.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.TrimLeadingSpace = true
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) < 13 {
		t.Fatalf("the table has %d lines, expected a heading and at least 12", len(rows))
	}
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	methods := map[string]func(int, int, float64) (Interval, error){
		"clopper_pearson": Exact, "wilson": Wilson, "jeffreys": Jeffreys, "jeffreys_mod": JeffreysModified,
	}
	for _, row := range rows[1:] {
		at := func(name string) float64 {
			v, err := strconv.ParseFloat(strings.TrimSpace(row[column[name]]), 64)
			if err != nil {
				t.Fatalf("column %q: %v", name, err)
			}
			return v
		}
		for name, method := range methods {
			got, err := method(int(at("x")), int(at("n")), at("conf"))
			if err != nil {
				t.Fatal(err)
			}
			want := Interval{at(name + "_lo"), at(name + "_hi")}
			if math.Abs(got.Low-want.Low) > tolerance || math.Abs(got.High-want.High) > tolerance {
				t.Errorf("%s %g/%g: got %v, want %v", name, at("x"), at("n"), got, want)
			}
		}
	}
}

// Newcombe 1998, Table I, quoted from memory in the file; it holds to the printed four decimals.
func TestIntervalsAgreeWithThePrintedTable(t *testing.T) {
	data, err := os.ReadFile("../../testdata/statistics/proportions.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Check struct {
			Wilson map[string][2]float64 `json:"wilson"`
			Exact  map[string][2]float64 `json:"clopper_pearson"`
		} `json:"published_cross_check"`
	}
	if err := json.Unmarshal(data, &file); err != nil {
		t.Fatal(err)
	}
	compare := func(name string, method func(int, int, float64) (Interval, error), table map[string][2]float64) {
		if len(table) == 0 {
			t.Fatalf("no published rows for %s", name)
		}
		for key, want := range table {
			var x, n int
			if _, err := fmt.Sscanf(key, "%d/%d", &x, &n); err != nil {
				t.Fatal(err)
			}
			got, _ := method(x, n, 0.95)
			if math.Abs(got.Low-want[0]) > 0.5e-4 || math.Abs(got.High-want[1]) > 0.5e-4 {
				t.Errorf("%s %s: got %v, printed %v", name, key, got, want)
			}
		}
	}
	compare("wilson", Wilson, file.Check.Wilson)
	compare("clopper_pearson", Exact, file.Check.Exact)
}

// What the exact interval means: at its ends the observed count, or one further out, has just
// the tail's probability. Checked for every count up to n = 40.
func TestExactEndsLeaveTheTail(t *testing.T) {
	const level, tail = 0.95, 0.025
	for n := 1; n <= 40; n++ {
		for x := 0; x <= n; x++ {
			got, err := Exact(x, n, level)
			if err != nil {
				t.Fatal(err)
			}
			if x > 0 {
				above := 1 - distuv.Binomial{N: float64(n), P: got.Low}.CDF(float64(x-1))
				if math.Abs(above-tail) > 1e-9 {
					t.Fatalf("%d/%d: P(X >= x) at the lower end is %g", x, n, above)
				}
			}
			if x < n {
				below := distuv.Binomial{N: float64(n), P: got.High}.CDF(float64(x))
				if math.Abs(below-tail) > 1e-9 {
					t.Fatalf("%d/%d: P(X <= x) at the upper end is %g", x, n, below)
				}
			}
		}
	}
}

// Exchanging events and non-events turns an interval round; more cases at one rate narrow it.
func TestIntervalsMirrorAndNarrow(t *testing.T) {
	for name, method := range map[string]func(int, int, float64) (Interval, error){
		"exact": Exact, "wilson": Wilson, "jeffreys": Jeffreys, "modified": JeffreysModified,
	} {
		for n := 1; n <= 30; n++ {
			for x := 0; x <= n; x++ {
				a, _ := method(x, n, 0.9)
				b, _ := method(n-x, n, 0.9)
				if math.Abs(a.Low-(1-b.High)) > 1e-12 || math.Abs(a.High-(1-b.Low)) > 1e-12 {
					t.Fatalf("%s %d/%d is not the mirror of %d/%d: %v %v", name, x, n, n-x, n, a, b)
				}
				wide, _ := method(10*x, 10*n, 0.9)
				if wide.High-wide.Low >= a.High-a.Low {
					t.Fatalf("%s: ten times the cases of %d/%d did not narrow %v: %v", name, x, n, a, wide)
				}
			}
		}
	}
}

func TestIntervalsRefuse(t *testing.T) {
	for _, c := range []struct {
		x, n  int
		level float64
	}{{0, 0, .95}, {-1, 5, .95}, {6, 5, .95}, {1, 5, 0}, {1, 5, 1}, {1, 5, math.NaN()}} {
		for name, method := range map[string]func(int, int, float64) (Interval, error){
			"exact": Exact, "wilson": Wilson, "jeffreys": Jeffreys, "modified": JeffreysModified,
		} {
			if got, err := method(c.x, c.n, c.level); err == nil {
				t.Errorf("%s accepted %+v and gave %v", name, c, got)
			}
		}
	}
}

func TestIntervalReads(t *testing.T) {
	got, _ := Exact(0, 50, 0.95)
	if got.String() != "0.0 to 7.1 %" {
		t.Errorf("0 of 50 reads %q", got)
	}
}

func BenchmarkExact(b *testing.B) {
	for b.Loop() {
		Exact(6, 350, 0.95)
	}
}
