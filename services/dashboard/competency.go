package dashboard

import "strconv"

// competency is one of the ten, as a heading.
type competency struct {
	ID    string // C1 to C10
	Title string
	Short string // one word, for a narrow column
}

// competencies are the ten in their order, named as in the standard rubric. A rubric's own title, when an office gives one, goes before ours.
var competencies = []competency{
	{"C1", "Recognises early", "Recognise"},
	{"C2", "Keeps the chamber stable", "Chamber"},
	{"C3", "Tells causes apart", "Diagnose"},
	{"C4", "Chooses and orders the steps", "Act"},
	{"C5", "Reasons with the machine", "Machine"},
	{"C6", "Protects vitreous and retina", "Vitreous"},
	{"C7", "Protects capsule and zonules", "Capsule"},
	{"C8", "Decides on the implant", "Implant"},
	{"C9", "Speaks, calls for help, hands over", "Team"},
	{"C10", "Closes, records, plans", "Close"},
}

func isCompetency(id string) bool {
	for _, c := range competencies {
		if c.ID == id {
			return true
		}
	}
	return false
}

// cell is where a trainee stands in one competency: the last level, told as a number and as so many steps filled, how many drills
// showed it, and critical errors.
type cell struct {
	competency
	Shown    bool
	Level    int32
	Count    uint32
	Critical uint32
	Href     string
	Key      string // names the cell, so that the script can see whether it moved
	Value    string // changes when the cell does
}

// key joins the parts of a name for the script.
func key(parts ...string) string {
	out := parts[0]
	for _, p := range parts[1:] {
		out += ":" + p
	}
	return out
}

func decimal(n uint32) string { return strconv.FormatUint(uint64(n), 10) }
