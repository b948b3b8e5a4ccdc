package scenario

import (
	"slices"

	"zonule/assessor/rubric"
	"zonule/scenarios/script"
)

// checkRubric parses a rubric against the names of the scenario it judges.
func checkRubric(sc *script.Scenario, data []byte) error {
	_, err := rubric.Parse("rubric.yaml", data, namesOf(sc))
	return err
}

// namesOf gives what a rubric may speak of beside what every eye knows.
func namesOf(sc *script.Scenario) rubric.Names {
	n := rubric.Names{Scenario: sc.ID, Evidences: sc.Evidences}
	for _, e := range sc.Endings {
		n.Endings = append(n.Endings, e.ID)
	}
	if !slices.Contains(n.Endings, script.SafeEnding) {
		n.Endings = append(n.Endings, script.SafeEnding)
	}
	for _, st := range sc.Stages {
		for _, c := range st.Choices {
			n.Choices = append(n.Choices, c.ID)
		}
	}
	if !sc.FreeHands { // with free hands a trainee may say any word
		n.Said = said(sc)
	}
	return n
}

// said lists the words that the scenario's actions and the safe stop say.
func said(sc *script.Scenario) []string {
	words := []string{"stop", "refer"}
	add := func(actions []script.Action) {
		for _, a := range actions {
			for _, arg := range a.Args {
				if a.Verb == "say" && arg.Term.Word != "" {
					words = append(words, arg.Term.Word)
				}
			}
		}
	}
	add(sc.Opening)
	for _, m := range sc.Moves {
		add(m.Actions)
	}
	for _, st := range sc.Stages {
		add(st.Arrive)
		if st.Clock != nil {
			add(st.Clock.Does)
		}
		for _, c := range st.Choices {
			add(c.Does)
		}
	}
	slices.Sort(words)
	return slices.Compact(words)
}
