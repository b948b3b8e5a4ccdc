// Package rpctest lets a test talk to an office as a client does: through a real gRPC server in the same process.
package rpctest

import (
	"context"
	"io"
	"log/slog"
	"net"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/test/bufconn"

	"zonule/services/fault"
	"zonule/services/rpc"
)

// Serve starts a server with the offices that register adds, and gives a connection to it. Both end with the test.
func Serve(t testing.TB, register func(*grpc.Server)) *grpc.ClientConn {
	t.Helper()
	server, err := rpc.NewServer(Silent(), register)
	if err != nil {
		t.Fatal(err)
	}
	listener := bufconn.Listen(1 << 20)
	done := make(chan error, 1)
	go func() { done <- server.Serve(listener) }()
	conn, err := grpc.NewClient("passthrough:office", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return listener.DialContext(ctx) }))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		conn.Close()
		server.Stop()
		if err := <-done; err != nil {
			t.Errorf("the server ended with %v", err)
		}
	})
	return conn
}

// Silent is a log that nobody reads.
func Silent() *slog.Logger { return slog.New(slog.NewTextHandler(io.Discard, nil)) }

// WantFault fails the test unless err is a fault of that code and reason.
func WantFault(t testing.TB, err error, code codes.Code, reason string) {
	t.Helper()
	if fault.Code(err) != code || fault.Reason(err) != reason {
		t.Errorf("got %v (%s, %s), want %s, %s", err, fault.Code(err), fault.Reason(err), code, reason)
	}
}
