package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"

	"zonule/assessor"
)

// statsResult is an answer: tables of named columns, and what a reader must know beside them.
type statsResult struct {
	Method string
	Tables []statsTable
	Notes  []string
}

// statsTable is one table. A cell is a string, a whole number, a truth value, a number, or nil where
// there is none.
type statsTable struct {
	Name    string
	Columns []string
	Rows    [][]any
}

func (r *statsResult) table(name string, columns ...string) *statsTable {
	r.Tables = append(r.Tables, statsTable{Name: name, Columns: columns})
	return &r.Tables[len(r.Tables)-1]
}

func (t *statsTable) row(cells ...any) { t.Rows = append(t.Rows, cells) }

func (r *statsResult) note(format string, args ...any) {
	r.Notes = append(r.Notes, fmt.Sprintf(format, args...))
}

// when is a number that exists only under a condition.
func when(ok bool, v any) any {
	if !ok {
		return nil
	}
	return v
}

// plain writes a cell with six significant digits.
func plain(cell any) string {
	switch v := cell.(type) {
	case nil:
		return "-"
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return "-"
		}
		return fmt.Sprintf("%.6g", v)
	}
	return fmt.Sprint(cell)
}

// print writes tables that line up; numbers to the right.
func (r statsResult) print(w io.Writer) error {
	var b strings.Builder
	for _, t := range r.Tables {
		fmt.Fprintf(&b, "%s\n", t.Name)
		cells := [][]string{t.Columns}
		number := make([]bool, len(t.Columns))
		for _, row := range t.Rows {
			line := make([]string, len(row))
			for j, c := range row {
				line[j] = plain(c)
				switch c.(type) {
				case float64, int:
					number[j] = true
				}
			}
			cells = append(cells, line)
		}
		width := make([]int, len(t.Columns))
		for _, line := range cells {
			for j, c := range line {
				width[j] = max(width[j], len([]rune(c)))
			}
		}
		for _, line := range cells {
			out := " "
			for j, c := range line {
				gap := strings.Repeat(" ", width[j]-len([]rune(c)))
				if number[j] {
					out += " " + gap + c
				} else {
					out += " " + c + gap
				}
			}
			b.WriteString(strings.TrimRight(out, " ") + "\n")
		}
		b.WriteString("\n")
	}
	for _, n := range r.Notes {
		fmt.Fprintf(&b, "%s\n", n)
	}
	fmt.Fprintf(&b, "%s\n", assessor.Caution)
	_, err := io.WriteString(w, b.String())
	return err
}

// json writes the answer with all digits; a number that is none is null.
func (r statsResult) json(w io.Writer) error {
	type object = map[string]any
	tables := object{}
	for _, t := range r.Tables {
		rows := make([]object, len(t.Rows))
		for i, row := range t.Rows {
			rows[i] = object{}
			for j, c := range row {
				if v, ok := c.(float64); ok && (math.IsNaN(v) || math.IsInf(v, 0)) {
					c = nil
				}
				rows[i][t.Columns[j]] = c
			}
		}
		tables[t.Name] = rows
	}
	notes := r.Notes
	if notes == nil {
		notes = []string{}
	}
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	return enc.Encode(object{"method": r.Method, "tables": tables, "notes": notes, "caution": assessor.Caution})
}
