// Package library holds the content: scenarios with their rubrics, policies and recorded replays, embedded as
// the text their authors wrote. All of it is invented for training; none has been reviewed by a clinician yet,
// and every file says so.
package library

import (
	"embed"
	"fmt"
	"io/fs"
	"path"

	"zonule/scenarios/play"
	"zonule/scenarios/script"
)

//go:embed */*.yaml */replays/*.yaml
var files embed.FS

// Item is one scenario of the library with what belongs to it.
type Item struct {
	ID       string
	Text     []byte // scenario.yaml as written; its digest names the version
	Scenario *script.Scenario
	Rubric   []byte // rubric.yaml as written, in the judge's language
	Policies []play.Policy
	Replays  []Replay
}

// All reads the whole library in the order of the folder names. It fails when anything in it does not parse,
// which a test forbids.
func All() ([]Item, error) {
	folders, err := fs.ReadDir(files, ".")
	if err != nil {
		return nil, err
	}
	var items []Item
	for _, f := range folders {
		if f.IsDir() {
			item, err := read(f.Name())
			if err != nil {
				return nil, err
			}
			items = append(items, item)
		}
	}
	return items, nil
}

// Find reads one scenario by id.
func Find(id string) (Item, error) {
	if _, err := fs.Stat(files, path.Join(id, "scenario.yaml")); err != nil {
		return Item{}, fmt.Errorf("the library has no scenario %q", id)
	}
	return read(id)
}

func read(folder string) (Item, error) {
	item := Item{ID: folder}
	var err error
	name := path.Join(folder, "scenario.yaml")
	if item.Text, err = files.ReadFile(name); err != nil {
		return item, err
	}
	if item.Scenario, err = script.Parse(name, item.Text); err != nil {
		return item, err
	}
	if item.Scenario.ID != folder {
		return item, fmt.Errorf("%s has the id %q; folder and id are to be the same", name, item.Scenario.ID)
	}
	if item.Rubric, err = files.ReadFile(path.Join(folder, "rubric.yaml")); err != nil {
		return item, err
	}
	name = path.Join(folder, "policies.yaml")
	data, err := files.ReadFile(name)
	if err != nil {
		return item, err
	}
	if item.Policies, err = play.ParsePolicies(name, data, item.Scenario); err != nil {
		return item, err
	}
	item.Replays, err = replays(folder)
	return item, err
}

// Policy finds one of the scenario's policies by name.
func (i Item) Policy(name string) (play.Policy, bool) {
	for _, p := range i.Policies {
		if p.Name == name {
			return p, true
		}
	}
	return play.Policy{}, false
}
