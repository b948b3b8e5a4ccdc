package rpc

import (
	"crypto/sha256"
	"encoding/base64"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	"zonule/services/fault"
)

// pageMark is how many bytes of a hash stand before the place in a page token.
const pageMark = 6

// PageToken makes the opaque token that continues a list after the row with key last. list names the list with
// its filters, so that a token cannot be used to go on with another one.
func PageToken(list, last string) string {
	return base64.RawURLEncoding.EncodeToString(append(pageHash(list, last), last...))
}

// PageAfter gives back the key after which a page begins; "" for the first page. A token of another list, or
// one that was changed on the way, is INVALID_ARGUMENT (BAD_PAGE_TOKEN).
func PageAfter(list, token string) (string, error) {
	if token == "" {
		return "", nil
	}
	raw, err := base64.RawURLEncoding.DecodeString(token)
	if err == nil && len(raw) > pageMark {
		last := string(raw[pageMark:])
		if string(pageHash(list, last)) == string(raw[:pageMark]) {
			return last, nil
		}
	}
	return "", fault.New(codes.InvalidArgument, "BAD_PAGE_TOKEN", "This page token does not belong to this list. Begin again without one, and keep the filters from page to page.")
}

// PageSize is the size asked for, or the usual one when none was.
func PageSize(asked, usual int32) int {
	if asked <= 0 {
		return int(usual)
	}
	return int(asked)
}

func pageHash(list, last string) []byte {
	sum := sha256.Sum256([]byte("zonule page\x00" + list + "\x00" + last))
	return sum[:pageMark]
}

// Fingerprint tells requests apart: the bytes of the message in its deterministic encoding. The same request id
// with another fingerprint is another request.
func Fingerprint(m proto.Message) ([]byte, error) {
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		return nil, fault.Wrap(err, codes.Internal, "UNEXPECTED", "The request could not be encoded; nothing was changed.")
	}
	sum := sha256.Sum256(b)
	return sum[:], nil
}
