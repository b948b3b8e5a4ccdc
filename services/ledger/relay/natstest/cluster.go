package natstest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"math/big"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"

	"zonule/services/ledger/relay"
)

// nodeEnv, when set, makes the test binary a NATS server with that configuration file, to be killed.
const nodeEnv = "ZONULE_NATS_NODE"

// A key for tests alone: everybody can read it here.
const (
	testSeed   = "SUAM54LABRWCEOHTAX5YAOS2W4V5W3CLR454M6JR47KZIA2OIHTZ7RDZKQ"
	testPublic = "UAZCQMOPYTXTBAT6AV7PYLLO7VW6KAHCZEJL3T4N5VNDW4IFZJ5V7HAC"
)

// Main is the first thing a TestMain calls: in a process that is to be a node of a cluster it never returns.
func Main() {
	path := os.Getenv(nodeEnv)
	if path == "" {
		return
	}
	o, err := server.ProcessConfigFile(path)
	if err == nil {
		o.NoSigs = true
		var s *server.Server
		if s, err = server.NewServer(o); err == nil {
			s.Start()
			s.WaitForShutdown()
		}
	}
	fmt.Fprintln(os.Stderr, "the node ended:", err)
	os.Exit(1)
}

// InCluster says whether tests are to run against a cluster.
func InCluster() bool { return os.Getenv("ZONULE_CLUSTER") != "" }

// Cluster is three NATS servers, each a process of its own, that speak TLS and know one nkey.
type Cluster struct {
	dir   string
	ports []int // of clients
	nodes []*exec.Cmd
}

// StartCluster starts three servers until the test ends. Its test binary's TestMain must call Main.
func StartCluster(t testing.TB) *Cluster {
	t.Helper()
	c := &Cluster{dir: t.TempDir(), nodes: make([]*exec.Cmd, 3)}
	if err := certificates(c.dir); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(c.file("site.nk"), []byte(testSeed), 0o600); err != nil {
		t.Fatal(err)
	}
	routes := freePorts(t, 3)
	c.ports = freePorts(t, 3)
	for i := range c.nodes {
		config := fmt.Sprintf(`
server_name: n%[1]d
listen: "127.0.0.1:%[2]d"
tls { cert_file: %[3]q, key_file: %[4]q, ca_file: %[5]q, verify: true }
authorization { users: [ { nkey: %[6]s } ] }
jetstream { store_dir: %[7]q, sync_interval: always }
cluster { name: tests, listen: "127.0.0.1:%[8]d", routes: [ "nats://127.0.0.1:%[9]d", "nats://127.0.0.1:%[10]d", "nats://127.0.0.1:%[11]d" ] }
`, i, c.ports[i], c.file("cert.pem"), c.file("key.pem"), c.file("ca.pem"), testPublic, c.file(fmt.Sprint("js", i)), routes[i], routes[0], routes[1], routes[2])
		if err := os.WriteFile(c.file(fmt.Sprint("n", i, ".conf")), []byte(config), 0o600); err != nil {
			t.Fatal(err)
		}
		c.Start(t, i)
	}
	t.Cleanup(func() {
		for i := range c.nodes {
			c.Kill(i)
		}
	})
	return c
}

func (c *Cluster) file(name string) string { return filepath.Join(c.dir, name) }

// Start starts a node again.
func (c *Cluster) Start(t testing.TB, i int) {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), nodeEnv+"="+c.file(fmt.Sprint("n", i, ".conf")))
	cmd.Stderr = os.Stderr
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	c.nodes[i] = cmd
}

// Kill kills a node with signal 9 and waits for its end.
func (c *Cluster) Kill(i int) {
	if c.nodes[i] != nil {
		_ = c.nodes[i].Process.Kill()
		_ = c.nodes[i].Wait()
		c.nodes[i] = nil
	}
}

// Node gives the number of the node of a name, as JetStream says who leads.
func Node(name string) int {
	var i int
	if _, err := fmt.Sscanf(name, "n%d", &i); err != nil {
		return -1
	}
	return i
}

// External says how the cluster is reached.
func (c *Cluster) External() relay.External {
	var urls []string
	for _, p := range c.ports {
		urls = append(urls, fmt.Sprint("tls://127.0.0.1:", p))
	}
	return relay.External{URLs: strings.Join(urls, ","), Nkey: c.file("site.nk"), CA: c.file("ca.pem"), Cert: c.file("cert.pem"), Key: c.file("key.pem")}
}

func freePorts(t testing.TB, n int) []int {
	t.Helper()
	var ports []int
	for range n {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = l.Close() }()
		if addr, ok := l.Addr().(*net.TCPAddr); ok {
			ports = append(ports, addr.Port)
		}
	}
	return ports
}

// certificates makes an authority for the tests and one certificate under it, for servers and clients on 127.0.0.1.
func certificates(dir string) error {
	authority := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "tests"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(24 * time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign,
	}
	leaf := &x509.Certificate{
		SerialNumber: big.NewInt(2), Subject: pkix.Name{CommonName: "node"}, NotBefore: authority.NotBefore, NotAfter: authority.NotAfter,
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, KeyUsage: x509.KeyUsageDigitalSignature,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
	}
	caKey, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return err
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return err
	}
	ca, err := x509.CreateCertificate(rand.Reader, authority, authority, &caKey.PublicKey, caKey)
	if err != nil {
		return err
	}
	cert, err := x509.CreateCertificate(rand.Reader, leaf, authority, &key.PublicKey, caKey)
	if err != nil {
		return err
	}
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return err
	}
	for name, block := range map[string]*pem.Block{
		"ca.pem": {Type: "CERTIFICATE", Bytes: ca}, "cert.pem": {Type: "CERTIFICATE", Bytes: cert}, "key.pem": {Type: "PRIVATE KEY", Bytes: secret},
	} {
		if err := os.WriteFile(filepath.Join(dir, name), pem.EncodeToMemory(block), 0o600); err != nil {
			return err
		}
	}
	return nil
}
