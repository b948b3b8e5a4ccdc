package main

import "zonule/scenarios/script"

type scenarioSchemaCmd struct{}

// Help says how an editor uses it.
func (scenarioSchemaCmd) Help() string {
	return "Writes the JSON Schema of scenarios. Editors that know YAML schemas then complete keys, verbs and words, show what they mean, and mark what may not stand there."
}

// Run writes the schema.
func (c *scenarioSchemaCmd) Run(sh *shell) error {
	_, err := sh.out.Write(script.Schema())
	return err
}
