package script

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
)

// validator checks values against the part of JSON Schema that Schema uses. An unknown keyword fails the test, so
// that nothing is passed over.
type validator struct {
	t    *testing.T
	root map[string]any
}

func (v validator) check(s map[string]any, x any, at string) error {
	for key, want := range s {
		if err := v.keyword(s, key, want, x); err != nil {
			return fmt.Errorf("%s: %w", at, err)
		}
	}
	if list, ok := x.([]any); ok && s["items"] != nil {
		for i, item := range list {
			if err := v.check(s["items"].(map[string]any), item, fmt.Sprintf("%s.%d", at, i)); err != nil {
				return err
			}
		}
	}
	group, ok := x.(map[string]any)
	if !ok {
		return nil
	}
	properties, _ := s["properties"].(map[string]any)
	for name, value := range group {
		sub, known := properties[name].(map[string]any)
		if !known {
			switch more := s["additionalProperties"].(type) {
			case bool:
				if !more {
					return fmt.Errorf("%s: %q may not stand here", at, name)
				}
			case map[string]any:
				sub, known = more, true
			}
		}
		if known {
			if err := v.check(sub, value, at+"."+name); err != nil {
				return err
			}
		}
	}
	return nil
}

func (v validator) keyword(s map[string]any, key string, want, x any) error {
	text, isText := x.(string)
	group, isGroup := x.(map[string]any)
	list, isList := x.([]any)
	switch key {
	case "$schema", "$defs", "title", "description", "properties", "additionalProperties", "items":
	case "$ref":
		return v.check(v.root["$defs"].(map[string]any)[strings.TrimPrefix(want.(string), "#/$defs/")].(map[string]any), x, key)
	case "const":
		if x != want {
			return fmt.Errorf("%v is not %v", x, want)
		}
	case "enum":
		if !slices.Contains(want.([]any), x) {
			return fmt.Errorf("%v is none of %v", x, want)
		}
	case "type":
		kinds, many := want.([]any)
		if !many {
			kinds = []any{want}
		}
		if !slices.ContainsFunc(kinds, func(k any) bool { return isA(k.(string), x) }) {
			return fmt.Errorf("%T is not %v", x, want)
		}
	case "pattern":
		if isText && !regexp.MustCompile(want.(string)).MatchString(text) {
			return fmt.Errorf("%q is not of the form %s", text, want)
		}
	case "minLength":
		if isText && len(text) < int(want.(float64)) {
			return fmt.Errorf("too short")
		}
	case "minItems":
		if isList && len(list) < int(want.(float64)) {
			return fmt.Errorf("too few")
		}
	case "uniqueItems":
		for i := range list {
			if slices.ContainsFunc(list[:i], func(y any) bool { return reflect.DeepEqual(list[i], y) }) {
				return fmt.Errorf("%v stands twice", list[i])
			}
		}
	case "minProperties":
		if isGroup && len(group) < int(want.(float64)) {
			return fmt.Errorf("too few")
		}
	case "minimum":
		if n, ok := x.(float64); ok && n < want.(float64) {
			return fmt.Errorf("%v is less than %v", x, want)
		}
	case "required":
		for _, name := range want.([]any) {
			if _, has := group[name.(string)]; isGroup && !has {
				return fmt.Errorf("%v is missing", name)
			}
		}
	case "propertyNames":
		for name := range group {
			if err := v.check(want.(map[string]any), name, name); err != nil {
				return err
			}
		}
	case "anyOf":
		var last error
		for _, form := range want.([]any) {
			if last = v.check(form.(map[string]any), x, key); last == nil {
				return nil
			}
		}
		return fmt.Errorf("%v has none of the forms that may stand here (%v)", x, last)
	default:
		v.t.Fatalf("the schema uses %s, which this test does not know", key)
	}
	return nil
}

func isA(kind string, x any) bool {
	switch y := x.(type) {
	case nil:
		return kind == "null"
	case string:
		return kind == "string"
	case bool:
		return kind == "boolean"
	case float64:
		return kind == "number" || kind == "integer" && y == float64(int(y))
	case []any:
		return kind == "array"
	case map[string]any:
		return kind == "object"
	}
	return false
}

// against reads a YAML file and checks it.
func against(t *testing.T, file string) error {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var x any
	if err := yaml.Unmarshal(data, &x); err != nil {
		return err
	}
	plain, err := json.Marshal(x)
	if err != nil {
		t.Fatal(err)
	}
	var value any
	var root map[string]any
	if err := json.Unmarshal(plain, &value); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(Schema(), &root); err != nil {
		t.Fatal(err)
	}
	return validator{t, root}.check(root, value, "scenario")
}

func TestSchemaTakesWhatParseTakes(t *testing.T) {
	files, err := filepath.Glob("../library/*/scenario.yaml")
	if err != nil || len(files) < 3 {
		t.Fatalf("%d scenarios in the library, %v", len(files), err)
	}
	for _, f := range append(files, "testdata/good.yaml") {
		if err := against(t, f); err != nil {
			t.Errorf("%s: %v", f, err)
		}
	}
}

// What is wrong with a text's form, rather than with its graph or its numbers, the schema refuses too.
func TestSchemaRefusesWrongForms(t *testing.T) {
	for _, name := range []string{"unknown-key", "unknown-verb", "unknown-argument", "unknown-stance", "unknown-word", "missing-sources", "missing-review", "duplicate-key"} {
		if err := against(t, "testdata/bad-"+name+".yaml"); err == nil {
			t.Errorf("bad-%s.yaml is taken", name)
		}
	}
}

// Every key of the text has its meaning in the schema, and no meaning is of a key that is gone.
func TestEveryKeyHasItsMeaning(t *testing.T) {
	seen := map[string]bool{}
	var walk func(ty reflect.Type, at string)
	walk = func(ty reflect.Type, at string) {
		switch ty.Kind() {
		case reflect.Pointer, reflect.Map, reflect.Slice:
			walk(ty.Elem(), at)
		case reflect.Struct:
			for f := range fields(ty) {
				path := strings.TrimPrefix(at+"."+f.Tag.Get("yaml"), ".")
				seen[path] = true
				if meanings[path] == "" {
					t.Errorf("%s has no meaning", path)
				}
				walk(f.Type, path)
			}
		}
	}
	walk(reflect.TypeFor[rawScenario](), "")
	for path := range meanings {
		if !seen[path] {
			t.Errorf("%s is no key", path)
		}
	}
	for at, keys := range required {
		for _, k := range keys {
			if !seen[strings.TrimPrefix(at+"."+k, ".")] {
				t.Errorf("%s.%s is required and no key", at, k)
			}
		}
	}
	if first, second := string(Schema()), string(Schema()); first != second {
		t.Error("two schemas differ")
	}
}
