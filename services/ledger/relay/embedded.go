package relay

import (
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"google.golang.org/grpc/codes"

	"zonule/services/fault"
	"zonule/services/ledger"
)

// SyncInterval is how often the embedded server writes its streams to disk for good. Not after every message: the
// ledger is the truth, and what a power cut takes from a stream is sent again from it.
const SyncInterval = 10 * time.Second

// EmbeddedOptions say how the embedded server is to run. The zero value is a server that only this process can reach.
type EmbeddedOptions struct {
	// Loopback opens a port on 127.0.0.1 as well, for programs on the same machine.
	Loopback bool
	// Port is that port; any free one when 0.
	Port int
	// ReadersOnly lets whoever comes through the port read and follow streams and ask for answers, and nothing else.
	// Connections from within the process, made by Connect, may do everything.
	ReadersOnly bool
	// SitesToo lets them, beyond that, carry other sites' ledgers here, and ask and answer as sites do. Own are the
	// subjects that are not theirs to publish on: this site's.
	SitesToo bool
	Own      []string
	// StoreKey encrypts the streams' files; they are not encrypted when nil. It must be the one they were made with.
	StoreKey ledger.StoreKey
	// Logger is told of the server's warnings and errors; slog.Default() when nil.
	Logger *slog.Logger
}

// Server is a NATS server with JetStream inside this process.
type Server struct {
	dir     string
	options EmbeddedOptions
	lock    *os.File
	secret  string      // of connections from within, when others may only read
	gaveUp  atomic.Bool // a stream, after a failed write
	mu      sync.Mutex
	nats    *server.Server
}

// Embedded starts a server whose streams lie in a folder, which no other program may use at the same time.
func Embedded(dir string, o EmbeddedOptions) (*Server, error) {
	if o.Logger == nil {
		o.Logger = slog.Default()
	}
	s := &Server{dir: dir, options: o}
	if err := s.Start(); err != nil {
		s.Stop() // lets go of the folder
		return nil, err
	}
	return s, nil
}

// Start starts the server again after Stop.
func (s *Server) Start() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.nats != nil {
		return nil
	}
	if err := s.takeFolder(); err != nil {
		return err
	}
	o := &server.Options{
		ServerName: "zonule", JetStream: true, StoreDir: s.dir, SyncInterval: SyncInterval,
		JetStreamMaxMemory: 64 << 20, NoSigs: true, DontListen: !s.options.Loopback, Host: "127.0.0.1", Port: s.options.Port,
	}
	if key := s.options.StoreKey.For("nats store"); key != nil {
		o.JetStreamKey, o.JetStreamCipher = hex.EncodeToString(key), server.AES
	}
	if s.options.ReadersOnly || s.options.SitesToo {
		s.secret = rand.Text()
		others := readers()
		if s.options.SitesToo {
			others = sites(s.options.Own)
		}
		o.Users = []*server.User{{Username: insider, Password: s.secret}, {Username: "reader", Permissions: others}}
		o.NoAuthUser = "reader"
	}
	if o.Port == 0 {
		o.Port = server.RANDOM_PORT
	}
	n, err := server.NewServer(o)
	if err != nil {
		return fault.Wrap(err, codes.FailedPrecondition, "NATS_NOT_STARTED", "The embedded NATS server cannot be set up. Look at the log.")
	}
	n.SetLoggerV2(serverLog{s.options.Logger, &s.gaveUp}, false, false, false)
	n.Start()
	if !n.ReadyForConnections(30*time.Second) || !n.JetStreamEnabled() {
		n.Shutdown()
		return fault.New(codes.FailedPrecondition, "NATS_NOT_STARTED", fmt.Sprintf("The embedded NATS server did not come up in 30 s on the folder %s. Look at the log.", s.dir))
	}
	s.nats = n
	go s.tend(n)
	return nil
}

// tendEvery is how often the server is looked after.
const tendEvery = 3 * time.Second

// tend starts a server again that has given JetStream up, or a stream: when a write fails, as on a full disk, it takes no
// more for as long as it runs, also when there is room again, and says so in its log only. While the disk stays full that
// repeats itself.
func (s *Server) tend(n *server.Server) {
	for {
		time.Sleep(tendEvery)
		s.mu.Lock()
		current := s.nats == n
		s.mu.Unlock()
		if !current {
			return
		}
		if n.JetStreamEnabled() && !s.gaveUp.Swap(false) {
			continue
		}
		s.options.Logger.Warn("nats has given up a stream, as it does when the disk is full; starting it again", "folder", s.dir)
		s.mu.Lock()
		if s.nats == n {
			s.nats = nil
		}
		s.mu.Unlock()
		n.Shutdown()
		n.WaitForShutdown()
		for s.Start() != nil {
			time.Sleep(tendEvery)
			s.mu.Lock()
			stopped := s.lock == nil
			s.mu.Unlock()
			if stopped {
				return
			}
		}
		return // the new server has its own
	}
}

// takeFolder locks the folder for this process, which NATS does not do, and makes sure that the key is the one its files
// were made with: with a wrong one NATS would see nothing there, and the next stream made would delete them.
func (s *Server) takeFolder() error {
	if err := os.MkdirAll(filepath.Dir(s.dir), 0o700); err != nil {
		return fmt.Errorf("the folder for the streams cannot be made: %w", err)
	}
	if s.lock == nil {
		lock, err := os.OpenFile(s.dir+".lock", os.O_CREATE|os.O_RDWR, 0o600)
		if err != nil {
			return fmt.Errorf("the folder for the streams cannot be locked: %w", err)
		}
		if err := lockFile(lock); err != nil {
			return errors.Join(fault.Wrap(err, codes.FailedPrecondition, "FOLDER_IN_USE", fmt.Sprintf("The folder %s is in use by another program. Stop that program first, or use another data folder.", s.dir)), lock.Close())
		}
		s.lock = lock
	}
	if err := ledger.CheckStoreKey(s.dir, s.options.StoreKey); err != nil {
		return err
	}
	return os.MkdirAll(s.dir, 0o700)
}

// Stop ends the server and waits for it. Connections made by Connect try again until it is started.
func (s *Server) Stop() {
	s.mu.Lock()
	n := s.nats
	s.nats = nil
	s.mu.Unlock()
	if n != nil {
		n.Shutdown()
		n.WaitForShutdown()
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.nats == nil && s.lock != nil {
		_ = s.lock.Close() // which unlocks
		s.lock = nil
	}
}

// URL is where programs on the same machine reach the server; empty when it is not running or has no port.
func (s *Server) URL() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.nats == nil || !s.options.Loopback {
		return ""
	}
	return s.nats.ClientURL()
}

// InProcessConn makes the Server an in-process server to nats.Connect, also over Stop and Start.
func (s *Server) InProcessConn() (net.Conn, error) {
	s.mu.Lock()
	n := s.nats
	s.mu.Unlock()
	if n == nil {
		return nil, fault.New(codes.Unavailable, "NATS_STOPPED", "The embedded NATS server is stopped.")
	}
	return n.InProcessConn()
}

// insider is the user that connections from within are.
const insider = "insider"

// insider gives the user and the present secret, which is another after each Start.
func (s *Server) insider() (user, secret string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.secret == "" {
		return "", ""
	}
	return insider, s.secret
}

// readers is what those may do who may only read: subscribe to anything, follow streams, and ask for answers.
func readers() *server.Permissions {
	return &server.Permissions{
		Subscribe: &server.SubjectPermission{Allow: []string{">"}},
		Publish: &server.SubjectPermission{Allow: []string{
			"zonule-json.>", "$JS.API.INFO", "$JS.API.STREAM.NAMES", "$JS.API.STREAM.LIST", "$JS.API.STREAM.INFO.*", "$JS.API.STREAM.MSG.GET.*",
			"$JS.API.DIRECT.GET.>", "$JS.API.CONSUMER.>", "$JS.ACK.>", "$JS.FC.>",
		}},
	}
}

// sites is what other sites may do: what readers may, make their streams and fill them, and ask and answer each other.
// Nobody may delete or change a stream.
func sites(own []string) *server.Permissions {
	p := readers()
	p.Publish.Allow = append(p.Publish.Allow, "zonule.>", "zonule-signed.>", "zonule-ask.>", "$JS.API.STREAM.CREATE.*")
	p.Publish.Deny = own
	p.Response = &server.ResponsePermission{MaxMsgs: 1, Expires: time.Minute}
	return p
}

// Connect makes a connection from within the process, which comes back by itself when the server does.
func (s *Server) Connect(name string) (*nats.Conn, error) {
	return nats.Connect("", nats.InProcessServer(s), nats.Name(name), nats.UserInfoHandler(s.insider), nats.MaxReconnects(-1),
		nats.ReconnectWait(100*time.Millisecond), nats.ReconnectJitter(0, 0), nats.RetryOnFailedConnect(true),
		nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) {
			s.options.Logger.Warn("nats connection", "name", name, "error", err)
		}))
}

// serverLog passes the server's warnings and errors on.
type serverLog struct {
	log    *slog.Logger
	gaveUp *atomic.Bool
}

// Warnf leaves out the server's word on passwords in a configuration file: ours stand in no file, but are drawn anew
// in memory at every start.
func (l serverLog) Warnf(format string, v ...any) {
	if said := line(format, v); !strings.Contains(said, "Plaintext passwords detected") {
		l.log.Warn(said)
	}
}

func (l serverLog) Errorf(format string, v ...any) {
	said := line(format, v)
	if strings.Contains(said, "ritical write error") {
		l.gaveUp.Store(true)
	}
	l.log.Error(said)
}

func (l serverLog) Fatalf(format string, v ...any) { l.log.Error(line(format, v)) }
func (serverLog) Noticef(string, ...any)           {}
func (serverLog) Debugf(string, ...any)            {}
func (serverLog) Tracef(string, ...any)            {}

func line(format string, v []any) string {
	return "nats: " + strings.TrimSpace(fmt.Sprintf(format, v...))
}
