package relay

import (
	"log/slog"
	"os"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"google.golang.org/grpc/codes"

	"zonule/services/fault"
)

// External says how NATS servers outside this process are reached.
type External struct {
	// URLs are the servers of one cluster, such as "nats://a:4222,nats://b:4222" or "tls://a:4222".
	URLs string
	// Credentials is a file with a user's JWT and key; Nkey one with a user's key alone. At most one of them.
	Credentials, Nkey string
	// CA is a file with the certificates that the servers' are verified by; the system's when empty. Cert and Key are
	// files with this client's own certificate, for servers that ask for one.
	CA, Cert, Key string
	// Logger is told when the link goes and comes; slog.Default() when nil.
	Logger *slog.Logger
}

// Connect makes a connection that comes back by itself for ever. It does not wait for the servers: a site works without
// them. A file that cannot be read is an error.
func (e External) Connect(name string) (*nats.Conn, error) {
	if e.Logger == nil {
		e.Logger = slog.Default()
	}
	options := []nats.Option{
		nats.Name(name), nats.MaxReconnects(-1), nats.RetryOnFailedConnect(true), nats.ReconnectWait(500 * time.Millisecond),
		nats.ReconnectJitter(250*time.Millisecond, 250*time.Millisecond), nats.Timeout(5 * time.Second),
		nats.PingInterval(10 * time.Second), nats.MaxPingsOutstanding(2), nats.IgnoreAuthErrorAbort(),
		nats.DisconnectErrHandler(func(_ *nats.Conn, err error) {
			if err != nil {
				e.Logger.Warn("the link to NATS is away; catching up when it is back", "name", name, "error", err)
			}
		}),
		nats.ReconnectHandler(func(c *nats.Conn) {
			e.Logger.Info("the link to NATS is back", "name", name, "server", c.ConnectedUrlRedacted())
		}),
		nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) {
			e.Logger.Warn("nats connection", "name", name, "error", err)
		}),
	}
	files, err := e.files()
	if err != nil {
		return nil, err
	}
	nc, err := nats.Connect(e.URLs, append(options, files...)...)
	if err != nil {
		return nil, fault.Wrap(err, codes.InvalidArgument, "NATS_NOT_USABLE", "NATS cannot be used with these flags: "+strings.TrimSuffix(err.Error(), ".")+".")
	}
	return nc, nil
}

// files makes the options that read files, and makes sure that the files are there.
func (e External) files() ([]nats.Option, error) {
	var options []nats.Option
	for what, path := range map[string]string{"credentials": e.Credentials, "nkey": e.Nkey, "CA": e.CA, "certificate": e.Cert, "key": e.Key} {
		if path == "" {
			continue
		}
		f, err := os.Open(path)
		if err != nil {
			return nil, fault.Wrap(err, codes.InvalidArgument, "NATS_FILE_MISSING", "The file "+path+", given as the "+what+" for NATS, cannot be read.")
		}
		_ = f.Close()
	}
	switch {
	case e.Credentials != "" && e.Nkey != "":
		return nil, fault.New(codes.InvalidArgument, "NATS_TWO_IDENTITIES", "Give either a credentials file or an nkey file for NATS, not both.")
	case (e.Cert == "") != (e.Key == ""):
		return nil, fault.New(codes.InvalidArgument, "NATS_HALF_CERTIFICATE", "A client certificate for NATS needs both its file and its key file.")
	case e.Credentials != "":
		options = append(options, nats.UserCredentials(e.Credentials))
	case e.Nkey != "":
		o, err := nats.NkeyOptionFromSeed(e.Nkey)
		if err != nil {
			return nil, fault.Wrap(err, codes.InvalidArgument, "NATS_BAD_NKEY", "The file "+e.Nkey+" holds no nkey seed.")
		}
		options = append(options, o)
	}
	if e.CA != "" {
		options = append(options, nats.RootCAs(e.CA))
	}
	if e.Cert != "" {
		options = append(options, nats.ClientCert(e.Cert, e.Key))
	}
	return options, nil
}
