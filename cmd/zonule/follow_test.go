package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	"zonule/cmd/zonule/site"
	assessmentv1 "zonule/proto/gen/zonule/assessment/v1"
	drillv1 "zonule/proto/gen/zonule/drill/v1"
	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	progressv1 "zonule/proto/gen/zonule/progress/v1"
	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	"zonule/services/fault"
	"zonule/services/ledger/relay/natstest"
)

// startSite runs zonule serve with flags and waits until it says where everything is.
func startSite(t *testing.T, flags ...string) (d *daemon, natsAddr string) {
	t.Helper()
	exe, err := exec.LookPath("zonule")
	if err != nil {
		t.Fatal(err)
	}
	d = &daemon{cmd: exec.Command(exe, append([]string{"serve", "--programme", "test", "--listen", "127.0.0.1:0", "--pages", "127.0.0.1:0"}, flags...)...)}
	d.cmd.Stderr = os.Stderr
	out, err := d.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := d.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = d.cmd.Process.Kill(); _ = d.cmd.Wait() })
	where := regexp.MustCompile(`^ +(pages|gRPC|NATS|data) +(?:http://|nats://)?([^\s/,]*)`)
	for lines := bufio.NewScanner(out); lines.Scan(); {
		m := where.FindStringSubmatch(lines.Text())
		if m == nil {
			continue
		}
		switch m[1] {
		case "pages":
			d.pages = m[2]
		case "gRPC":
			conn, err := grpc.NewClient(m[2], grpc.WithTransportCredentials(insecure.NewCredentials()))
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { _ = conn.Close() })
			d.clients = site.NewClients(conn)
		case "NATS":
			natsAddr = m[2]
		case "data":
			go func() { _, _ = io.Copy(io.Discard, out) }()
			return d, natsAddr
		}
	}
	t.Fatal("the site ended before it said where it is")
	return nil, ""
}

// eventually waits for something to become true.
func eventually(t *testing.T, what string, true func() bool) {
	t.Helper()
	for deadline := time.Now().Add(60 * time.Second); !true(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("after 60 s it is not so that %s", what)
		}
	}
}

// copyAt says how far a site's copy of another's ledger is.
func copyAt(ctx context.Context, t *testing.T, d *daemon, of string) *ledgerv1.LedgerCopy {
	t.Helper()
	answer, err := d.clients.Ledger.ListCopies(ctx, &ledgerv1.ListCopiesRequest{})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range answer.GetCopies() {
		if c.GetSite() == of {
			return c
		}
	}
	return &ledgerv1.LedgerCopy{}
}

func sizeOf(ctx context.Context, t *testing.T, d *daemon) uint64 {
	t.Helper()
	head, err := d.clients.Ledger.GetHead(ctx, &ledgerv1.GetHeadRequest{})
	if err != nil {
		t.Fatal(err)
	}
	return head.GetHead().GetSize()
}

func enrol(ctx context.Context, t *testing.T, d *daemon, id string) {
	t.Helper()
	_, err := d.clients.Roster.EnrolPerson(ctx, &rosterv1.EnrolPersonRequest{RequestId: "enrol-" + id, PersonId: id, DisplayName: id + " (invented)", Roles: []rosterv1.Role{rosterv1.Role_ROLE_TRAINEE}})
	if err != nil {
		t.Fatal(err)
	}
}

// playWhole plays a drill to its safe stop and has it judged.
func playWhole(ctx context.Context, t *testing.T, d *daemon, person, request string) string {
	t.Helper()
	start, err := d.clients.Drill.StartDrill(ctx, &drillv1.StartDrillRequest{RequestId: request, PersonId: person, Bench: "bench-1", ScenarioId: "morning-list-two", Variant: "usual", Seed: 11})
	if err != nil {
		t.Fatal(err)
	}
	id := start.GetDrill().GetDrillId()
	for i, choice := range []string{"stop-and-hold", "fill-first"} {
		decide(ctx, t, d, id, i, choice)
	}
	if _, err := d.clients.Drill.FinishDrill(ctx, &drillv1.FinishDrillRequest{RequestId: request + "-end", DrillId: id, ElapsedS: 2}); err != nil {
		t.Fatal(err)
	}
	if _, err := d.clients.Assessment.AssessDrill(ctx, &assessmentv1.AssessDrillRequest{RequestId: "judge-" + id, DrillId: id}); err != nil {
		t.Fatal(err)
	}
	return id
}

// A bench works with no network, and when it is back everything reaches the hub, once and in order; what the hub enrols
// and publishes reaches the bench. The bench is killed meanwhile, too.
func TestABenchWithoutNetwork(t *testing.T) {
	if testing.Short() {
		t.Skip("starts processes")
	}
	ctx, cancel := context.WithTimeout(t.Context(), 3*time.Minute)
	defer cancel()
	hub, natsAddr := startSite(t, "--site", "hub", "--data", filepath.Join(t.TempDir(), "hub"), "--nats-port=-1", "--nats-sites", "--follow", "bench-2")
	proxy := natstest.NewProxy(t, natsAddr)
	benchFlags := []string{"--site", "bench-2", "--data", filepath.Join(t.TempDir(), "bench"), "--follow", "hub=nats://" + proxy.Addr()}
	proxy.Cut() // the laptop starts at a place without a network
	bench, _ := startSite(t, benchFlags...)
	enrol(ctx, t, bench, "bela")
	first := playWhole(ctx, t, bench, "bela", "first")

	proxy.Heal()
	enrol(ctx, t, hub, "ada")
	eventually(t, "the hub has the bench's ledger", func() bool { return copyAt(ctx, t, hub, "bench-2").GetFolded() == sizeOf(ctx, t, bench) })
	eventually(t, "the bench has the hub's", func() bool { return copyAt(ctx, t, bench, "hub").GetFolded() == sizeOf(ctx, t, hub) })
	if _, err := bench.clients.Roster.GetPerson(ctx, &rosterv1.GetPersonRequest{PersonId: "ada"}); err != nil {
		t.Errorf("who was enrolled at the hub is unknown at the bench: %v", err)
	}

	proxy.Cut()
	drills := []string{first}
	for i := range 3 {
		drills = append(drills, playWhole(ctx, t, bench, "ada", fmt.Sprint("away-", i))) // enrolled at the hub, played at the bench
	}
	bench.kill(t)
	bench, _ = startSite(t, benchFlags...)
	drills = append(drills, playWhole(ctx, t, bench, "ada", "after the kill"))
	eventually(t, "the bench says that it is catching up", func() bool { return copyAt(ctx, t, bench, "hub").GetState() == "catching up" })
	if c := copyAt(ctx, t, hub, "bench-2"); c.GetFolded() >= sizeOf(ctx, t, bench) {
		t.Errorf("the network was cut and yet the hub has %d entries", c.GetFolded())
	}
	if state := copyAt(ctx, t, hub, "bench-2").GetState(); state == "refusing" {
		t.Errorf("while the network is away the hub is %s", state)
	}
	running, err := bench.clients.Drill.StartDrill(ctx, &drillv1.StartDrillRequest{RequestId: "running", PersonId: "ada", Bench: "bench-1", ScenarioId: "morning-list-two", Variant: "usual", Seed: 11})
	if err != nil {
		t.Fatal(err)
	}

	proxy.Heal()
	eventually(t, "the hub has caught up", func() bool { return copyAt(ctx, t, hub, "bench-2").GetFolded() == sizeOf(ctx, t, bench) })
	mustShowAtHub(ctx, t, hub, bench, drills)
	_, err = hub.clients.Drill.Decide(ctx, &drillv1.DecideRequest{RequestId: "intruder", DrillId: running.GetDrill().GetDrillId(), What: &drillv1.DecideRequest_Choice{Choice: "stop-and-hold"}, ElapsedS: 1})
	if got := fault.Reason(err); got != "DRILL_OF_OTHER_SITE" {
		t.Errorf("the hub decides in a drill that runs at the bench: %v", err)
	}
	for _, d := range []*daemon{hub, bench} {
		answer, err := d.clients.Ledger.CheckLedger(ctx, &ledgerv1.CheckLedgerRequest{})
		if err != nil || !answer.GetClean() {
			t.Errorf("the ledger is not clean: %v %v", answer, err)
		}
	}
}

// mustShowAtHub looks for the bench's drills in everything the hub shows.
func mustShowAtHub(ctx context.Context, t *testing.T, hub, bench *daemon, drills []string) {
	t.Helper()
	want, err := bench.clients.Progress.GetCurve(ctx, &progressv1.GetCurveRequest{PersonId: "ada", Criterion: "C1"})
	if err != nil {
		t.Fatal(err)
	}
	got, err := hub.clients.Progress.GetCurve(ctx, &progressv1.GetCurveRequest{PersonId: "ada", Criterion: "C1"})
	if err != nil {
		t.Fatal(err)
	}
	if len(got.GetPoints()) != 4 || len(want.GetPoints()) != 4 {
		t.Fatalf("the curve has %d points at the hub and %d at the bench, want 4", len(got.GetPoints()), len(want.GetPoints()))
	}
	for i := range want.GetPoints() {
		if got.GetPoints()[i].GetDrillId() != want.GetPoints()[i].GetDrillId() || got.GetPoints()[i].GetDrillId() != drills[i+1] {
			t.Errorf("point %d of the curve is of drill %s at the hub, %s at the bench, want %s", i, got.GetPoints()[i].GetDrillId(), want.GetPoints()[i].GetDrillId(), drills[i+1])
		}
	}
	for _, id := range drills {
		page, err := http.Get("http://" + hub.pages + "/drills/" + id)
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(page.Body)
		_ = page.Body.Close()
		if err != nil || page.StatusCode != http.StatusOK || !strings.Contains(string(body), id) {
			t.Errorf("the hub's page of drill %s: %s, %v\n%.500s", id, page.Status, err, body)
		}
	}
	list, err := hub.clients.Drill.ListDrills(ctx, &drillv1.ListDrillsRequest{PageSize: 100})
	if err != nil || len(list.GetDrills()) != len(drills)+1 {
		t.Errorf("the hub lists %d drills, want %d (%v)", len(list.GetDrills()), len(drills)+1, err)
	}
}
