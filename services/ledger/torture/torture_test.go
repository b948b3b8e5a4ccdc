package torture

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
)

// roleEnv, when set, makes the test binary one of the processes under torture; its words are separated by commas.
const roleEnv = "ZONULE_TORTURE_ROLE"

func TestMain(m *testing.M) {
	if words := strings.Split(os.Getenv(roleEnv), ","); len(words) > 1 {
		if err := Be(context.Background(), words[0], words[1:], os.Stdout); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

func again(role string, words ...string) *exec.Cmd {
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), roleEnv+"="+strings.Join(append([]string{role}, words...), ","))
	return cmd
}

// TestTorture is the fault suite: 20 rounds, or ZONULE_LONG of them (200 or more make the long run).
func TestTorture(t *testing.T) {
	o := Options{Rounds: 20, Seed: 1, Starter: again, Out: lines{t}, Flips: 2}
	if testing.Short() {
		o.Rounds = 2
	}
	if n, err := strconv.Atoi(os.Getenv("ZONULE_LONG")); err == nil && n > 0 {
		o.Rounds, o.Flips, o.Seed = max(n, 200), 4, uint64(n)
	}
	r, err := Run(context.Background(), o)
	if err != nil {
		t.Fatal(err)
	}
	for _, w := range r.Wrong {
		t.Error(w)
	}
	if r.Lost != 0 || r.Rounds != o.Rounds || r.Acknowledged == 0 {
		t.Error(r)
	}
}

// lines passes what is printed on to the test's log.
type lines struct{ t *testing.T }

func (l lines) Write(b []byte) (int, error) {
	l.t.Log(strings.TrimRight(string(b), "\n"))
	return len(b), nil
}
