package site

import (
	"context"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	rosterv1 "zonule/proto/gen/zonule/roster/v1"
)

func quiet() *slog.Logger { return slog.New(slog.DiscardHandler) }

func TestAFolderRemembersWhoseItIs(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	refuse := func(what string, c Config, says string) {
		t.Helper()
		c.Data, c.Log = dir, quiet()
		if s, err := Open(t.Context(), c); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v, want it to say %q", what, err, says)
			if s != nil {
				_ = s.Close()
			}
		}
	}
	refuse("a new folder without names", Config{}, "--programme and --site")
	s, err := Open(t.Context(), Config{Data: dir, Programme: "p", Site: "one", Log: quiet()})
	if err != nil {
		t.Fatal(err)
	}
	refuse("a folder in use", Config{}, "in use")
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	refuse("another site", Config{Site: "two"}, `belongs to site "one"`)
	refuse("another programme", Config{Programme: "q"}, `of programme "p"`)
	if s, err = Open(t.Context(), Config{Data: dir, Log: quiet()}); err != nil {
		t.Fatalf("opened again without names: %v", err)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	if err := os.WriteFile(filepath.Join(dir, identityFile), []byte("{}"), 0o600); err != nil {
		t.Fatal(err)
	}
	refuse("a damaged identity", Config{Programme: "p", Site: "one"}, "restore it from a backup")
}

func TestAFolderThatIsNotASitesIsLeftAlone(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "letter.txt"), []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), Config{Data: dir, Programme: "p", Site: "s", Log: quiet()}); err == nil || !strings.Contains(err.Error(), "choose an empty folder") {
		t.Errorf("%v", err)
	}
}

func TestOnlyLoopbackIsListenedOn(t *testing.T) {
	for addr, says := range map[string]string{
		"0.0.0.0:0":     "loopback only",
		":0":            "loopback only",
		"192.168.1.2:0": "loopback only",
		"example.org:1": "loopback only",
		"nonsense":      "is no address",
	} {
		if _, err := listen(addr, "gRPC"); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v, want it to say %q", addr, err, says)
		}
	}
	for _, addr := range []string{"127.0.0.1:0", "localhost:0"} {
		l, err := listen(addr, "gRPC")
		if err != nil {
			t.Errorf("%s: %v", addr, err)
			continue
		}
		if _, err := listen(l.Addr().String(), "gRPC"); err == nil || !strings.Contains(err.Error(), "another site") {
			t.Errorf("a port in use: %v", err)
		}
		_ = l.Close()
	}
}

func TestPagesAnswerUnderThisMachinesNamesOnly(t *testing.T) {
	pages := namedHere(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusOK) }))
	for host, want := range map[string]int{"127.0.0.1:7480": 200, "localhost:7480": 200, "localhost": 200, "[::1]:7480": 200, "[::1]": 200, "evil.example:7480": 421, "127.0.0.1.evil.example": 421, "": 421} {
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		r.Host = host
		w := httptest.NewRecorder()
		pages.ServeHTTP(w, r)
		if w.Code != want {
			t.Errorf("host %q: %d, want %d", host, w.Code, want)
		}
	}
}

// Names are sealed apart from the ledger: no file of the data folder holds one in plain text.
func TestNamesAreNotInTheFiles(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	const name = "Quillon Featherstonehaugh-Zed"
	s, err := Open(t.Context(), Config{Data: dir, Programme: "p", Site: "one", Log: quiet()})
	if err != nil {
		t.Fatal(err)
	}
	_, err = s.Clients.Roster.EnrolPerson(t.Context(), &rosterv1.EnrolPersonRequest{RequestId: "r", PersonId: "quill", DisplayName: name, Roles: []rosterv1.Role{rosterv1.Role_ROLE_TRAINEE}})
	if err != nil {
		t.Fatal(err)
	}
	got, err := s.Clients.Roster.GetPerson(context.Background(), &rosterv1.GetPersonRequest{PersonId: "quill"})
	if err != nil || got.GetPerson().GetDisplayName() != name {
		t.Errorf("%v, %v", got, err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	files := 0
	err = filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		files++
		data, err := os.ReadFile(path)
		if strings.Contains(string(data), "Featherstonehaugh") {
			t.Errorf("%s holds the name in plain text", path)
		}
		return err
	})
	if err != nil || files < 3 {
		t.Errorf("%d files looked at, %v", files, err)
	}
}
