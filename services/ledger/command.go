package ledger

import (
	"fmt"
	"strconv"
	"unicode/utf8"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/fault"
)

// Limits of a command. An entry must fit a NATS message (1 MiB by default) with its headers.
const (
	MaxEntryBytes   = 512 << 10
	MaxNameBytes    = 200 // of an actor, a request id, a subject
	MaxEventsInOne  = 1000
	maxRowKeyBytes  = 1024
	maxViewNameSize = 64
)

// Command is one use case.
type Command struct {
	// Actor is the id of the person, or the name of the part of the program, that asks.
	Actor string
	// RequestID is the sender's own id for the command. The same actor sending it again gets the first receipt again
	// and nothing is appended. Without one a command is not protected against being sent twice.
	RequestID string
	// Fingerprint tells requests apart, for instance their encoded bytes: the same RequestID with another fingerprint
	// is refused. It is kept only as a short keyed hash.
	Fingerprint []byte
	// Decide is pure: it reads the views and returns the events, or a refusal. It runs in the writer, so it must be
	// quick, and it may be run more than once. No events means that there is nothing to record.
	Decide func(r Reader) ([]Event, error)
	// Private holds the sealed personal data whose commitments the events carry; stored in the same transaction.
	Private []Sealed
}

// Event is a past-tense fact about a subject. Its kind is the name of the payload's message.
type Event struct {
	Subject string
	Payload proto.Message
}

// Receipt says what a command came to.
type Receipt struct {
	// Position is that of the command's last entry, or of the ledger's end when there was nothing to record.
	Position *ledgerv1.Position
	// Entries are the command's own.
	Entries []*ledgerv1.Entry
	// Repeated says that the command had been recorded before, and that the entries are the ones of that time.
	Repeated bool
}

// check refuses a command that could not be recorded whatever it decided.
func (c *Command) check() error {
	if c.Decide == nil {
		return fault.New(codes.Internal, "NO_DECIDE", "A command without a decision was given to the ledger. This is a mistake in the program.")
	}
	if err := checkName("actor", c.Actor, 1); err != nil {
		return err
	}
	return checkName("request id", c.RequestID, 0)
}

// checkName refuses a name that is too long or could not be part of a key.
func checkName(what, name string, least int) error {
	bad := ""
	switch {
	case len(name) < least:
		bad = "is missing"
	case len(name) > MaxNameBytes:
		bad = fmt.Sprintf("is longer than %d bytes", MaxNameBytes)
	case !utf8.ValidString(name):
		bad = "is not valid UTF-8"
	}
	for _, r := range name {
		if r < ' ' || r == 0x7f {
			bad = "holds a control character"
		}
	}
	if bad == "" {
		return nil
	}
	return fault.New(codes.InvalidArgument, "BAD_NAME", fmt.Sprintf("The %s %s.", what, bad), "what", what)
}

// entryDamaged names a bad entry.
func entryDamaged(sequence uint64, how string) *fault.Fault {
	n := strconv.FormatUint(sequence, 10)
	return fault.New(codes.DataLoss, "ENTRY_DAMAGED",
		"Entry "+n+" of this ledger is damaged: "+how+". It is refused. Restore it from a copy of the ledger.", "sequence", n)
}
