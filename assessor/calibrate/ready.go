package calibrate

import (
	"fmt"
	"strings"
)

// ready checks that the informative persons say something about each column: enough persons, no
// column with one response only, (when every) no empty category, and no islands.
func (t *table) ready(every bool) error {
	counts, persons := t.counts()
	if err := atLeast(fewestPersons, persons, "persons", "items are compared by persons whose total is neither the lowest nor the highest possible"); err != nil {
		return err
	}
	for c, of := range counts {
		answered, kinds := 0, 0
		for _, n := range of {
			answered += n
			if n > 0 {
				kinds++
			}
		}
		switch {
		case answered == 0:
			return fmt.Errorf("%s was answered by no person whose total is neither lowest nor highest: leave it out, or wait for more persons", t.name(c))
		case of[len(of)-1] == answered:
			return fmt.Errorf("%s: every person who counts has its highest score, so its difficulty has no lower bound; leave it out, or wait for more persons", t.name(c))
		case of[0] == answered:
			return fmt.Errorf("%s: every person who counts has score 0, so its difficulty has no upper bound; leave it out, or wait for more persons", t.name(c))
		}
		if every && kinds < len(of) {
			for h, n := range of {
				if n == 0 {
					return fmt.Errorf("%s: no person who counts has score %d, so its thresholds have no bound; merge that category with its neighbour", t.name(c), h)
				}
			}
		}
	}
	if groups := t.islands(len(t.top), func(c int) int { return c }); len(groups) > 1 {
		return fmt.Errorf("the items fall into %d groups that share no person, so their difficulties cannot be compared: the group of %s never meets the group of %s", len(groups), t.name(groups[0][0]), t.name(groups[1][0]))
	}
	return nil
}

// categories checks that each category 0..top was used by an informative person on some column.
func (t *table) categories(top int) error {
	counts, _ := t.counts()
	for h := range top + 1 {
		used := 0
		for _, of := range counts {
			used += of[h]
		}
		if used == 0 {
			return fmt.Errorf("no person who counts was given score %d on anything, so the thresholds have no bound; merge that category with its neighbour", h)
		}
	}
	return nil
}

func (t *table) list(columns []int) string {
	var names []string
	for k, c := range columns {
		if k == 5 {
			names = append(names, "and others")
			break
		}
		names = append(names, t.name(c))
	}
	return strings.Join(names, ", ")
}
