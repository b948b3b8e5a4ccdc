package dashboard

import (
	"maps"
	"slices"
	"strings"

	drillv1 "zonule/proto/gen/zonule/drill/v1"
)

// stepView is one decision and what it did to the eye.
type stepView struct {
	Index              uint32
	Number             uint32 // Index + 1, as a reader counts
	Anchor             string
	At, Thought        string
	Say, Stage, Reason string
	Free               []string
	Stance, StanceMark string
	Because            string
	TimedOut, Undone   bool
	Refused            string
	Thinking, Doing    []seen
	Changes            []change
	Next               string
	Last               bool     // Next is the ending
	CriticalHere       []string // critical errors tied to this decision
	StanceWord         string
}

// stepsOf reads what was seen before the first scene, and the decisions.
func stepsOf(t *drillv1.Timeline) (opening []seen, out []stepView) {
	sight := sight{}
	opening = sight.read(t.GetOpening().GetMarks())
	names := t.GetMeasures()
	before := stretchOf(names, t.GetOpening()).after
	for _, s := range t.GetSteps() {
		thinking, doing := stretchOf(names, s.GetThinking()), stretchOf(names, s.GetDoing())
		mark, word, words := stanceWords(s.GetStance())
		one := stepView{
			Index: s.GetIndex(), Number: s.GetIndex() + 1, Anchor: anchor(int(s.GetIndex())), At: seconds(decidedAt(s)), Thought: seconds(s.GetElapsedS()),
			Say: s.GetSay(), Stage: plain(s.GetStage()), Reason: s.GetReason(), StanceMark: mark, StanceWord: word, Stance: words, Because: stop(s.GetBecause()),
			TimedOut: s.GetTimedOut(), Undone: s.GetUndone(), Refused: stop(s.GetRefused()), Thinking: sight.read(thinking.marks), Doing: sight.read(doing.marks),
			Changes: changes(before, thinking.after, doing.after, thinking.low, thinking.high, doing.low, doing.high),
			Next:    plain(s.GetNext()),
		}
		for _, a := range s.GetFree() {
			one.Free = append(one.Free, actionWords(a))
		}
		if one.Say == "" {
			one.Say = strings.Join(one.Free, ", then ")
		}
		out = append(out, one)
		if !s.GetUndone() && doing.recorded() {
			before = doing.after
		}
	}
	if t.GetEnding() != "" && len(out) > 0 {
		out[len(out)-1].Last = true
	}
	return opening, out
}

// decidedAt is the second at which the decision acted.
func decidedAt(s *drillv1.Step) float64 {
	if s.GetDoing() != nil {
		return s.GetDoing().GetStartS()
	}
	return s.GetThinking().GetEndS()
}

func anchor(index int) string { return "decision-" + decimal(uint32(index+1)) }

// stanceWords gives a mark, a word and a sentence for the author's view of a choice.
func stanceWords(s drillv1.Stance) (mark, word, words string) {
	switch s {
	case drillv1.Stance_STANCE_PREFERRED:
		return "preferred", "Preferred", "what the author would do"
	case drillv1.Stance_STANCE_ACCEPTABLE:
		return "acceptable", "Acceptable", "good with a reason"
	case drillv1.Stance_STANCE_SUBOPTIMAL:
		return "suboptimal", "Suboptimal", "costs something"
	case drillv1.Stance_STANCE_HARMFUL:
		return "harmful", "Harmful", "makes things worse"
	case drillv1.Stance_STANCE_CRITICAL:
		return "critical", "Critical", "harm that no average removes"
	}
	return "free", "Free action", "the author says nothing about it"
}

// actionWords writes an action with its arguments in the order of their names.
func actionWords(a *drillv1.Action) string {
	parts := []string{plain(a.GetVerb())}
	for _, name := range slices.Sorted(maps.Keys(a.GetWords())) {
		parts = append(parts, plain(name)+" "+a.GetWords()[name])
	}
	for _, name := range slices.Sorted(maps.Keys(a.GetNumbers())) {
		parts = append(parts, plain(name)+" "+evidenceValue(a.GetNumbers()[name], ""))
	}
	return strings.Join(parts, ", ")
}
