package scenario

import (
	"zonule/assessor/rubric"
	"zonule/scenarios/script"
)

// CheckScenario reads a scenario as publishing does. file is what problems are reported under.
func CheckScenario(file string, source []byte) (*script.Scenario, error) {
	return script.Parse(file, source)
}

// CheckRubric reads a rubric as publishing does, against the names of the scenario it judges.
func CheckRubric(file string, source []byte, sc *script.Scenario) (*rubric.Rubric, error) {
	return rubric.Parse(file, source, rubric.NamesOf(sc))
}
