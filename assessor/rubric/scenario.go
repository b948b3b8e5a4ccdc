package rubric

import (
	"zonule/scenarios/script"
)

// NamesOf gives the names that a scenario's rubric may use. The words said are known only where the
// trainee cannot say others: with free hands any word is taken.
func NamesOf(sc *script.Scenario) Names {
	n := Names{Scenario: sc.ID, Evidences: sc.Evidences}
	seen := map[string]bool{}
	for _, st := range sc.Stages {
		for _, c := range st.Choices {
			if !seen[c.ID] {
				seen[c.ID] = true
				n.Choices = append(n.Choices, c.ID)
			}
		}
	}
	for _, e := range sc.Endings {
		n.Endings = append(n.Endings, e.ID)
	}
	if !sc.FreeHands {
		n.Said = said(sc)
	}
	return n
}

// said collects the words that a scenario's own actions say, and those of the safe stop.
func said(sc *script.Scenario) []string {
	words := []string{"stop", "refer"}
	collect := func(actions []script.Action) {
		for _, a := range actions {
			if a.Verb != "say" {
				continue
			}
			for _, arg := range a.Args {
				if arg.Term.Word != "" {
					words = append(words, arg.Term.Word)
				}
			}
		}
	}
	for _, m := range sc.Moves {
		collect(m.Actions)
	}
	for _, st := range sc.Stages {
		collect(st.Arrive)
		if st.Clock != nil {
			collect(st.Clock.Does)
		}
		for _, c := range st.Choices {
			collect(c.Does)
		}
	}
	return words
}
