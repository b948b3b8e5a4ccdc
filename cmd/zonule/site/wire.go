// Package site puts one site together: ledger, relay, offices, gRPC and pages in one process. It is the only
// place where concrete things meet; everything else knows contracts.
package site

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/test/bufconn"

	assessmentv1 "zonule/proto/gen/zonule/assessment/v1"
	drillv1 "zonule/proto/gen/zonule/drill/v1"
	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	progressv1 "zonule/proto/gen/zonule/progress/v1"
	rosterv1 "zonule/proto/gen/zonule/roster/v1"
	scenariov1 "zonule/proto/gen/zonule/scenario/v1"
	"zonule/services/assessment"
	"zonule/services/clock"
	"zonule/services/dashboard"
	"zonule/services/drill"
	"zonule/services/ledger"
	"zonule/services/ledger/relay"
	"zonule/services/ledger/replica"
	"zonule/services/progress"
	"zonule/services/roster"
	"zonule/services/rpc"
	"zonule/services/scenario"
)

// NATSFolder is the folder of the data folder that NATS keeps its files in.
const NATSFolder = "nats"

// Config says how a site is put together.
type Config struct {
	Data            string          // folder, made when it is not there
	Programme, Site string          // ids; may be left out when the folder knows them
	Listen, Pages   string          // where gRPC and the pages listen; empty for not at all
	Clock           clock.Clock     // the machine's when nil
	StoreKey        ledger.StoreKey // encrypts ledger and NATS files at rest; not encrypted when nil
	Snapshots       Snapshots       // exports made now and then
	NATS            relay.External  // a NATS outside this process; the embedded one when it has no URLs
	Replicas        int             // how many of its servers keep a stream that is made; 1 when 0
	NATSPort        int             // of 127.0.0.1, where others may follow the events; none when 0, any free one when negative
	NATSSites       bool            // other sites may carry their ledgers to that port, too
	Follow          []Follow        // other sites whose ledgers are followed
	Log             *slog.Logger
}

// Site is one running site.
type Site struct {
	Ledger  *ledger.Ledger
	Clients Clients

	assessment *assessment.Server
	embedded   *relay.Server // nil when NATS is outside
	nats       *nats.Conn
	carriers   []*relay.Relay
	followed   following
	grpc, web  net.Listener
	failed     chan error
	closers    []func() error // in the order of opening; closed backwards

	mu      sync.Mutex // of what runs in the background
	all     context.Context
	stopAll context.CancelFunc
	running sync.WaitGroup
}

// Open brings a site up. When it fails, whatever was open is closed again.
func Open(ctx context.Context, c Config) (s *Site, err error) {
	if c.Clock == nil {
		c.Clock = clock.System{}
	}
	s = &Site{failed: make(chan error, 4), followed: following{replicas: map[string]*replica.Replica{}}}
	defer func() {
		if err != nil {
			err = errors.Join(err, s.Close())
			s = nil
		}
	}()
	for _, part := range []func(context.Context, Config) error{s.openNATS, s.openLedger, s.openRelay, s.openFollowing, s.openKeeping, s.openOffices, s.openPages} {
		if err := part(ctx, c); err != nil {
			return s, err
		}
	}
	return s, nil
}

// Views are all the folds a site keeps.
func Views() ([]ledger.View, error) {
	curves, err := progress.View(progress.DefaultSettings())
	if err != nil {
		return nil, err
	}
	return []ledger.View{roster.View(), scenario.View(), drill.View(), assessment.View(), curves}, nil
}

// OpenLedger opens a site's ledger alone, with the site's views. Its data folder must not be in use.
func OpenLedger(ctx context.Context, c Config) (*ledger.Ledger, error) {
	id, err := identify(c)
	if err != nil {
		return nil, err
	}
	return openLedger(ctx, c, id, nil)
}

func openLedger(ctx context.Context, c Config, id identity, source ledger.Source) (*ledger.Ledger, error) {
	folds, err := Views()
	if err != nil {
		return nil, err
	}
	return ledger.Open(ctx, ledger.Config{Dir: c.Data, Programme: id.Programme, Site: id.Site, Clock: c.Clock, Views: folds, Logger: c.Log, StoreKey: c.StoreKey, Source: source})
}

// openLedger opens the ledger with the stream as the copy that damage is repaired from.
func (s *Site) openLedger(ctx context.Context, c Config) error {
	id, err := identify(c)
	if err != nil {
		return err
	}
	stream, err := s.copied(c, id)
	if err != nil {
		return err
	}
	if s.Ledger, err = openLedger(ctx, c, id, stream); err != nil {
		return err
	}
	s.onClose(s.Ledger.Close)
	return nil
}

// copied is the stream as the copy that the ledger is compared with and repaired from. A NATS outside that cannot be
// reached now does not keep the site from starting: the signed checkpoint beside the store tells of a lost end all the
// same, and the relay compares later.
func (s *Site) copied(c Config, id identity) (ledger.Source, error) {
	if s.embedded == nil {
		if err := s.nats.FlushTimeout(reachWait); err != nil {
			c.Log.Warn("NATS cannot be reached; the site starts without comparing its ledger with the copy there", "error", err)
			return nil, nil
		}
	}
	return relay.NewCopy(s.nats, id.Programme, id.Site)
}

// reachWait is how long the start of a site waits for a NATS outside.
const reachWait = 5 * time.Second

// openNATS starts the embedded NATS server, or connects to the one outside: before the ledger, which may need what was
// carried.
func (s *Site) openNATS(_ context.Context, c Config) error {
	id, err := identify(c)
	if err != nil {
		return err
	}
	if c.NATS.URLs != "" {
		return s.connectNATS(c)
	}
	server, err := relay.Embedded(filepath.Join(c.Data, NATSFolder), relay.EmbeddedOptions{Logger: c.Log, StoreKey: c.StoreKey, Loopback: c.NATSPort != 0, Port: max(c.NATSPort, 0), ReadersOnly: !c.NATSSites, SitesToo: c.NATSSites, Own: []string{relay.SitePrefix(id.Programme, id.Site) + ">", relay.SignedSubject(id.Programme, id.Site)}})
	if err != nil {
		return err
	}
	s.embedded = server
	s.onClose(func() error { server.Stop(); return nil })
	if s.nats, err = server.Connect("zonule site"); err != nil {
		return err
	}
	s.onClose(func() error { s.nats.Close(); return nil })
	return nil
}

// connectNATS connects to a NATS outside this process.
func (s *Site) connectNATS(c Config) (err error) {
	c.NATS.Logger = c.Log
	if s.nats, err = c.NATS.Connect("zonule site"); err != nil {
		return err
	}
	s.onClose(func() error { s.nats.Close(); return nil })
	return nil
}

// openRelay carries every committed entry to the stream.
func (s *Site) openRelay(_ context.Context, c Config) error {
	carrier, err := relay.New(relay.Config{Ledger: s.Ledger, Conn: s.nats, Replicas: c.Replicas, Logger: c.Log})
	if err != nil {
		return err
	}
	unsubscribe, err := relay.ServeJSON(s.nats, s.Ledger)
	if err != nil {
		return err
	}
	s.onClose(func() error { _ = unsubscribe(); return nil }) // NATS may be gone already
	s.carriers = append(s.carriers, carrier)
	s.background(carrier.Run)
	return nil
}

// openOffices registers the offices on one server: inside the process, and on a port if one is asked for.
func (s *Site) openOffices(_ context.Context, c Config) error {
	inside := bufconn.Listen(1 << 20)
	conn, err := grpc.NewClient("passthrough:///inside", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return inside.DialContext(ctx) }))
	if err != nil {
		return err
	}
	s.Clients = NewClients(conn)
	s.onClose(conn.Close)
	register, closeDrills, err := s.offices(c)
	if err != nil {
		return err
	}
	server, err := rpc.NewServer(c.Log, register)
	if err != nil {
		return err
	}
	s.serve("gRPC inside the process", func() error { return server.Serve(inside) })
	if c.Listen != "" {
		if s.grpc, err = listen(c.Listen, "gRPC"); err != nil {
			return err
		}
		s.serve("gRPC", func() error { return server.Serve(s.grpc) })
	}
	s.onClose(func() error { closeDrills(); stopSoon(server); return nil })
	return nil
}

// offices makes every office. They meet through the clients only.
func (s *Site) offices(c Config) (register func(*grpc.Server), closeDrills func(), err error) {
	people, err := roster.New(roster.Deps{Ledger: s.Ledger})
	if err != nil {
		return nil, nil, err
	}
	texts, err := scenario.New(scenario.Deps{Ledger: s.Ledger})
	if err != nil {
		return nil, nil, err
	}
	drills, err := drill.New(drill.Deps{Ledger: s.Ledger, Roster: s.Clients.Roster, Scenarios: s.Clients.Scenario, Logger: c.Log})
	if err != nil {
		return nil, nil, err
	}
	if s.assessment, err = assessment.New(assessment.Deps{Ledger: s.Ledger, Drills: s.Clients.Drill, Scenarios: s.Clients.Scenario, Logger: c.Log}); err != nil {
		return nil, nil, err
	}
	curves, err := progress.New(progress.Deps{Ledger: s.Ledger, Roster: s.Clients.Roster, Settings: progress.DefaultSettings()})
	if err != nil {
		return nil, nil, err
	}
	return func(g *grpc.Server) {
		rosterv1.RegisterRosterServiceServer(g, people)
		scenariov1.RegisterScenarioServiceServer(g, texts)
		drillv1.RegisterDrillServiceServer(g, drills)
		assessmentv1.RegisterAssessmentServiceServer(g, s.assessment)
		progressv1.RegisterProgressServiceServer(g, curves)
		ledgerv1.RegisterLedgerServiceServer(g, ledger.NewServer(s.Ledger).WithFollowing(s.followed.status))
	}, drills.Close, nil
}

// openPages serves the dashboard.
func (s *Site) openPages(_ context.Context, c Config) (err error) {
	if c.Pages == "" {
		return nil
	}
	pages, err := dashboard.New(dashboard.Deps{
		Roster: s.Clients.Roster, Progress: s.Clients.Progress, Assessment: s.Clients.Assessment, Drill: s.Clients.Drill, Scenario: s.Clients.Scenario,
		Feed: feeds{
			own:   dashboard.NATSFeed{Conn: s.nats, Stream: relay.StreamName(s.Ledger.Programme(), s.Ledger.Site()), Prefix: relay.SitePrefix(s.Ledger.Programme(), s.Ledger.Site()), Log: c.Log},
			other: s.Ledger,
		},
		Log: c.Log,
	})
	if err != nil {
		return err
	}
	if s.web, err = listen(c.Pages, "the pages"); err != nil {
		pages.Close()
		return err
	}
	server := &http.Server{Handler: namedHere(pages), ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute, ErrorLog: slog.NewLogLogger(c.Log.Handler(), slog.LevelWarn)}
	server.RegisterOnShutdown(pages.Close)
	s.serve("the pages", func() error {
		if err := server.Serve(s.web); !errors.Is(err, http.ErrServerClosed) {
			return err
		}
		return nil
	})
	s.onClose(func() error {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		return server.Shutdown(ctx)
	})
	return nil
}

// namedHere refuses requests under any host name but this machine's own: a page elsewhere on the web whose name
// was pointed at this machine could otherwise read trainees' records through a visitor's browser.
func namedHere(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		host := r.Host
		if h, _, err := net.SplitHostPort(host); err == nil {
			host = h
		}
		if ip := net.ParseIP(strings.Trim(host, "[]")); host != "localhost" && (ip == nil || !ip.IsLoopback()) {
			http.Error(w, "These pages answer under 127.0.0.1, [::1] and localhost only.", http.StatusMisdirectedRequest)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// listen refuses anything but loopback: until access control stands, a name a client gives is no proof.
func listen(addr, what string) (net.Listener, error) {
	host, _, err := net.SplitHostPort(addr)
	if err != nil {
		return nil, fmt.Errorf("%q is no address for %s; write it as 127.0.0.1:PORT", addr, what)
	}
	if ip := net.ParseIP(host); host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return nil, fmt.Errorf("%s may listen on loopback only (127.0.0.1, ::1 or localhost), not on %q: access control is not in yet", what, host)
	}
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return nil, fmt.Errorf("%s cannot listen on %s; is another site running there? %w", what, addr, err)
	}
	return l, nil
}
