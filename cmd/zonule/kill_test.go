package main

import (
	"bufio"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/protobuf/testing/protocmp"

	"zonule/cmd/zonule/site"
	drillv1 "zonule/proto/gen/zonule/drill/v1"
	rosterv1 "zonule/proto/gen/zonule/roster/v1"
)

// daemon is a site running as a process of its own, as a user runs it.
type daemon struct {
	cmd     *exec.Cmd
	clients site.Clients
	pages   string
}

// startDaemon runs zonule serve on a folder and waits until it says where it is.
func startDaemon(t *testing.T, data string) *daemon {
	t.Helper()
	exe, err := exec.LookPath("zonule") // put on the path by testscript.Main: this test binary
	if err != nil {
		t.Fatal(err)
	}
	d := &daemon{cmd: exec.Command(exe, "serve", "--data", data, "--programme", "test", "--site", "bench", "--listen", "127.0.0.1:0", "--pages", "127.0.0.1:0")}
	d.cmd.Stderr = os.Stderr
	out, err := d.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := d.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = d.cmd.Process.Kill(); _ = d.cmd.Wait() })
	where := regexp.MustCompile(`gRPC +(\S+:\d+)`)
	page := regexp.MustCompile(`pages +http://(\S+)/`)
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if m := page.FindStringSubmatch(lines.Text()); m != nil {
			d.pages = m[1]
		}
		if m := where.FindStringSubmatch(lines.Text()); m != nil {
			conn, err := grpc.NewClient(m[1], grpc.WithTransportCredentials(insecure.NewCredentials()))
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { _ = conn.Close() })
			d.clients = site.NewClients(conn)
			go func() { // the rest of what it says is read away
				for lines.Scan() {
				}
			}()
			return d
		}
	}
	t.Fatal("the site ended before it said where it is")
	return nil
}

// kill ends the process as a power cut would, without a chance to tidy up.
func (d *daemon) kill(t *testing.T) {
	t.Helper()
	if err := d.cmd.Process.Signal(syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	_ = d.cmd.Wait()
}

// A site killed in the middle of a drill is started again: the drill stands at the same decision with the same
// eye, a decision sent again is answered as before, the drill goes on to its end as one that was never
// interrupted, and the ledger is whole.
func TestKilledInMidDrill(t *testing.T) {
	if testing.Short() {
		t.Skip("starts processes")
	}
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	data := filepath.Join(t.TempDir(), "site")
	d := startDaemon(t, data)
	_, err := d.clients.Roster.EnrolPerson(ctx, &rosterv1.EnrolPersonRequest{RequestId: "e", PersonId: "ada", DisplayName: "Ada (invented)", Roles: []rosterv1.Role{rosterv1.Role_ROLE_TRAINEE}})
	if err != nil {
		t.Fatal(err)
	}
	choices := []string{"stop-and-hold", "fill-first", "come-out", "say-and-ask", "cut-two-ports"}
	kept, twin := startDrill(ctx, t, d, "kept"), startDrill(ctx, t, d, "twin")
	for i, c := range choices {
		decide(ctx, t, d, twin, i, c)
	}
	var before *drillv1.DecideResponse
	for i, c := range choices {
		before = decide(ctx, t, d, kept, i, c)
		d.kill(t)
		d = startDaemon(t, data)
		got, err := d.clients.Drill.GetDrill(ctx, &drillv1.GetDrillRequest{DrillId: kept})
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(before.GetScene(), got.GetScene(), protocmp.Transform()); diff != "" {
			t.Errorf("after decision %d and a kill the scene differs (-before +after):\n%s", i, diff)
		}
		if again := decide(ctx, t, d, kept, i, c); !cmp.Equal(before, again, protocmp.Transform()) {
			t.Errorf("decision %d sent again is answered otherwise:\n%s", i, cmp.Diff(before, again, protocmp.Transform()))
		}
	}
	a, b := finish(ctx, t, d, kept), finish(ctx, t, d, twin)
	if diff := cmp.Diff(b, a, protocmp.Transform()); diff != "" {
		t.Errorf("the interrupted drill was recorded otherwise than its twin (-twin +interrupted):\n%s", diff)
	}
	d.kill(t)
	checked, err := exec.Command("zonule", "ledger", "check", "--data", data).CombinedOutput()
	if err != nil || !strings.Contains(string(checked), "\nledger ok: ") {
		t.Errorf("the ledger after all that: %v\n%s", err, checked)
	}
}

func startDrill(ctx context.Context, t *testing.T, d *daemon, request string) string {
	t.Helper()
	r, err := d.clients.Drill.StartDrill(ctx, &drillv1.StartDrillRequest{RequestId: request, PersonId: "ada", ScenarioId: "morning-list-two", Variant: "usual", Seed: 11})
	if err != nil {
		t.Fatal(err)
	}
	return r.GetDrill().GetDrillId()
}

func decide(ctx context.Context, t *testing.T, d *daemon, drill string, index int, choice string) *drillv1.DecideResponse {
	t.Helper()
	r, err := d.clients.Drill.Decide(ctx, &drillv1.DecideRequest{RequestId: drill + choice, DrillId: drill, Index: uint32(index), ElapsedS: 2.5, What: &drillv1.DecideRequest_Choice{Choice: choice}})
	if err != nil {
		t.Fatalf("decision %d, %s: %v", index, choice, err)
	}
	return r
}

// finish brings a drill to its safe stop and gives all that was recorded of it.
func finish(ctx context.Context, t *testing.T, d *daemon, drill string) *drillv1.Timeline {
	t.Helper()
	if _, err := d.clients.Drill.FinishDrill(ctx, &drillv1.FinishDrillRequest{RequestId: drill + "end", DrillId: drill, ElapsedS: 3, Reason: "handing over"}); err != nil {
		t.Fatal(err)
	}
	r, err := d.clients.Drill.GetTimeline(ctx, &drillv1.GetTimelineRequest{DrillId: drill})
	if err != nil {
		t.Fatal(err)
	}
	return r.GetTimeline()
}
