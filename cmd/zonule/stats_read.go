package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
)

// statsData is a table as it was read: named columns of cells.
type statsData struct {
	columns []string
	rows    [][]string
}

// readStats reads a file, or standard input for "-".
func readStats(sh *shell, file string) (statsData, error) {
	var raw []byte
	var err error
	if file == "-" {
		raw, err = io.ReadAll(sh.in)
	} else {
		raw, err = os.ReadFile(file)
	}
	if err != nil {
		return statsData{}, err
	}
	d, err := parseStats(raw)
	if err != nil {
		return d, fmt.Errorf("%s: %w", file, err)
	}
	return d, nil
}

// parseStats reads CSV, or JSON when it begins like it.
func parseStats(raw []byte) (statsData, error) {
	raw = bytes.TrimPrefix(raw, []byte("\ufeff"))
	trimmed := bytes.TrimSpace(raw)
	if len(trimmed) > 0 && (trimmed[0] == '[' || trimmed[0] == '{') {
		return parseStatsJSON(trimmed)
	}
	r := csv.NewReader(bytes.NewReader(raw))
	r.TrimLeadingSpace = true
	rows, err := r.ReadAll()
	if err != nil {
		return statsData{}, err
	}
	if len(rows) == 0 {
		return statsData{}, errors.New("the data are empty: give a header and rows")
	}
	for _, row := range rows {
		for i := range row {
			row[i] = strings.TrimSpace(row[i])
		}
	}
	d := statsData{rows[0], rows[1:]}
	return d, d.check()
}

func (d statsData) check() error {
	seen := map[string]bool{}
	for _, c := range d.columns {
		if c == "" || seen[c] {
			return fmt.Errorf("the header has the column %q twice or without a name: name each once", c)
		}
		seen[c] = true
	}
	return nil
}

// parseStatsJSON reads [{"x": 1}, ...] or {"x": [1, ...]}. Columns of objects stand in the order of the
// alphabet, since JSON has none.
func parseStatsJSON(raw []byte) (statsData, error) {
	var d statsData
	column := map[string][]any{}
	count := 0
	if raw[0] == '[' {
		var rows []map[string]any
		if err := strictJSON(raw, &rows); err != nil {
			return d, fmt.Errorf("JSON: %w", err)
		}
		for _, row := range rows {
			for name := range row {
				if _, ok := column[name]; !ok {
					column[name] = make([]any, len(rows))
				}
			}
		}
		for i, row := range rows {
			for name, v := range row {
				column[name][i] = v
			}
		}
		count = len(rows)
	} else {
		if err := strictJSON(raw, &column); err != nil {
			return d, fmt.Errorf("JSON: %w", err)
		}
		for _, v := range column {
			count = max(count, len(v))
		}
	}
	for name, v := range column {
		if len(v) != count {
			return d, fmt.Errorf("JSON: column %q has %d values, another has %d", name, len(v), count)
		}
		d.columns = append(d.columns, name)
	}
	slices.Sort(d.columns)
	for i := range count {
		row := make([]string, len(d.columns))
		for j, name := range d.columns {
			switch v := column[name][i].(type) {
			case nil:
			case string:
				row[j] = v
			case json.Number:
				row[j] = v.String()
			case bool:
				row[j] = strconv.FormatBool(v)
			default:
				return d, fmt.Errorf("JSON: column %q, row %d holds no number, text or truth value", name, i+1)
			}
		}
		d.rows = append(d.rows, row)
	}
	return d, d.check()
}

func strictJSON(raw []byte, into any) error {
	dec := json.NewDecoder(bytes.NewReader(raw))
	dec.UseNumber()
	return dec.Decode(into)
}

// text is a column of cells as they stand; every cell must have one.
func (d statsData) text(name string) ([]string, error) {
	j := slices.Index(d.columns, name)
	if j < 0 {
		return nil, fmt.Errorf("there is no column %q: the data have %s", name, strings.Join(d.columns, ", "))
	}
	out := make([]string, len(d.rows))
	for i, row := range d.rows {
		if out[i] = row[j]; out[i] == "" {
			return nil, fmt.Errorf("column %s, row %d is empty", name, i+1)
		}
	}
	return out, nil
}

// numbers is a column of finite numbers.
func (d statsData) numbers(name string) ([]float64, error) {
	cells, err := d.text(name)
	if err != nil {
		return nil, err
	}
	out := make([]float64, len(cells))
	for i, cell := range cells {
		v, err := strconv.ParseFloat(cell, 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("column %s, row %d: %q is no number", name, i+1, cell)
		}
		out[i] = v
	}
	return out, nil
}

// wholes is a column of whole numbers.
func (d statsData) wholes(name string) ([]int, error) {
	v, err := d.numbers(name)
	if err != nil {
		return nil, err
	}
	out := make([]int, len(v))
	for i, x := range v {
		if x != math.Trunc(x) || math.Abs(x) > 1e15 {
			return nil, fmt.Errorf("column %s, row %d: %g is no whole number", name, i+1, x)
		}
		out[i] = int(x)
	}
	return out, nil
}

// truths is a column of yes and no: 1 and 0, true and false, yes and no.
func (d statsData) truths(name string) ([]bool, error) {
	cells, err := d.text(name)
	if err != nil {
		return nil, err
	}
	out := make([]bool, len(cells))
	for i, cell := range cells {
		if out[i], err = truth(cell); err != nil {
			return nil, fmt.Errorf("column %s, row %d: %w", name, i+1, err)
		}
	}
	return out, nil
}

func truth(cell string) (bool, error) {
	switch strings.ToLower(cell) {
	case "1", "true", "yes":
		return true, nil
	case "0", "false", "no":
		return false, nil
	}
	return false, fmt.Errorf("%q is neither 1, true or yes nor 0, false or no", cell)
}

// beside are the columns that are not named, in order.
func (d statsData) beside(named ...string) []string {
	var out []string
	for _, c := range d.columns {
		if !slices.Contains(named, c) {
			out = append(out, c)
		}
	}
	return out
}

// missing says whether a cell stands for no value.
func missing(cell string) bool {
	return cell == "" || cell == "NA" || cell == "NaN" || cell == "."
}

// matrix is the columns beside the named one as numbers, missing cells NaN; with the named column's
// cells, or row numbers when there is none.
func (d statsData) matrix(named string) (names, columns []string, values [][]float64, err error) {
	columns = d.beside(named)
	if len(columns) == 0 {
		return nil, nil, nil, fmt.Errorf("there are no columns beside %q", named)
	}
	values = make([][]float64, len(d.rows))
	at := slices.Index(d.columns, named)
	for i, row := range d.rows {
		who := strconv.Itoa(i + 1)
		if at >= 0 {
			who = row[at]
		}
		names = append(names, who)
		for j, c := range d.columns {
			if j == at {
				continue
			}
			v := math.NaN()
			if !missing(row[j]) {
				if v, err = strconv.ParseFloat(row[j], 64); err != nil || math.IsInf(v, 0) {
					return nil, nil, nil, fmt.Errorf("column %s, row %d: %q is no number", c, i+1, row[j])
				}
			}
			values[i] = append(values[i], v)
		}
	}
	return names, columns, values, nil
}
