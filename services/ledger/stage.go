package ledger

import (
	"fmt"
	"log/slog"
	"runtime/debug"
	"slices"
	"strconv"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/fault"
)

// stage is a place to try out changes: rows over rows, and the states that go with them. A batch is a stage over the
// store; each of its commands is a stage over the batch, poured into it only when all went well.
type stage struct {
	site  string
	log   *slog.Logger
	folds []View // folds[i] belongs to views[i]; further states are of views this program does not know
	layer *layer
	views []viewState
	size  uint64 // own entries folded or recorded
	total uint64 // and those of other sites with them: the place in the order of folding
	ill   *illness
}

// over makes a stage on top of this one.
func (s *stage) over() *stage {
	return &stage{site: s.site, log: s.log, folds: s.folds, layer: newLayer(s.layer), views: slices.Clone(s.views), size: s.size, total: s.total, ill: s.ill}
}

// pour moves everything into the stage below.
func (s *stage) pour(into *stage) {
	s.layer.pour(into.layer)
	into.views, into.size, into.total = s.views, s.size, s.total
}

func (s *stage) reader() *reader {
	return &reader{site: s.site, rows: s.layer, views: s.views, size: s.size, total: s.total, ill: s.ill}
}

// fold passes the next entry in the order of folding, of whatever site, to every view that has not seen it yet.
func (s *stage) fold(e *ledgerv1.Entry, payload proto.Message) error {
	own, total := s.size, s.total+1
	if e.GetSite() == s.site {
		own = e.GetSequence()
	}
	for i, view := range s.folds {
		state := &s.views[i]
		if state.position >= total {
			continue
		}
		w := &folder{reader: *s.reader(), layer: s.layer, state: state}
		w.only, w.size = state.name, own
		err := guarded(s.log, "folding "+e.GetKind()+" into view "+state.name, func() error { return view.Fold(w, e, payload) })
		if err != nil {
			return fault.Wrap(err, codes.Internal, "FOLD_FAILED",
				fmt.Sprintf("The view %s cannot take in %s, so it was not recorded. This is a mistake in the program.", state.name, e.GetKind()),
				"view", state.name, "site", e.GetSite(), "sequence", strconv.FormatUint(e.GetSequence(), 10))
		}
		state.position = total
	}
	s.size, s.total = own, total
	return nil
}

// guarded runs a part of the program that is not the ledger's own. A panic becomes an error, for the others who wait
// must not suffer by it.
func guarded(log *slog.Logger, what string, f func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			log.Error("panic in the ledger's writer", "while", what, "panic", p, "stack", string(debug.Stack()))
			err = fault.New(codes.Internal, "PANIC", "The program failed while "+what+". Nothing was recorded. Look at the log of the site.")
		}
	}()
	return f()
}
