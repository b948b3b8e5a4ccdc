package fault

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

func TestFaultSurvivesTheWire(t *testing.T) {
	f := Wrap(errors.New("secret path"), codes.FailedPrecondition, "DRILL_ENDED", "The drill has ended.", "drill", "d-1", "ending", "bag-saved")
	s := f.GRPCStatus()
	back := From(status.ErrorProto(s.Proto()))
	want := &Fault{Code: codes.FailedPrecondition, Reason: "DRILL_ENDED", Sentence: "The drill has ended.", Meta: map[string]string{"drill": "d-1", "ending": "bag-saved"}}
	if diff := cmp.Diff(want, back); diff != "" {
		t.Errorf("after the wire (-want +got):\n%s", diff)
	}
	if strings.Contains(s.String(), "secret path") {
		t.Error("the cause went over the wire")
	}
}

func TestFrom(t *testing.T) {
	cases := []struct {
		name   string
		err    error
		code   codes.Code
		reason string
	}{
		{"nil", nil, codes.OK, ""},
		{"a fault inside another error", fmt.Errorf("while deciding: %w", New(codes.NotFound, "NO_SUCH_PERSON", "x")), codes.NotFound, "NO_SUCH_PERSON"},
		{"a bare status", status.Error(codes.Unavailable, "away"), codes.Unavailable, "UNEXPECTED"},
		{"anything else", errors.New("boom"), codes.Internal, "UNEXPECTED"},
	}
	for _, c := range cases {
		if got := Code(c.err); got != c.code {
			t.Errorf("%s: code %v, want %v", c.name, got, c.code)
		}
		if got := Reason(c.err); got != c.reason {
			t.Errorf("%s: reason %q, want %q", c.name, got, c.reason)
		}
	}
}
