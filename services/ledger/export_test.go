package ledger

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"zonule/services/clock"
	"zonule/services/fault"
)

// peopled makes a ledger with entries, two persons with data, and one who was erased.
func peopled(t testing.TB) (Config, *Ledger) {
	c := config(t.TempDir())
	l := open(t, c)
	for i := range 20 {
		mustAppend(t, l, does(fmt.Sprint("q-", i), adds(fmt.Sprint("s-", i%3), int64(i)), named(fmt.Sprint("s-", i%3), fmt.Sprint("n-", i))))
	}
	for _, person := range []string{"ada", "ben", "cleo"} {
		sealed, commitment, err := l.Seal(person, []byte("Name of "+person))
		if err != nil {
			t.Fatal(err)
		}
		c := does("seal-"+person, named(person, fmt.Sprintf("%x", commitment)))
		c.Private = []Sealed{sealed}
		mustAppend(t, l, c)
	}
	if err := l.Erase("cleo"); err != nil {
		t.Fatal(err)
	}
	return c, l
}

func exported(t testing.TB, l *Ledger) []byte {
	t.Helper()
	var b bytes.Buffer
	if _, err := l.Export(context.Background(), &b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// written puts an export into a file.
func written(t testing.TB, export []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "a.zonule-export")
	if err := os.WriteFile(path, export, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestExportAndImport(t *testing.T) {
	_, l := peopled(t)
	if _, err := l.Checkpoint(context.Background()); err != nil {
		t.Fatal(err)
	}
	mustAppend(t, l, does("after the checkpoint", adds("s-0", 1)))
	export := exported(t, l)
	keys, err := l.ExportKeys()
	if err != nil {
		t.Fatal(err)
	}
	whole, err := l.Stored(context.Background(), 1, 1000)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"Name of ada", "Name of cleo"} {
		if bytes.Contains(export, []byte(name)) {
			t.Errorf("the export holds %q in plain", name)
		}
	}
	for _, c := range []struct {
		name string
		keys []byte
		key  StoreKey
	}{{"with keys", keys, nil}, {"without keys", nil, nil}, {"with keys, encrypted", keys, newKey()}} {
		t.Run(c.name, func(t *testing.T) {
			cfg := config(filepath.Join(t.TempDir(), "new", "home"))
			cfg.StoreKey = c.key
			finished := ""
			s, err := Import(context.Background(), written(t, export), c.keys, cfg, func(dir string) error { finished = dir; return nil })
			if err != nil {
				t.Fatal(err)
			}
			if s.Head != l.Head() || s.Persons != 2 || s.Erased != 1 || s.Bytes != int64(len(export)) || s.Signed != l.Head().Size-1 || s.VerifierKey != l.VerifierKey() || finished == "" {
				t.Errorf("summary %+v, finished %q", s, finished)
			}
			if _, err := os.Stat(finished); err == nil {
				t.Error("the folder it worked in is still there")
			}
			again := open(t, cfg)
			run, err := again.Stored(context.Background(), 1, 1000)
			if err != nil || len(run) != len(whole) {
				t.Fatalf("%d entries of %d, %v", len(run), len(whole), err)
			}
			for i := range run {
				if !bytes.Equal(run[i].Bytes, whole[i].Bytes) {
					t.Errorf("entry %d differs", i+1)
				}
			}
			if got, want := sumOf(t, again, "s-1"), sumOf(t, l, "s-1"); got != want {
				t.Errorf("sum %d, want %d", got, want)
			}
			if got := again.VerifierKey() == l.VerifierKey(); got != (c.keys != nil) {
				t.Errorf("the site signs with its old key: %v", got)
			}
			if kept, err := again.LastCheckpoint("lab-1"); err != nil || c.keys != nil && kept == nil {
				t.Errorf("the site forgot what it signed: %v", err)
			}
			_, err = again.Unseal("cleo")
			mustRefuse(t, err, "PERSON_ERASED")
			plain, err := again.Unseal("ada")
			if c.keys == nil {
				mustRefuse(t, err, "KEY_MISSING")
				mustBeBad(t, again, verdictPersonal)
			} else {
				if err != nil || string(plain) != "Name of ada" {
					t.Errorf("%q, %v", plain, err)
				}
				mustBeClean(t, again)
			}
			mustAppend(t, again, does("after", adds("s-1", 1)))
			if r := mustAppend(t, again, does("q-3", adds("s-0", 3), named("s-0", "n-3"))); !r.Repeated {
				t.Error("a request from before the export was recorded again")
			}
		})
	}
}

// A key file from before someone was erased must not bring the key back.
func TestImportDoesNotBringBackTheErased(t *testing.T) {
	_, l := peopled(t)
	old, err := l.ExportKeys()
	if err != nil {
		t.Fatal(err)
	}
	if err := l.Erase("ada"); err != nil {
		t.Fatal(err)
	}
	cfg := config(filepath.Join(t.TempDir(), "home"))
	if _, err := Import(context.Background(), written(t, exported(t, l)), old, cfg, nil); err != nil {
		t.Fatal(err)
	}
	again := open(t, cfg)
	_, err = again.Unseal("ada")
	mustRefuse(t, err, "PERSON_ERASED")
	if plain, err := again.Unseal("ben"); err != nil || string(plain) != "Name of ben" {
		t.Errorf("%q, %v", plain, err)
	}
}

func TestImportRefuses(t *testing.T) {
	_, l := peopled(t)
	if _, err := l.Checkpoint(context.Background()); err != nil {
		t.Fatal(err)
	}
	path := written(t, exported(t, l))
	keys, err := l.ExportKeys()
	if err != nil {
		t.Fatal(err)
	}
	otherKeys, err := open(t, config(t.TempDir())).ExportKeys()
	if err != nil {
		t.Fatal(err)
	}
	full := t.TempDir()
	if err := os.WriteFile(filepath.Join(full, "letter"), []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	other := config(filepath.Join(t.TempDir(), "home"))
	other.Site = "lab-2"
	here := config(filepath.Join(t.TempDir(), "home"))
	cases := map[string]struct {
		path   string
		keys   []byte
		c      Config
		reason string
	}{
		"onto something":        {path, nil, config(full), "FOLDER_NOT_EMPTY"},
		"onto a ledger":         {path, nil, config(l.dir), "FOLDER_NOT_EMPTY"},
		"another site":          {path, nil, other, "OTHER_SITE"},
		"no file":               {path + "x", nil, here, "NO_EXPORT"},
		"not an export":         {written(t, []byte("something else altogether")), nil, here, "NOT_AN_EXPORT"},
		"damaged keys":          {path, []byte("{"), here, "NOT_THESE_KEYS"},
		"keys of another site":  {path, bytes.ReplaceAll(keys, []byte("lab-1"), []byte("lab-2")), here, "NOT_THESE_KEYS"},
		"another signing key":   {path, otherKeys, here, "NOT_THESE_KEYS"},
		"keys that are missing": {path, bytes.ReplaceAll(keys, []byte(`"ada"`), []byte(`"nobody"`)), here, "IMPORT_NOT_CLEAN"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			_, err := Import(context.Background(), c.path, c.keys, c.c, nil)
			mustRefuse(t, err, c.reason)
			if _, err := os.Stat(c.c.Dir + importingSuffix); err == nil {
				t.Error("something was left behind")
			}
			if b, _ := os.ReadFile(filepath.Join(full, "letter")); string(b) != "x" {
				t.Error("something was written over")
			}
		})
	}
	t.Run("finishing fails", func(t *testing.T) {
		if _, err := Import(context.Background(), path, nil, here, func(string) error { return fmt.Errorf("no") }); err == nil {
			t.Error("accepted")
		}
		if _, err := os.Stat(here.Dir); err == nil {
			t.Error("something was left behind")
		}
	})
}

// Every byte of an export flipped, and every place it can be cut at: none of it verifies.
func TestDamagedExportIsRefused(t *testing.T) {
	c := config(t.TempDir())
	l := open(t, c)
	for i := range 3 {
		sealed, commitment, err := l.Seal(fmt.Sprint("p-", i), []byte("x"))
		if err != nil {
			t.Fatal(err)
		}
		c := does(fmt.Sprint("q-", i), named("a", string(fmt.Sprintf("%x", commitment))))
		c.Private = []Sealed{sealed}
		mustAppend(t, l, c)
	}
	export := exported(t, l)
	if _, err := VerifyExport(context.Background(), bytes.NewReader(export)); err != nil {
		t.Fatal(err)
	}
	refused := func(what string, b []byte) {
		t.Helper()
		if s, err := VerifyExport(context.Background(), bytes.NewReader(b)); err == nil {
			t.Errorf("%s: accepted as %+v", what, s)
		} else if r := fault.Reason(err); r != "EXPORT_DAMAGED" && r != "NOT_AN_EXPORT" {
			t.Errorf("%s: %v", what, err)
		}
	}
	for i := range export {
		b := bytes.Clone(export)
		b[i] ^= 1 << (i % 8)
		refused(fmt.Sprint("bit flipped in byte ", i), b)
		refused(fmt.Sprint("cut at ", i), export[:i])
	}
	refused("something behind it", append(bytes.Clone(export), 'x'))
	refused("twice", append(bytes.Clone(export), export...))
}

// Frames that are whole but lie: left out, changed places, of another history.
func TestLyingExportIsRefused(t *testing.T) {
	_, l := peopled(t)
	export := exported(t, l)
	type frame struct {
		kind byte
		body []byte
	}
	var frames []frame
	r, err := newFrameReader(bytes.NewReader(export))
	if err != nil {
		t.Fatal(err)
	}
	for kind, body, err := r.next(); err == nil; kind, body, err = r.next() {
		frames = append(frames, frame{kind, body})
	}
	again := func(change func([]frame) []frame) []byte {
		var b bytes.Buffer
		w, err := newFrameWriter(&b)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range change(append([]frame(nil), frames...)) {
			body := f.body
			if f.kind == frameEnd { // a forger closes what they wrote
				sum := w.digest()
				i := bytes.Index(body, []byte(`"sha256":"`)) + len(`"sha256":"`)
				body = append(append(bytes.Clone(body[:i]), fmt.Sprintf("%x", sum)...), body[i+64:]...)
			}
			if err := w.frame(f.kind, body); err != nil {
				t.Fatal(err)
			}
		}
		w.to.Flush()
		return b.Bytes()
	}
	if _, err := VerifyExport(context.Background(), bytes.NewReader(again(func(f []frame) []frame { return f }))); err != nil {
		t.Fatal(err)
	}
	cases := map[string]func([]frame) []frame{
		"an entry left out":        func(f []frame) []frame { return append(f[:5], f[6:]...) },
		"the last entry left out":  func(f []frame) []frame { return append(f[:43], f[44:]...) },
		"two entries the other":    func(f []frame) []frame { f[5], f[6] = f[6], f[5]; return f },
		"an entry twice":           func(f []frame) []frame { return append(f[:6], f[5:]...) },
		"a person left out":        func(f []frame) []frame { return append(f[:45], f[46:]...) },
		"no header":                func(f []frame) []frame { return f[1:] },
		"an unknown kind":          func(f []frame) []frame { f[5].kind = 'q'; return f },
		"a person among entries":   func(f []frame) []frame { f[5], f[45] = f[45], f[5]; return f },
		"a head of something else": func(f []frame) []frame { f[44].body = encodeHead(Head{Size: 43}); return f },
	}
	for name, change := range cases {
		if _, err := VerifyExport(context.Background(), bytes.NewReader(again(change))); fault.Reason(err) != "EXPORT_DAMAGED" {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestSnapshots(t *testing.T) {
	c := config(t.TempDir())
	at := clock.NewSet(noon)
	c.Clock = at
	l := open(t, c)
	s := Snapshots{Ledger: l, Dir: filepath.Join(c.Dir, "snapshots"), Every: time.Hour, Keep: 2}
	var paths []string
	for i := range 4 {
		mustAppend(t, l, does(fmt.Sprint("q-", i), adds("a", 1)))
		path, sum, err := s.Make(context.Background())
		if err != nil || sum.Head != l.Head() {
			t.Fatal(path, sum, err)
		}
		paths = append(paths, path)
		at.Add(time.Hour)
	}
	names, err := s.list()
	if err != nil || len(names) != 2 || filepath.Join(s.Dir, names[1]) != paths[3] || filepath.Join(s.Dir, names[0]) != paths[2] {
		t.Errorf("kept %v, %v", names, err)
	}
	_, err = l.ExportFile(context.Background(), paths[3])
	mustRefuse(t, err, "EXPORT_EXISTS")
	if _, err := Import(context.Background(), paths[2], nil, config(filepath.Join(t.TempDir(), "home")), nil); err != nil {
		t.Error(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ran := make(chan struct{})
	go func() { s.Run(ctx); close(ran) }() // the newest is younger than an hour by the machine's clock: nothing to do
	cancel()
	<-ran
	if held, _ := os.ReadDir(s.Dir); len(held) != 2 || strings.HasSuffix(held[0].Name(), snapshotPart) {
		t.Errorf("the folder holds %v", held)
	}
}

func TestRebuild(t *testing.T) {
	_, l := peopled(t)
	spoil(t, l, sumsSpace(l), "s-1", flip)
	was := l.current.views[1].generation
	built, err := l.Rebuild(context.Background(), "sums")
	if err != nil || len(built) != 1 || l.current.views[1].generation != was+1 || l.current.views[2].generation != 1 {
		t.Errorf("built %v, %v, %+v", built, err, l.current.views)
	}
	mustBeClean(t, l)
	if built, err = l.Rebuild(context.Background()); err != nil || len(built) != 3 {
		t.Errorf("built %v, %v", built, err)
	}
	mustBeClean(t, l)
	_, err = l.Rebuild(context.Background(), "sum")
	mustRefuse(t, err, "NO_SUCH_VIEW")
}
