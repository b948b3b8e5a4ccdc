package main

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	rosterv1 "zonule/proto/gen/zonule/roster/v1"
)

// personCmd groups what can be done with people.
type personCmd struct {
	Add   personAddCmd   `cmd:"" help:"Enrol a person."`
	List  personListCmd  `cmd:"" help:"List the people."`
	Erase personEraseCmd `cmd:"" help:"Erase what is kept about a person, and show what was erased and that every proof still holds."`
}

var roleNames = []string{"trainee", "facilitator", "supervisor", "director", "auditor"}

type personAddCmd struct {
	remote
	ID   string   `arg:"" help:"Id to give: lower-case letters, digits and hyphens, no personal data in it."`
	Name string   `arg:"" help:"Name as the person wants it shown; kept apart from the ledger, under a key of the person's own."`
	Role []string `help:"What the person does: trainee, facilitator, supervisor, director or auditor." enum:"trainee,facilitator,supervisor,director,auditor" default:"trainee"`
}

// Run enrols the person.
func (c *personAddCmd) Run(ctx context.Context, sh *shell) error {
	clients, closeConn, err := c.connect(ctx)
	if err != nil {
		return err
	}
	defer closeConn()
	r := &rosterv1.EnrolPersonRequest{RequestId: newRequestID(), PersonId: c.ID, DisplayName: c.Name}
	for _, role := range c.Role {
		r.Roles = append(r.Roles, rosterv1.Role(slices.Index(roleNames, role)+1))
	}
	answer, err := clients.Roster.EnrolPerson(ctx, r)
	if err != nil {
		return err
	}
	fmt.Fprintf(sh.out, "%s is enrolled as %s.\n", answer.GetPerson().GetPersonId(), strings.Join(c.Role, ", "))
	return nil
}

type personListCmd struct {
	remote
}

// Run lists everyone, page by page, in order of their ids.
func (c *personListCmd) Run(ctx context.Context, sh *shell) error {
	clients, closeConn, err := c.connect(ctx)
	if err != nil {
		return err
	}
	defer closeConn()
	for token := ""; ; {
		page, err := clients.Roster.ListPersons(ctx, &rosterv1.ListPersonsRequest{PageToken: token})
		if err != nil {
			return err
		}
		for _, p := range page.GetPersons() {
			fmt.Fprintf(sh.out, "%-20s %-34s %s\n", p.GetPersonId(), p.GetDisplayName(), rolesInWords(p.GetRoles()))
		}
		if token = page.GetNextPageToken(); token == "" {
			return nil
		}
	}
}

func rolesInWords(roles []rosterv1.Role) string {
	var words []string
	for _, r := range roles {
		if r > 0 && int(r) <= len(roleNames) {
			words = append(words, roleNames[r-1])
		}
	}
	return strings.Join(words, ", ")
}

func newRequestID() string {
	var b [12]byte
	_, _ = rand.Read(b[:]) // never fails: it would have crashed the program
	return "c-" + hex.EncodeToString(b[:])
}
