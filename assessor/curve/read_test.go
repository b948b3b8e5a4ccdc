package curve

import (
	"encoding/csv"
	"os"
	"strconv"
	"strings"
	"testing"
)

// readCohort reads trainee, case, score.
func readCohort(t *testing.T, name string) []Trainee {
	t.Helper()
	f, err := os.Open("../../testdata/statistics/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	at := map[string]int{}
	var out []Trainee
	for _, row := range rows[1:] {
		i, ok := at[row[0]]
		if !ok {
			i = len(out)
			at[row[0]] = i
			out = append(out, Trainee{Name: row[0]})
		}
		x, err1 := strconv.ParseFloat(strings.TrimSpace(row[1]), 64)
		y, err2 := strconv.ParseFloat(strings.TrimSpace(row[2]), 64)
		if err1 != nil || err2 != nil {
			t.Fatal(row)
		}
		out[i].Points = append(out[i].Points, Point{x, y})
	}
	return out
}
