package ledger

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/binary"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/fault"
)

// requestsView is the ledger's own view: which commands were recorded, by actor and request id. Being a view, it is
// rebuilt and checked like any other.
const requestsView = "ledger.requests"

type requests struct{}

func (requests) Name() string    { return requestsView }
func (requests) Version() uint32 { return 1 }

// recorded is a row of the requests view.
type recorded struct {
	first, count uint64 // the command's entries
	mark         []byte // of its fingerprint
}

func requestKey(actor, id string) string { return actor + "\x00" + id }

func (r recorded) encode() []byte {
	stored := make([]byte, checksumBytes, checksumBytes+20+len(r.mark))
	stored = binary.AppendUvarint(stored, r.first)
	stored = binary.AppendUvarint(stored, r.count)
	return append(stored, r.mark...)
}

func decodeRecorded(b []byte) (recorded, error) {
	first, n := binary.Uvarint(b)
	if n <= 0 {
		return recorded{}, errShort
	}
	count, m := binary.Uvarint(b[n:])
	if m <= 0 {
		return recorded{}, errShort
	}
	return recorded{first: first, count: count, mark: b[n+m:]}, nil
}

// Fold notes the first entry of a command and counts the ones that follow it.
func (requests) Fold(w Writer, e *ledgerv1.Entry, _ proto.Message) error {
	if e.GetRequestId() == "" {
		return nil
	}
	own := w.(*folder)
	if e.GetSite() != own.site { // another site answers for its own requests
		return nil
	}
	key := requestKey(e.GetActor(), e.GetRequestId())
	value, ok, err := own.raw(requestsView, key)
	if err != nil {
		return err
	}
	r := recorded{first: e.GetSequence(), mark: e.GetRequestMark()}
	if ok {
		if r, err = decodeRecorded(value); err != nil {
			return err
		}
		if r.first+r.count != e.GetSequence() {
			return fault.New(codes.DataLoss, "REQUEST_TWICE", "The ledger holds the entries of one request in two places.", "actor", e.GetActor(), "request", e.GetRequestId())
		}
	}
	r.count++
	return own.put(key, r.encode())
}

// A mark is the short keyed hash of a command's fingerprint that its first entry carries: four bytes that name the key,
// and eight of the HMAC. A fingerprint may be taken over personal data, which a plain hash would let anyone guess at;
// the key never leaves the site, and is replaced when a person is erased.
const markKeyBytes, markBytes = 4, 12

func makeMark(key, fingerprint []byte) []byte {
	name := sha256.Sum256(append([]byte("zonule mark key\x00"), key...))
	mac := hmac.New(sha256.New, key)
	mac.Write(fingerprint)
	return append(name[:markKeyBytes:markKeyBytes], mac.Sum(nil)[:markBytes-markKeyBytes]...)
}

// marksDiffer says whether two marks show that the requests were different. Marks made with different keys show nothing.
func marksDiffer(a, b []byte) bool {
	if len(a) != markBytes || len(b) != markBytes || string(a[:markKeyBytes]) != string(b[:markKeyBytes]) {
		return false
	}
	return !hmac.Equal(a, b)
}
