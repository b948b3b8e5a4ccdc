// Package rpc is the plumbing that every office's server and client share: validation of requests by
// the rules in the contracts, faults on the wire, a recovered panic, the acting person, health and
// reflection. It knows no office.
package rpc

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"strings"

	"buf.build/go/protovalidate"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/reflection"
	"google.golang.org/protobuf/proto"
	"zonule/services/fault"
)

// ActorHeader is the metadata key under which a client says who acts. It is a statement, not a proof of
// identity: until access control stands before it, servers listen on loopback only.
const ActorHeader = "zonule-actor"

// Anonymous is the actor of a call that names none.
const Anonymous = "console"

type actorKey struct{}

// Actor gives who acts in this call.
func Actor(ctx context.Context) string {
	if a, ok := ctx.Value(actorKey{}).(string); ok {
		return a
	}
	return Anonymous
}

// As makes outgoing calls of ctx act for a person.
func As(ctx context.Context, actor string) context.Context {
	return metadata.AppendToOutgoingContext(ctx, ActorHeader, actor)
}

// NewServer gives a gRPC server with the interceptors, health and reflection. register adds the offices;
// every service registered is reported as serving.
func NewServer(log *slog.Logger, register func(*grpc.Server), opts ...grpc.ServerOption) (*grpc.Server, error) {
	v, err := protovalidate.New()
	if err != nil {
		return nil, fmt.Errorf("the request rules cannot be read: %w", err)
	}
	g := guard{validate: v, log: log}
	s := grpc.NewServer(append(opts,
		grpc.ChainUnaryInterceptor(g.unary), grpc.ChainStreamInterceptor(g.stream))...)
	register(s)
	h := health.NewServer()
	for name := range s.GetServiceInfo() {
		h.SetServingStatus(name, healthpb.HealthCheckResponse_SERVING)
	}
	healthpb.RegisterHealthServer(s, h)
	reflection.Register(s)
	return s, nil
}

// guard stands before every call.
type guard struct {
	validate protovalidate.Validator
	log      *slog.Logger
}

func (g guard) unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (resp any, err error) {
	defer g.recovered(info.FullMethod, &err)
	if err := g.check(req); err != nil {
		return nil, err
	}
	resp, err = next(withActor(ctx), req)
	return resp, g.onWire(info.FullMethod, err)
}

func (g guard) stream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, next grpc.StreamHandler) (err error) {
	defer g.recovered(info.FullMethod, &err)
	return g.onWire(info.FullMethod, next(srv, &checkedStream{ServerStream: ss, guard: g, ctx: withActor(ss.Context())}))
}

// checkedStream validates what it receives.
type checkedStream struct {
	grpc.ServerStream
	guard guard
	ctx   context.Context
}

func (s *checkedStream) Context() context.Context { return s.ctx }

func (s *checkedStream) RecvMsg(m any) error {
	if err := s.ServerStream.RecvMsg(m); err != nil {
		return err
	}
	return s.guard.check(m)
}

func withActor(ctx context.Context) context.Context {
	actor := Anonymous
	if md, ok := metadata.FromIncomingContext(ctx); ok {
		if v := md.Get(ActorHeader); len(v) > 0 && v[0] != "" && len(v[0]) <= 80 {
			actor = v[0]
		}
	}
	return context.WithValue(ctx, actorKey{}, actor)
}

// check refuses a request that breaks the contract's limits; the metadata carry each field with its reason.
func (g guard) check(req any) error {
	m, ok := req.(proto.Message)
	if !ok {
		return nil
	}
	err := g.validate.Validate(m)
	if err == nil {
		return nil
	}
	var ve *protovalidate.ValidationError
	if !errors.As(err, &ve) {
		return fault.Wrap(err, codes.Internal, "RULES_FAILED", "The request could not be checked; nothing was changed.")
	}
	f := fault.New(codes.InvalidArgument, "REQUEST_REFUSED", "")
	f.Meta = map[string]string{}
	var parts []string
	for _, violation := range ve.Violations {
		field := protovalidate.FieldPathString(violation.Proto.GetField())
		if field == "" {
			field = "request"
		}
		f.Meta[field] = violation.Proto.GetMessage()
		parts = append(parts, field+" "+strings.TrimPrefix(violation.Proto.GetMessage(), "value "))
	}
	f.Sentence = "The request is not as the contract wants it: " + strings.Join(parts, "; ") + "."
	return f
}

// onWire makes every error a fault; what a client should not see stays in the log.
func (g guard) onWire(method string, err error) error {
	if err == nil {
		return nil
	}
	switch {
	case errors.Is(err, context.Canceled):
		return fault.New(codes.Canceled, "CALL_CANCELLED", "The call was cancelled.").GRPCStatus().Err()
	case errors.Is(err, context.DeadlineExceeded):
		return fault.New(codes.DeadlineExceeded, "CALL_TIMED_OUT", "The call took longer than its deadline. Send it again with the same request id.").GRPCStatus().Err()
	}
	f := fault.From(err)
	if f.Code == codes.Internal || f.Code == codes.DataLoss {
		g.log.Error("call failed", "method", method, "error", err)
	}
	return f.GRPCStatus().Err()
}

func (g guard) recovered(method string, err *error) {
	if r := recover(); r != nil {
		g.log.Error("call panicked", "method", method, "panic", r, "stack", string(debug.Stack()))
		*err = fault.New(codes.Internal, "UNEXPECTED", "Something failed inside; nothing more was changed. Look at the log of the site.").GRPCStatus().Err()
	}
}
