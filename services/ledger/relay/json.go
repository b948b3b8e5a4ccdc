package relay

import (
	"context"
	"encoding/base64"
	"strconv"
	"time"

	"github.com/nats-io/nats.go"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/encoding/protojson"

	"zonule/services/fault"
	"zonule/services/ledger"
)

// HeaderError is set on an answer that is a refusal: its reason. The body is then a sentence.
const HeaderError = "Zonule-Error"

// JSONSubject is where entries of a site can be asked for as JSON: the request's body is the entry's sequence, decimal;
// the answer's body is the entry in the JSON form of protobuf, its payload included, with the headers of its message.
func JSONSubject(programme, site string) string {
	return "zonule-json." + Token(programme) + "." + Token(site)
}

// ServeJSON answers requests for entries as JSON from the ledger, until stop is called or the connection is closed.
func ServeJSON(conn *nats.Conn, l *ledger.Ledger) (stop func() error, err error) {
	sub, err := conn.Subscribe(JSONSubject(l.Programme(), l.Site()), func(request *nats.Msg) {
		answer, err := rendered(l, string(request.Data))
		if err != nil {
			f := fault.From(err)
			answer = nats.NewMsg("")
			answer.Data = []byte(f.Sentence)
			answer.Header.Set(HeaderError, f.Reason)
		}
		_ = request.RespondMsg(answer) // whoever asked without waiting for an answer gets none
	})
	if err != nil {
		return nil, err
	}
	return sub.Unsubscribe, nil
}

// rendered makes the answer for one entry.
func rendered(l *ledger.Ledger, number string) (*nats.Msg, error) {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	sequence, err := strconv.ParseUint(number, 10, 64)
	if err != nil || sequence == 0 {
		return nil, fault.New(codes.InvalidArgument, "NOT_A_SEQUENCE", "The request's body must be the sequence of an entry: a decimal number from 1 on.")
	}
	run, err := l.Stored(ctx, sequence, 1)
	if err != nil {
		return nil, err
	}
	if len(run) == 0 {
		return nil, fault.New(codes.NotFound, "NO_SUCH_ENTRY", "The ledger does not hold this entry yet.", "sequence", number)
	}
	e, err := run[0].Entry()
	if err != nil {
		return nil, err
	}
	body, err := protojson.MarshalOptions{Multiline: true}.Marshal(e)
	if err != nil {
		return nil, fault.Wrap(err, codes.FailedPrecondition, "UNKNOWN_KIND", "This program does not know the kind of the entry. Ask a newer one.")
	}
	msg := nats.NewMsg("")
	msg.Data = body
	msg.Header.Set(HeaderLeaf, base64.StdEncoding.EncodeToString(run[0].Leaf[:]))
	msg.Header.Set(HeaderSequence, number)
	return msg, nil
}
