package eye

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"zonule/scenarios/eye/ode"
)

// The fluid benchmark S1 against a stiff solver (scipy Radau, rtol 1e-10; see
// testdata/eye/README.md) on its grid of 10 ms. At the working step of 2 ms the eye
// pressure must be within 0.02 mmHg and the line within 0.65 mmHg; a quarter of the step
// must bring the pressure to 0.001.
func TestScriptS1AgainstRadau(t *testing.T) {
	trace := readTrace(t)
	for _, c := range []struct{ h, pa, p float64 }{{2e-3, 0.02, 0.65}, {5e-4, 1e-3, 0.03}, {1e-4, 5e-5, 2e-3}} {
		worstPa, worstP, seen := 0.0, 0.0, 0
		scriptS1(100, 40, 400, c.h, func(tm float64, y ode.State, f *fluid) {
			i := nearest(tm / 0.01)
			if math.Abs(tm-float64(i)*0.01) > c.h/4 {
				return
			}
			row := trace[i-1]
			seen++
			worstPa = max(worstPa, math.Abs(f.at(y)-row[4]))
			worstP = max(worstP, math.Abs(y.B-row[2]))
		})
		t.Logf("step %g ms: eye pressure within %.2g mmHg, line within %.2g mmHg", c.h*1e3, worstPa, worstP)
		if seen != len(trace) || worstPa > c.pa || worstP > c.p {
			t.Errorf("step %g: %d of %d points, worst %.3g and %.3g mmHg; allowed %g and %g", c.h, seen, len(trace), worstPa, worstP, c.pa, c.p)
		}
	}
}

func readTrace(t *testing.T) [][5]float64 {
	f, err := os.Open(reference + "s1_radau_100_40_400.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var trace [][5]float64
	for _, r := range rows[1:] {
		var x [5]float64
		for i := range x {
			if x[i], err = strconv.ParseFloat(r[i], 64); err != nil {
				t.Fatal(err)
			}
		}
		trace = append(trace, x)
	}
	return trace
}
