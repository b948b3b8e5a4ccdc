package eye

import "testing"

// FuzzActions reads bytes as a starting eye and a list of actions. No list may bring an eye
// to a value that is no number, a negative volume, a share outside 0..1 or a panic.
//
//	go test ./scenarios/eye -run '^$' -fuzz FuzzActions -fuzztime 2m
//
// What it found worth keeping lies in testdata/fuzz and is replayed by every go test.
func FuzzActions(f *testing.F) {
	for seed := range uint64(8) {
		s, b := newStream(seed, "fuzz seeds"), make([]byte, 0, 400)
		for range 400 {
			b = append(b, byte(s.next()>>56))
		}
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 4000 {
			data = data[:4000]
		}
		c := chance{stream: newStream(uint64(len(data)), "fuzz"), bytes: data}
		e, err := New(c.spec(), uint64(len(data)))
		if err != nil {
			t.Fatal(err)
		}
		for n := 0; n < 25 && (n == 0 || len(c.bytes) > 0); n++ {
			a := c.action()
			if a.Num["for"] > 0 {
				a.Num["for"] = min(a.Num["for"], 1)
			}
			r, err := e.Apply(a)
			if err != nil {
				if _, ok := err.(*Refusal); !ok {
					t.Fatalf("%+v: %v", a, err)
				}
				continue
			}
			if !within(&r) || !sound(t, e, r.After) || !sound(t, e, r.Low) || !sound(t, e, r.High) {
				t.Fatalf("action %d: %+v", n, a)
			}
		}
	})
}
