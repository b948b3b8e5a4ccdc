package rule

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"zonule/scenarios/script/text"
)

func sampleLanguage(t testing.TB) *Language {
	t.Helper()
	marks := []string{"viscoelastic", "withdrew"}
	l, err := New(
		[]Variable{{Name: "eye.dialysis_hours", Kind: Number}, {Name: "eye.in_bag", Kind: Bool}, {Name: "tries", Kind: Number}},
		[]Function{
			{Name: "first", Args: []Kind{Text}, Result: Number, Names: []func(string) error{func(n string) error {
				for _, m := range marks {
					if m == n {
						return nil
					}
				}
				return fmt.Errorf("%q is no mark; did you mean %q?", n, text.Nearest(n, marks))
			}}, Call: func(w any, args []any) (any, error) {
				s, ok := w.(map[string]float64)[args[0].(string)]
				if !ok {
					return nil, ErrMissing
				}
				return s, nil
			}},
			{Name: "at_most", Args: []Kind{Number, Number}, Result: Bool, Call: func(_ any, args []any) (any, error) {
				return args[0].(float64) <= args[1].(float64), nil
			}},
		})
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func TestHolds(t *testing.T) {
	l := sampleLanguage(t)
	vars := map[string]any{"eye.dialysis_hours": 4.0, "eye.in_bag": true, "tries": 2.0}
	seen := map[string]float64{"viscoelastic": 3}
	cases := []struct {
		src  string
		want bool
		err  error
	}{
		{"eye.dialysis_hours >= 4", true, nil},
		{"eye.dialysis_hours >= 4.5", false, nil},
		{"eye.in_bag && tries == 2", true, nil},
		{"at_most(first('viscoelastic'), 5.0)", true, nil},
		{"tries + 1 == 3", true, nil},
		{"first('withdrew') > 1.0", false, ErrMissing},
		{"!(first('withdrew') > 1.0)", false, ErrMissing},
		{"eye.in_bag || first('withdrew') > 1.0", true, nil},
		{"first('withdrew') > 1.0 || eye.in_bag", true, nil},
		{"first('withdrew') > 1.0 && !eye.in_bag", false, nil},
		{"first('withdrew') > 1.0 && eye.in_bag", false, ErrMissing},
		{"at_most(first('withdrew'), 5.0)", false, ErrMissing},
	}
	for _, c := range cases {
		r, err := l.Compile(c.src)
		if err != nil {
			t.Errorf("%s: %v", c.src, err)
			continue
		}
		got, err := r.Holds(func(n string) (any, bool) { v, ok := vars[n]; return v, ok }, seen)
		if got != c.want || !errors.Is(err, c.err) {
			t.Errorf("%s: %v, %v; want %v, %v", c.src, got, err, c.want, c.err)
		}
	}
}

func TestMistakes(t *testing.T) {
	l := sampleLanguage(t)
	cases := []struct {
		src    string
		offset int
		want   string
	}{
		{"eye.dialysis_hour >= 4", 0, `"eye.dialysis_hour" is not known here; did you mean "eye.dialysis_hours"?`},
		{"eye.in_bag && colour", 14, `"colour" is not known here`},
		{"first('withdraw') > 1.0", 6, `"withdraw" is no mark; did you mean "withdrew"?`},
		{"first(tries) > 1.0", 6, "first wants a name in quotes here"},
		{"first('withdrew', 2.0) > 1.0", 0, `"first" is called with the wrong number of arguments`},
		{"eye.in_bag && (tries > 2", 24, "the rule cannot be read here"},
		{"eye.in_bag > 'x'", 11, "these values cannot be put together"},
		{"tries + 1", 0, "the rule gives no true or false"},
		{"[1,2,3].all(x, x > 0)", 0, "is not known here"},
		{" ", 0, "the rule is empty"},
		{strings.Repeat("!", MaxLength+1), 0, "more than 2000"},
	}
	for _, c := range cases {
		_, err := l.Compile(c.src)
		var m *Mistake
		if !errors.As(err, &m) {
			t.Errorf("%s: not refused: %v", c.src, err)
			continue
		}
		if !strings.Contains(m.Error(), c.want) || c.offset != m.Offset && c.src[0] != '[' {
			t.Errorf("%s: %d %q, want %d %q", c.src, m.Offset, m.Error(), c.offset, c.want)
		}
	}
}

func TestCostIsLimited(t *testing.T) {
	l := sampleLanguage(t)
	if _, err := New([]Variable{{Name: "a"}, {Name: "a", Kind: Number}}, nil); err == nil {
		t.Error("a name declared twice was taken")
	}
	r, err := l.Compile("tries > 0 " + strings.Repeat("&& tries > 0 ", 120))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := r.Holds(func(string) (any, bool) { return 1.0, true }, nil); err != nil {
		t.Errorf("the longest sensible rule is over the limit: %v", err)
	}
}

func BenchmarkHolds(b *testing.B) {
	l := sampleLanguage(b)
	r, err := l.Compile("eye.dialysis_hours >= 4 && at_most(first('viscoelastic'), 5.0)")
	if err != nil {
		b.Fatal(err)
	}
	seen := map[string]float64{"viscoelastic": 3}
	vars := func(string) (any, bool) { return 4.0, true }
	for b.Loop() {
		if ok, err := r.Holds(vars, seen); !ok || err != nil {
			b.Fatal(ok, err)
		}
	}
}
