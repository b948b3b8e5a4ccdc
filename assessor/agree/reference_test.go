package agree

import (
	"encoding/json"
	"math"
	"os"
	"testing"
)

// read reads a reference file; testdata/statistics/README.md says where each comes from.
func read(t *testing.T, name string, into any) {
	t.Helper()
	data, err := os.ReadFile("../../testdata/statistics/" + name)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, into); err != nil {
		t.Fatal(err)
	}
}

// near fails unless got is within an absolute tolerance of want.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.12g, want %.12g within %g", what, got, want, tolerance)
	}
}

// gaps turns a table with nulls into one with NaN.
func gaps(rows [][]*float64) [][]float64 {
	out := make([][]float64, len(rows))
	for i, row := range rows {
		out[i] = make([]float64, len(row))
		for j, v := range row {
			out[i][j] = math.NaN()
			if v != nil {
				out[i][j] = *v
			}
		}
	}
	return out
}
