// Package natstest gives tests a network that can be cut, and NATS servers: one inside the test's process, or three
// processes in a cluster when ZONULE_CLUSTER is set.
package natstest

import (
	"io"
	"net"
	"sync"
	"testing"
)

// Proxy stands between a client and a server on the loopback and can be cut, as a network is.
type Proxy struct {
	listener net.Listener
	to       string

	mu    sync.Mutex
	cut   bool
	conns map[net.Conn]bool
}

// NewProxy forwards connections to an address until the test ends.
func NewProxy(t testing.TB, to string) *Proxy {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &Proxy{listener: l, to: to, conns: map[net.Conn]bool{}}
	t.Cleanup(func() { _ = l.Close(); p.Cut() })
	go p.accept()
	return p
}

// Addr is where clients connect.
func (p *Proxy) Addr() string { return p.listener.Addr().String() }

// Cut breaks every connection and refuses new ones.
func (p *Proxy) Cut() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.cut = true
	for c := range p.conns {
		_ = c.Close()
	}
}

// Heal lets connections through again.
func (p *Proxy) Heal() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.cut = false
}

func (p *Proxy) accept() {
	for {
		client, err := p.listener.Accept()
		if err != nil {
			return
		}
		server, err := net.Dial("tcp", p.to)
		if err != nil || !p.keep(client, server) {
			_ = client.Close()
			if server != nil {
				_ = server.Close()
			}
			continue
		}
		go p.pass(client, server)
		go p.pass(server, client)
	}
}

func (p *Proxy) keep(conns ...net.Conn) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.cut {
		return false
	}
	for _, c := range conns {
		p.conns[c] = true
	}
	return true
}

func (p *Proxy) pass(from, to net.Conn) {
	_, _ = io.Copy(to, from)
	_, _ = from.Close(), to.Close()
	p.mu.Lock()
	defer p.mu.Unlock()
	delete(p.conns, from)
}
