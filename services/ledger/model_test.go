package ledger

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"google.golang.org/protobuf/types/known/wrapperspb"

	"zonule/services/fault"
)

// model is a ledger of the tests' events in plain maps.
type model struct {
	log      []Event
	requests map[string]string // id -> what it was for
	first    map[string]uint64 // id -> last entry
	sealed   map[string]string
	erased   map[string]bool
	version  uint32 // of sums
}

func (m *model) sum(subject string) (total int64, there bool) {
	for _, e := range m.log {
		switch p := e.Payload.(type) {
		case *wrapperspb.Int64Value:
			if e.Subject == subject {
				total, there = total+p.GetValue()*int64(m.version), true
			}
		case *wrapperspb.BoolValue:
			if e.Subject == subject {
				total, there = 0, false
			}
		}
	}
	return total, there
}

func (m *model) name(subject string) (name string, there bool) {
	for _, e := range m.log {
		if e.Subject != subject {
			continue
		}
		switch p := e.Payload.(type) {
		case *wrapperspb.StringValue:
			name, there = p.GetValue(), true
		case *wrapperspb.BoolValue:
			name, there = "", false
		}
	}
	return name, there
}

// TestAgainstAModel plays random commands, reopenings, version changes and erasures against the model, and has the
// checker look after each step.
func TestAgainstAModel(t *testing.T) {
	for seed := range uint64(4) {
		t.Run(fmt.Sprint("seed ", seed), func(t *testing.T) {
			c := config(t.TempDir())
			g := &game{t: t, random: rand.New(rand.NewPCG(seed, 1)), c: c, l: open(t, c), m: model{
				requests: map[string]string{}, first: map[string]uint64{}, sealed: map[string]string{}, erased: map[string]bool{}, version: 1}}
			for range 60 {
				g.step()
				mustBeClean(t, g.l)
				g.compare()
			}
		})
	}
}

// game is a ledger and its model.
type game struct {
	t      *testing.T
	random *rand.Rand
	c      Config
	l      *Ledger
	m      model
	asked  int
}

func (g *game) step() {
	switch n := g.random.IntN(20); {
	case n < 10:
		g.append(g.id(), g.events())
	case n < 12:
		g.append(g.used(), g.events())
	case n < 14: // doomed by its last event
		_, err := g.l.Append(context.Background(), does(g.id(), append(g.events(), Event{"x", wrapperspb.Double(1)})...))
		mustRefuse(g.t, err, "FOLD_FAILED")
	case n < 16:
		g.reopen()
	case n < 17:
		g.m.version++
		g.c.Views = []View{sums{g.m.version}, names{}}
		g.reopen()
	case n < 19:
		g.seal()
	default:
		person := g.person()
		if err := g.l.Erase(person); err != nil {
			g.t.Fatal(err)
		}
		g.m.erased[person] = true
	}
}

func (g *game) id() string { g.asked++; return fmt.Sprint("q-", g.asked) }

// used gives an id that was asked before; its command may have been refused.
func (g *game) used() string {
	if g.asked == 0 {
		return g.id()
	}
	return fmt.Sprint("q-", 1+g.random.IntN(g.asked))
}

func (g *game) person() string { return fmt.Sprint("p-", g.random.IntN(3)) }

func (g *game) events() []Event {
	var events []Event
	for range 1 + g.random.IntN(4) {
		subject := fmt.Sprint("s-", g.random.IntN(5))
		switch g.random.IntN(4) {
		case 0:
			events = append(events, named(subject, fmt.Sprint("n-", g.random.IntN(3))))
		case 1:
			events = append(events, forgets(subject))
		default:
			events = append(events, adds(subject, int64(g.random.IntN(9))))
		}
	}
	return events
}

// append gives the command to both and compares what they say of it.
func (g *game) append(id string, events []Event) {
	command := does(id, events...)
	what := fmt.Sprint(events)
	command.Fingerprint = []byte(what)
	r, err := g.l.Append(context.Background(), command)
	was, repeated := g.m.requests[id]
	switch {
	case repeated && was == what, repeated && err == nil && len(g.m.erased) > 0: // an erasure makes old requests incomparable
		if err != nil || !r.Repeated || r.Position.GetSequence() != g.m.first[id] {
			g.t.Fatalf("a repeated command got %+v, %v", r, err)
		}
	case repeated:
		mustRefuse(g.t, err, "REQUEST_ID_REUSED")
	default:
		if err != nil || r.Repeated {
			g.t.Fatalf("a new command got %+v, %v", r, err)
		}
		g.m.log = append(g.m.log, events...)
		g.m.requests[id], g.m.first[id] = what, uint64(len(g.m.log))
	}
}

func (g *game) reopen() {
	if err := g.l.Close(); err != nil {
		g.t.Fatal(err)
	}
	g.l = open(g.t, g.c)
}

func (g *game) seal() {
	person, data := g.person(), fmt.Sprint("data ", g.random.IntN(100))
	sealed, commitment, err := g.l.Seal(person, []byte(data))
	if g.m.erased[person] {
		mustRefuse(g.t, err, "PERSON_ERASED")
		return
	}
	if err != nil {
		g.t.Fatal(err)
	}
	events := []Event{named(person, fmt.Sprintf("%x", commitment))}
	id := g.id()
	command := does(id, events...)
	command.Private = []Sealed{sealed}
	mustAppend(g.t, g.l, command)
	g.m.log = append(g.m.log, events...)
	g.m.requests[id], g.m.first[id] = fmt.Sprint(events), uint64(len(g.m.log))
	g.m.sealed[person] = data
}

// compare reads everything back.
func (g *game) compare() {
	t := g.t
	if got := g.l.Head().Size; got != uint64(len(g.m.log)) {
		t.Fatalf("%d entries, the model has %d", got, len(g.m.log))
	}
	err := g.l.Read(context.Background(), nil, func(r Reader) error {
		for i := range 5 {
			subject := fmt.Sprint("s-", i)
			sum, name := &wrapperspb.Int64Value{}, &wrapperspb.StringValue{}
			there, err := r.Get("sums", subject, sum)
			if err != nil {
				return err
			}
			if want, wanted := g.m.sum(subject); there != wanted || there && sum.GetValue() != want {
				t.Errorf("sum of %s is %v %d, the model says %v %d", subject, there, sum.GetValue(), wanted, want)
			}
			there, err = r.Get("names", "of/"+subject, name)
			if err != nil {
				return err
			}
			if want, wanted := g.m.name(subject); there != wanted || there && name.GetValue() != want {
				t.Errorf("name of %s is %v %q, the model says %v %q", subject, there, name.GetValue(), wanted, want)
			}
		}
		return g.compareScan(r)
	})
	if err != nil {
		t.Fatal(err)
	}
	for person := range g.m.sealed {
		got, err := g.l.Unseal(person)
		switch {
		case g.m.erased[person] && fault.Reason(err) != "PERSON_ERASED":
			t.Errorf("the data of erased %s: %q, %v", person, got, err)
		case !g.m.erased[person] && (err != nil || string(got) != g.m.sealed[person]):
			t.Errorf("the data of %s are %q, %v", person, got, err)
		}
	}
}

// compareScan pages through the names in steps of two.
func (g *game) compareScan(r Reader) error {
	var want, got []string
	for _, e := range g.m.log {
		if name, there := g.m.name(e.Subject); there {
			want = append(want, "by/"+name+"/"+e.Subject)
		}
	}
	slices.Sort(want)
	want = slices.Compact(want)
	for after := ""; ; {
		n := 0
		if err := r.Scan("names", "by/", after, 2, func(key string, _ []byte) error {
			got = append(got, key)
			after = key
			n++
			return nil
		}); err != nil {
			return err
		}
		if n < 2 {
			break
		}
	}
	if fmt.Sprint(got) != fmt.Sprint(want) {
		g.t.Errorf("names are %v, the model says %v", got, want)
	}
	return nil
}
