package script

import (
	"encoding/json"
	"fmt"
	"reflect"
	"strings"

	"zonule/scenarios/eye"
)

// object is a JSON object in the making; encoding/json writes its keys in order.
type object = map[string]any

// Schema gives the JSON Schema (draft 2020-12) of a scenario's text, for editors that complete and mark as one
// types. It is made from the same tables that Parse reads by: the text's own structs, the eye's verbs, the starting
// eye's fields. It says what may stand where; what Parse finds beyond that (graphs, conditions, ranges in every
// variant) a schema cannot say.
func Schema() []byte {
	s := schemaOf(reflect.TypeFor[rawScenario](), "")
	s["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	s["title"] = "Zonule scenario"
	s["$defs"] = object{"action": actionSchema(), "condition": object{"type": "string", "minLength": 1, "description": "a condition in CEL over eye.*, given.*, tries, did('choice') and the rest of the manual's names"}}
	out, err := json.MarshalIndent(s, "", " ")
	if err != nil {
		return nil // plain maps and strings always encode
	}
	return append(out, '\n')
}

// required are the keys that must stand in each group of keys, by the path of the group.
var required = map[string][]string{
	"":        {"zonule", "id", "shown_as", "complication", "teaches", "brief", "evidences", "reviewed_by", "review_due", "cautions", "sources", "orientation", "variants", "first", "stages", "endings"},
	"sources": {"claim", "mark"}, "orientation": {"eye", "sits"}, "stages": {"cue", "choices", "next"},
	"stages.also": {"when", "say"}, "stages.clock": {"limit", "then"}, "stages.choices": {"say", "stance", "because"},
	"stages.panel": {"votes"}, "stages.next": {"go"}, "anywhere": {"when", "go"}, "endings": {"says"},
}

// schemaOf makes the schema of a struct's keys; at is the path of the group.
func schemaOf(t reflect.Type, at string) object {
	properties := object{}
	for f := range fields(t) {
		key := f.Tag.Get("yaml")
		path := strings.TrimPrefix(at+"."+key, ".")
		p := valueSchema(f.Type, path)
		if m := meanings[path]; m != "" {
			p["description"] = m
		}
		properties[key] = p
	}
	s := object{"type": "object", "properties": properties, "additionalProperties": false}
	if r := required[at]; len(r) > 0 {
		s["required"] = r
	}
	return s
}

func fields(t reflect.Type) func(func(reflect.StructField) bool) {
	return func(yield func(reflect.StructField) bool) {
		for i := range t.NumField() {
			if !yield(t.Field(i)) {
				return
			}
		}
	}
}

// valueSchema makes the schema of one value by its type, and by its path where the type is open.
func valueSchema(t reflect.Type, path string) object {
	if s := openSchema(path); s != nil {
		return s
	}
	switch t.Kind() {
	case reflect.Pointer:
		return valueSchema(t.Elem(), path)
	case reflect.Struct:
		return schemaOf(t, path)
	case reflect.Map:
		return object{"type": "object", "minProperties": 1, "propertyNames": object{"pattern": nameForm(path)}, "additionalProperties": valueSchema(t.Elem(), path)}
	case reflect.Slice:
		item := valueSchema(t.Elem(), path)
		return object{"type": "array", "items": item}
	case reflect.Bool:
		return object{"type": "boolean"}
	case reflect.Int:
		return object{"type": "integer", "minimum": 0}
	}
	return object{"type": "string", "minLength": 1}
}

func nameForm(path string) string {
	if path == "variants.values" {
		return valueName.String()
	}
	return plainName.String()
}

// openSchema is the schema of what the text's structs leave open because its words stand in tables.
func openSchema(path string) object {
	action := object{"$ref": "#/$defs/action"}
	switch path {
	case "zonule":
		return object{"const": Language}
	case "evidences":
		return object{"type": "array", "minItems": 1, "uniqueItems": true, "items": object{"enum": Competencies()}}
	case "review_due":
		return object{"type": "string", "pattern": date.String()}
	case "sources.mark":
		return object{"enum": marks}
	case "orientation.eye":
		return object{"enum": []string{"left", "right"}}
	case "stages.choices.stance":
		return object{"enum": stances}
	case "stages.choices.asks":
		return object{"const": "reason"}
	case "stages.panel.votes":
		return object{"type": "object", "minProperties": 1, "additionalProperties": object{"type": "integer", "minimum": 0}}
	case "opening", "stages.arrive", "stages.clock.does", "stages.choices.does":
		return object{"type": "array", "items": action}
	case "moves":
		return object{"type": "object", "propertyNames": object{"pattern": plainName.String()}, "additionalProperties": object{"type": "array", "items": action}}
	case "eye":
		return eyeSchema()
	case "machine":
		v, _ := eye.LookupVerb("machine")
		return object{"type": "object", "properties": argSchemas(v, ""), "additionalProperties": false}
	case "stages.while_thinking":
		return object{"type": "object", "properties": object{"pedal": numberSchema("", "pedal position, 0 to 3")}, "required": []string{"pedal"}, "additionalProperties": false}
	case "variants.values":
		return object{"type": "object", "propertyNames": object{"pattern": valueName.String()}, "additionalProperties": circumstanceSchema()}
	case "stages.also.when", "stages.choices.when", "stages.next.when", "anywhere.when", "endings.when":
		return object{"$ref": "#/$defs/condition"}
	}
	return nil
}

// numberSchema takes a number, a quantity with its unit, or a circumstance with something added.
func numberSchema(unit, meaning string) object {
	if unit != "" {
		meaning += fmt.Sprintf(" (with its unit: %s; or a circumstance)", unit)
	}
	return object{"type": []string{"number", "string"}, "description": meaning}
}

func eyeSchema() object {
	p := object{
		"fragments": object{"type": "array", "description": "loose pieces of the nucleus", "items": object{"type": "object", "properties": object{"hour": numberSchema("", "clock hour"), "volume": numberSchema("uL", "volume")}, "required": []string{"hour", "volume"}, "additionalProperties": false}},
		"cortex":    object{"description": "sectors still holding cortex; left out: all twelve", "anyOf": []object{{"const": "none"}, {"type": "array", "minItems": 1, "items": numberSchema("", "clock hour of the sector")}}},
	}
	p[tornKey] = object{"type": []string{"boolean", "string"}, "description": "the edge of the capsulotomy has a tear: true, false, or a circumstance"}
	for _, f := range eyeFields {
		p[f.Name] = numberSchema(f.Unit, fmt.Sprintf("%s; %g to %g", f.Meaning, f.Min, f.Max))
	}
	return object{"type": "object", "properties": p, "additionalProperties": false}
}

func circumstanceSchema() object {
	one := object{"type": []string{"number", "string", "boolean"}}
	return object{"anyOf": []object{one,
		{"type": "object", "properties": object{"one_of": object{"type": "array", "minItems": 1, "items": one}}, "required": []string{"one_of"}, "additionalProperties": false},
		{"type": "object", "properties": object{"from": one, "to": one}, "required": []string{"from", "to"}, "additionalProperties": false},
	}}
}

// argSchemas gives the arguments of a verb, but for one.
func argSchemas(v eye.Verb, but string) object {
	p := object{}
	for _, a := range v.Args {
		if a.Name != but {
			p[a.Name] = argSchema(a)
		}
	}
	return p
}

func argSchema(a eye.Arg) object {
	switch {
	case len(a.Words) > 0:
		return object{"enum": a.Words, "description": a.Meaning}
	case a.FreeWord:
		return object{"type": "string", "pattern": plainName.String(), "description": a.Meaning}
	}
	return numberSchema(a.Unit, fmt.Sprintf("%s; %g to %g", a.Meaning, a.Min, a.Max))
}

// actionSchema takes a bare verb, {verb: main, other: ...}, {verb: {argument: ...}} and {move: name}.
func actionSchema() object {
	condition := object{"$ref": "#/$defs/condition"}
	var bare []string
	forms := []object{nil, {"type": "object", "properties": object{"move": object{"type": "string"}, "when": condition}, "required": []string{"move"}, "additionalProperties": false}}
	for _, v := range eye.Verbs() {
		main, hasMain := mainArgument(v)
		needs := false
		for _, a := range v.Args {
			needs = needs || a.Required
		}
		if !needs {
			bare = append(bare, v.Name)
		}
		value := []object{{"type": "null"}}
		if hasMain {
			value = append(value, argSchema(main))
		}
		beside := argSchemas(v, "")
		value = append(value, object{"type": "object", "properties": argSchemas(v, ""), "additionalProperties": false})
		beside[v.Name] = object{"anyOf": value, "description": v.Meaning}
		beside["when"] = condition
		forms = append(forms, object{"type": "object", "properties": beside, "required": []string{v.Name}, "additionalProperties": false})
	}
	forms[0] = object{"enum": bare}
	return object{"anyOf": forms, "description": "an action of the eye's palette: a verb with its arguments, a bare verb, or a move"}
}
