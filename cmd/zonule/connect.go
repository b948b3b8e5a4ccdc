package main

import (
	"context"
	"fmt"
	"net"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	"zonule/cmd/zonule/site"
)

// remote are the flags of commands that speak to a running site.
type remote struct {
	Server string `help:"Where the site's gRPC port is." default:"127.0.0.1:7410" placeholder:"HOST:PORT"`
}

// connect gives clients of a running site. It fails at once, with what to do, when none is there.
func (r remote) connect(ctx context.Context) (site.Clients, func(), error) {
	if !r.reachable(ctx) {
		return site.Clients{}, nil, fmt.Errorf("no site answers at %s; start one with: zonule serve --data DIR (or zonule demo), or name another with --server", r.Server)
	}
	conn, err := grpc.NewClient(r.Server, grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		return site.Clients{}, nil, fmt.Errorf("%s is no address: %w", r.Server, err)
	}
	return site.NewClients(conn), func() { _ = conn.Close() }, nil
}

func (r remote) reachable(ctx context.Context) bool {
	d := net.Dialer{Timeout: 500 * time.Millisecond}
	c, err := d.DialContext(ctx, "tcp", r.Server)
	if err != nil {
		return false
	}
	_ = c.Close()
	return true
}
