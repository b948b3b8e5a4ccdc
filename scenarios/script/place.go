package script

import "zonule/scenarios/script/text"

// Problem makes a problem at a place of the text the scenario was parsed from; path leads there by keys and
// list indices, as in ("stages", "tug", "next", 0). A scenario that was not parsed has no places.
func (sc *Scenario) Problem(message, do string, path ...any) text.Problem {
	if sc.doc == nil {
		return text.Problem{File: sc.ID, Message: message, Do: do}
	}
	return sc.doc.Problem(message, do, path...)
}
