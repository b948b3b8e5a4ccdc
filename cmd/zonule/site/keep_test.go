package site

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	"zonule/services/ledger"
)

func enrol(t *testing.T, s *Site, from, to int) {
	t.Helper()
	for i := from; i < to; i++ {
		id := fmt.Sprint("person-", i)
		_, err := s.Clients.Roster.EnrolPerson(t.Context(), &rosterv1.EnrolPersonRequest{RequestId: id, PersonId: id, DisplayName: "Invented " + id, Roles: []rosterv1.Role{rosterv1.Role_ROLE_TRAINEE}})
		if err != nil {
			t.Fatal(err)
		}
	}
}

// carriedAll waits until the stream's cursor stands at the end.
func carriedAll(t *testing.T, s *Site) {
	t.Helper()
	for deadline := time.Now().Add(20 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		at, _, err := s.Ledger.Cursor("zonule-p-one")
		if err == nil && at == s.Ledger.Head().Size {
			return
		}
		if time.Now().After(deadline) {
			t.Fatalf("carried %d of %d, %v", at, s.Ledger.Head().Size, err)
		}
	}
}

// A store that went back to an older state, as one does that loses the end of its log, is brought up from the stream when
// the site starts, and the site goes on.
func TestLostEndIsPutBackFromTheStream(t *testing.T) {
	dir, old := filepath.Join(t.TempDir(), "data"), filepath.Join(t.TempDir(), "old")
	c := Config{Data: dir, Programme: "p", Site: "one", Log: quiet()}
	begin := func() *Site {
		s, err := Open(t.Context(), c)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	s := begin()
	enrol(t, s, 0, 5)
	carriedAll(t, s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.CopyFS(old, os.DirFS(filepath.Join(dir, "ledger"))); err != nil {
		t.Fatal(err)
	}
	s = begin()
	enrol(t, s, 5, 12)
	carriedAll(t, s)
	head := s.Ledger.Head()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.RemoveAll(filepath.Join(dir, "ledger")); err != nil {
		t.Fatal(err)
	}
	if err := os.CopyFS(filepath.Join(dir, "ledger"), os.DirFS(old)); err != nil {
		t.Fatal(err)
	}
	s = begin()
	defer func() { _ = s.Close() }()
	if s.Ledger.Head() != head {
		t.Errorf("head %+v, want %+v", s.Ledger.Head(), head)
	}
	if r, err := s.Ledger.Check(t.Context()); err != nil || !r.Clean() {
		t.Errorf("%v\n%s", err, r)
	}
	if got, err := s.Clients.Roster.GetPerson(t.Context(), &rosterv1.GetPersonRequest{PersonId: "person-11"}); err != nil || got.GetPerson().GetPersonId() != "person-11" {
		t.Errorf("%v, %v", got, err)
	}
	enrol(t, s, 12, 14)
}

// A site makes snapshots when asked to, which import as they are.
func TestSnapshotsOfARunningSite(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	key, err := ledger.NewStoreKey(filepath.Join(t.TempDir(), "key"))
	if err != nil {
		t.Fatal(err)
	}
	s, err := Open(t.Context(), Config{Data: dir, Programme: "p", Site: "one", Log: quiet(), StoreKey: key, Snapshots: Snapshots{Every: time.Hour, Keep: 2}})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = s.Close() }()
	enrol(t, s, 0, 3)
	var made []string
	for deadline := time.Now().Add(20 * time.Second); len(made) == 0 && time.Now().Before(deadline); time.Sleep(20 * time.Millisecond) {
		made, _ = filepath.Glob(filepath.Join(dir, SnapshotFolder, "*.zonule-export"))
	}
	if len(made) != 1 {
		t.Fatalf("snapshots: %v", made)
	}
	folds, err := Views()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := ledger.Import(t.Context(), made[0], nil, ledger.Config{Dir: filepath.Join(t.TempDir(), "new"), Views: folds, Logger: quiet()}, nil); err != nil {
		t.Error(err)
	}
}
