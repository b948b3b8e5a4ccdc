// Package credit scores a choice where guidance diverges: by how a panel of experts chose.
//
// The credit of a choice is the votes it got over the votes of the choice that got most, so the
// panel's favourite earns 1, a choice nobody made earns 0, and a divided panel divides the credit.
// Formula as in Table 2 of BMC Surgery 2016, doi 10.1186/s12893-016-0173-y.
package credit

import (
	"fmt"
	"strings"
)

// Choice is one of the choices the panel could make, and how many of its members made it.
type Choice struct {
	ID    string
	Votes int
}

// Panel is how a panel voted on one item: its choices in the order they were offered. Each member
// has one vote.
type Panel []Choice

// Check says what is wrong with a panel: no choices, a choice without an id or listed twice,
// votes below 0, or no votes at all.
func (p Panel) Check() error {
	if len(p) == 0 {
		return fmt.Errorf("a panel needs at least one choice")
	}
	seen, total := map[string]bool{}, 0
	for _, c := range p {
		switch {
		case c.ID == "":
			return fmt.Errorf("a choice of the panel has no id: name the choice it voted on")
		case seen[c.ID]:
			return fmt.Errorf("the panel lists %q twice: add its votes up", c.ID)
		case c.Votes < 0:
			return fmt.Errorf("the panel has %d votes for %q: votes cannot be below 0", c.Votes, c.ID)
		}
		seen[c.ID] = true
		total += c.Votes
	}
	if total == 0 {
		return fmt.Errorf("the panel cast no votes, so nothing can be scored by it")
	}
	return nil
}

// Credits gives the credit of each choice, 0..1, in the panel's order. The error is that of
// [Panel.Check].
func (p Panel) Credits() ([]float64, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	most := 0
	for _, c := range p {
		most = max(most, c.Votes)
	}
	out := make([]float64, len(p))
	for i, c := range p {
		out[i] = float64(c.Votes) / float64(most)
	}
	return out, nil
}

// Credit gives the credit of one choice. A choice the panel was not offered is an error, not 0:
// nothing is known about it.
func (p Panel) Credit(id string) (float64, error) {
	credits, err := p.Credits()
	if err != nil {
		return 0, err
	}
	for i, c := range p {
		if c.ID == id {
			return credits[i], nil
		}
	}
	return 0, fmt.Errorf("the panel was not offered %q: it voted on %s", id, strings.Join(p.ids(), ", "))
}

// Without is the panel with one vote for the choice taken away: what a member's own answer is
// scored against, so that nobody is scored by themselves.
func (p Panel) Without(id string) (Panel, error) {
	out := append(Panel(nil), p...)
	for i, c := range out {
		if c.ID == id && c.Votes > 0 {
			out[i].Votes--
			return out, nil
		}
	}
	return nil, fmt.Errorf("no member of the panel voted for %q, so no such vote can be taken away", id)
}

func (p Panel) ids() []string {
	out := make([]string, len(p))
	for i, c := range p {
		out[i] = c.ID
	}
	return out
}
