// Package checks holds the model eye against reference numbers: rows of a table, each with a
// quantity, its inputs, the expected value and how far the model may be off. The table of the
// project is testdata/eye/checks.csv; others in its form can be tried.
//
// A row passes when |got - expected| <= max(tol_abs, tol_rel |expected|); a word when it is
// the same; a statement when it holds; a share of paired seeds when it is large enough.
package checks

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"zonule/scenarios/eye"
)

// Row is one row of the table.
type Row struct {
	ID, Area, Quantity string
	Inputs             eye.Inputs
	Expected, Unit     string
	RelTol, AbsTol     float64
	Kind, Basis        string
}

var columns = []string{"id", "area", "quantity", "inputs_json", "expected", "unit", "tol_rel", "tol_abs", "kind", "basis"}

// Read reads a table. Columns go by the names in its first line, in any order; unit, kind and
// basis may be missing. The error names the line.
func Read(r io.Reader) ([]Row, error) {
	in := csv.NewReader(r)
	head, err := in.Read()
	if err != nil {
		return nil, fmt.Errorf("the table has no first line with the names of its columns: %w", err)
	}
	at := map[string]int{}
	for i, name := range head {
		at[strings.TrimPrefix(strings.TrimSpace(name), "\ufeff")] = i
	}
	for _, name := range columns {
		if _, ok := at[name]; !ok && name != "unit" && name != "kind" && name != "basis" {
			return nil, fmt.Errorf("the table has no column %q; it needs %s", name, strings.Join(columns, ", "))
		}
	}
	var rows []Row
	for {
		cells, err := in.Read()
		if err == io.EOF {
			return rows, nil
		}
		if err != nil {
			return nil, err
		}
		row, err := readRow(cells, at)
		if err != nil {
			line, _ := in.FieldPos(0)
			return nil, fmt.Errorf("line %d: %w", line, err)
		}
		rows = append(rows, row)
	}
}

func readRow(cells []string, at map[string]int) (Row, error) {
	cell := func(name string) string {
		if i, ok := at[name]; ok {
			return strings.TrimSpace(cells[i])
		}
		return ""
	}
	row := Row{ID: cell("id"), Area: cell("area"), Quantity: cell("quantity"), Expected: cell("expected"), Unit: cell("unit"), Kind: cell("kind"), Basis: cell("basis")}
	if text := cell("inputs_json"); text != "" {
		if err := json.Unmarshal([]byte(text), &row.Inputs); err != nil {
			return row, fmt.Errorf("%s: the inputs are no JSON object: %w", row.ID, err)
		}
	}
	for name, to := range map[string]*float64{"tol_rel": &row.RelTol, "tol_abs": &row.AbsTol} {
		text := cell(name)
		if text == "" || text == "-" {
			continue
		}
		x, err := strconv.ParseFloat(text, 64)
		if err != nil || x < 0 || math.IsNaN(x) {
			return row, fmt.Errorf("%s: %s is %q; it must be a number from 0", row.ID, name, text)
		}
		*to = x
	}
	return row, nil
}
