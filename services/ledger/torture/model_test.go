package torture

import (
	"strings"
	"testing"
)

// Histories that the model must accept, and ones that it must not: a judge that cannot say no judges nothing.
func TestJudge(t *testing.T) {
	w := func(id, key string, add, began, done int64, sequence uint64, sum int64) Ask {
		return Ask{Client: "c", Write: true, ID: id, Key: key, Add: add, Began: began, Done: done, Sequence: sequence, Sum: sum}
	}
	r := func(key string, began, done int64, sequence uint64, sum int64) Ask {
		return Ask{Client: "r", Key: key, Began: began, Done: done, Sequence: sequence, Sum: sum}
	}
	entries := []Entry{{1, "a", "x", 5}, {2, "b", "y", 1}, {3, "c", "x", 2}}
	asked := []Ask{w("a", "x", 5, 1, 2, 1, 5), w("b", "y", 1, 3, 5, 2, 1), w("c", "x", 2, 4, 7, 3, 7)}
	cases := []struct {
		name    string
		history []Ask
		entries []Entry
		says    string
		lost    int
	}{
		{"whole", append(asked, r("x", 8, 9, 3, 7), r("x", 3, 9, 2, 5), r("z", 8, 9, 3, 0)), entries, "", 0},
		{"an unanswered command that was recorded", append(asked[:2:2], w("c", "x", 2, 4, 0, 0, 0)), entries, "", 0},
		{"an unanswered command that was not", append(asked, w("d", "x", 2, 4, 0, 0, 0)), entries, "", 0},
		{"a lost end", asked, entries[:2], "is not in the ledger of 2", 1},
		{"a lost middle", asked, []Entry{entries[0], {2, "c", "x", 2}}, "command b", 1},
		{"twice", asked, append(entries, Entry{4, "a", "x", 5}), "recorded twice", 0},
		{"another content", asked, []Entry{{1, "a", "x", 6}, entries[1], entries[2]}, "nobody gave like that", 0},
		{"a command nobody gave", asked, append(entries, Entry{4, "z", "x", 1}), "nobody gave", 0},
		{"another place", []Ask{w("a", "x", 5, 1, 2, 2, 5), asked[1], asked[2]}, entries, "acknowledged at 2 and lies at 1", 0},
		{"a wrong sum", []Ask{w("a", "x", 5, 1, 2, 1, 6), asked[1], asked[2]}, entries, "is 6 at 1; it is 5", 0},
		{"a read of something never true", append(asked, r("x", 8, 9, 3, 5)), entries, "is 5 at 3; it is 7", 0},
		{"a read of the past", append(asked, r("x", 8, 9, 2, 5)), entries, "place 2, though c had been answered with 3", 0},
		{"a read of the future", append(asked, r("x", 8, 9, 4, 7)), entries, "position 4 of a ledger of 3", 0},
		{"a write behind the one after it", []Ask{w("a", "x", 5, 3, 4, 1, 5), w("b", "y", 1, 1, 2, 2, 1), asked[2]}, entries, "place 1, though c had been answered with 2", 0},
		{"a gap", asked, []Entry{entries[0], entries[1], {4, "c", "x", 2}}, "entry 4 lies at place 3", 0},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			wrong, lost := Judge(c.history, c.entries)
			all := strings.Join(wrong, "\n")
			if c.says == "" && all != "" || c.says != "" && !strings.Contains(all, c.says) || lost != c.lost {
				t.Errorf("lost %d, want %d; it says %q, want %q", lost, c.lost, all, c.says)
			}
		})
	}
}
