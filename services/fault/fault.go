// Package fault is the one vocabulary of failure. Every office says why it refused with a
// code (a gRPC code), a machine-readable reason, a sentence a person can act on, and metadata;
// the mapping to the wire and back is here and nowhere else.
//
// A reason is UPPER_SNAKE_CASE and stable: clients may branch on it. The sentence may change.
// On the wire a fault is a gRPC status with a google.rpc.ErrorInfo detail (domain "zonule").
package fault

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// Domain names us in the ErrorInfo detail of a status.
const Domain = "zonule"

// Fault is a refusal that a person or a program can act on.
type Fault struct {
	Code     codes.Code
	Reason   string            // UPPER_SNAKE_CASE, stable
	Sentence string            // what happened and what to do
	Meta     map[string]string // what the sentence speaks of: ids, limits, positions
	Cause    error             // never sent over the wire
}

// New makes a fault. Metadata come as key, value pairs; an odd last key gets an empty value.
func New(code codes.Code, reason, sentence string, meta ...string) *Fault {
	f := &Fault{Code: code, Reason: reason, Sentence: sentence}
	for i := 0; i < len(meta); i += 2 {
		if f.Meta == nil {
			f.Meta = map[string]string{}
		}
		v := ""
		if i+1 < len(meta) {
			v = meta[i+1]
		}
		f.Meta[meta[i]] = v
	}
	return f
}

// Wrap makes a fault that keeps the cause for logs and errors.Is.
func Wrap(cause error, code codes.Code, reason, sentence string, meta ...string) *Fault {
	f := New(code, reason, sentence, meta...)
	f.Cause = cause
	return f
}

// Error gives the sentence, then the reason and the metadata in key order.
func (f *Fault) Error() string {
	var b strings.Builder
	b.WriteString(f.Sentence)
	fmt.Fprintf(&b, " [%s", f.Reason)
	for _, k := range slices.Sorted(maps.Keys(f.Meta)) {
		fmt.Fprintf(&b, " %s=%s", k, f.Meta[k])
	}
	b.WriteString("]")
	if f.Cause != nil {
		fmt.Fprintf(&b, ": %v", f.Cause)
	}
	return b.String()
}

// Unwrap gives the cause.
func (f *Fault) Unwrap() error { return f.Cause }

// GRPCStatus makes gRPC send the fault as it is, without the cause.
func (f *Fault) GRPCStatus() *status.Status {
	s := status.New(f.Code, f.Sentence)
	d, err := s.WithDetails(&errdetails.ErrorInfo{Reason: f.Reason, Domain: Domain, Metadata: f.Meta})
	if err != nil { // only a status of code OK refuses details
		return s
	}
	return d
}

// From reads a fault out of any error: a Fault as it is, a gRPC status with its reason,
// and anything else as INTERNAL with reason UNEXPECTED. From(nil) is nil.
func From(err error) *Fault {
	if err == nil {
		return nil
	}
	var f *Fault
	if errors.As(err, &f) {
		return f
	}
	s, ok := status.FromError(err)
	if !ok {
		return Wrap(err, codes.Internal, "UNEXPECTED", "Something failed inside; nothing was changed. Look at the log of the site.")
	}
	f = &Fault{Code: s.Code(), Reason: "UNEXPECTED", Sentence: s.Message()}
	for _, d := range s.Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok {
			f.Reason, f.Meta = info.GetReason(), info.GetMetadata()
		}
	}
	return f
}

// Reason gives the machine-readable reason of err, or "" if it has none.
func Reason(err error) string {
	if err == nil {
		return ""
	}
	return From(err).Reason
}

// Code gives the gRPC code of err; OK for nil.
func Code(err error) codes.Code {
	if err == nil {
		return codes.OK
	}
	return From(err).Code
}
