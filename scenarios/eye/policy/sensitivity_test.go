package policy

import (
	"fmt"
	"math"
	"os"
	"reflect"
	"strings"
	"testing"

	"zonule/scenarios/eye"
)

// Draws are as said: each of 13 parameters times exp(0.3 n), n standard normal, independent,
// the same for the same draw.
func TestDraws(t *testing.T) {
	const n = 2000
	def := eye.DefaultParams()
	base := doubtful(&def)
	var sum, square, cross [13]float64
	for d := range n {
		p := Drawn(d)
		var x [13]float64
		for i, fields := range doubtful(&p) {
			x[i] = math.Log(*fields[0]/(*base[i][0])) / 0.3
			for k, f := range fields {
				if math.Abs(math.Log(*f/(*base[i][k]))/0.3-x[i]) > 1e-9 {
					t.Fatalf("draw %d: parameter %d is not drawn as one", d, i)
				}
			}
			sum[i] += x[i] / n
			square[i] += x[i] * x[i] / n
		}
		for i := 1; i < len(x); i++ {
			cross[i] += x[i] * x[i-1] / n
		}
	}
	for i := range sum {
		if math.Abs(sum[i]) > 0.1 || math.Abs(square[i]-1) > 0.15 || math.Abs(cross[i]) > 0.1 {
			t.Errorf("parameter %d: mean %.3f, mean square %.3f, with the one before %.3f over %d draws", i, sum[i], square[i], cross[i], n)
		}
	}
	if !reflect.DeepEqual(Drawn(5), Drawn(5)) || reflect.DeepEqual(Drawn(5), Drawn(6)) {
		t.Error("a draw must be itself and no other")
	}
}

// Where more is known than doubted: withdrawing at once, going on aspirating in the very weak
// eye and pulling gel come out worse under each of a few draws; how many work at a time
// changes nothing.
func TestSensitivityOfAFewDraws(t *testing.T) {
	a, err := Sensitivity(2, 1, 2)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Sensitivity(2, 1, 1)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(a, b) {
		t.Error("two workers and one differ")
	}
	for _, s := range a {
		if (s.Plan == "P1" || s.Case == "A" && s.Plan == "P5") && s.Worse != s.Draws {
			t.Errorf("eye %s, %s: worse in %d of %d draws, least margin %.2f", s.Case, s.Plan, s.Worse, s.Draws, s.Least)
		}
	}
}

// The committed study keeps what the manual calls firm.
func TestCommittedSensitivity(t *testing.T) {
	data, err := os.ReadFile(testdata + "sensitivity.md")
	if err != nil {
		t.Fatal(err)
	}
	firm := map[string][3]int{"A": {40, 40, 40}, "B": {40, 40, 36}, "C": {40, 40, 40}} // P1, P2, P5
	seen := 0
	for line := range strings.SplitSeq(string(data), "\n") {
		cells := strings.Split(line, "|")
		if len(cells) < 8 {
			continue
		}
		least, ok := firm[strings.TrimSpace(cells[1])]
		if !ok {
			continue
		}
		seen++
		for i, column := range []int{2, 3, 6} {
			var worse, draws int
			if _, err := fmt.Sscanf(strings.TrimSpace(cells[column]), "%d of %d", &worse, &draws); err != nil || draws != 40 || worse < least[i] {
				t.Errorf("%s: %d of %d draws, want %d of 40 (%v)", line, worse, draws, least[i], err)
			}
		}
	}
	if seen != 3 || !strings.Contains(string(data), "zonule eye sensitivity") {
		t.Errorf("%d eyes in the study", seen)
	}
}
