package ledger

import (
	"errors"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/fault"
)

// reader reads views over a snapshot or a layer.
type reader struct {
	site  string
	rows  rows
	views []viewState
	size  uint64   // the own entries the rows include
	total uint64   // the place in the order of folding that the rows are to be read at
	only  string   // the one view that may be read; any when empty
	ill   *illness // where views that need rebuilding are noted
}

// illness collects the views that were found damaged or behind, with the generation they were of, whatever the caller
// does with the error.
type illness struct{ views []viewState }

func (i *illness) add(v *viewState) {
	if findView(i.views, v.name) < 0 {
		i.views = append(i.views, *v)
	}
}

var errViewIll = fault.New(codes.Unavailable, "VIEW_IN_REPAIR", "A view is being built again from the entries. Try again shortly.")

// view finds a view that may be read.
func (r *reader) view(name string) (*viewState, error) {
	if r.only != "" && name != r.only {
		return nil, fault.New(codes.Internal, "FOREIGN_VIEW", "A view tried to use another view's rows while folding. This is a mistake in the program.", "view", r.only, "other", name)
	}
	i := findView(r.views, name)
	if i < 0 {
		return nil, fault.New(codes.Internal, "NO_SUCH_VIEW", "This ledger has no view of that name. This is a mistake in the program.", "view", name)
	}
	v := &r.views[i]
	if r.only == "" && v.position != r.total {
		r.ill.add(v)
		return nil, errViewIll
	}
	return v, nil
}

// failed turns an error of the rows below into one for the caller.
func (r *reader) failed(v *viewState, err error) error {
	var damaged *damagedRow
	if errors.As(err, &damaged) {
		r.ill.add(v)
		return errViewIll
	}
	return err
}

// raw reads a row as it is stored.
func (r *reader) raw(view, key string) ([]byte, bool, error) {
	v, err := r.view(view)
	if err != nil {
		return nil, false, err
	}
	got, ok, err := r.rows.get(v.space, key)
	if err != nil {
		return nil, false, r.failed(v, err)
	}
	return got.value, ok, nil
}

func (r *reader) Get(view, key string, into proto.Message) (bool, error) {
	value, ok, err := r.raw(view, key)
	if err != nil || !ok || into == nil {
		return ok, err
	}
	if err := proto.Unmarshal(value, into); err != nil {
		return false, fault.Wrap(err, codes.Internal, "ROW_OF_ANOTHER_KIND",
			"A row of a view is not of the kind it was read as. This is a mistake in the program.", "view", view)
	}
	return true, nil
}

func (r *reader) Scan(view, prefix, after string, limit int, f func(key string, value []byte) error) error {
	v, err := r.view(view)
	if err != nil {
		return err
	}
	n := 0
	return r.failed(v, r.rows.scan(v.space, prefix, after, max(limit, 0), func(key string, got row) (bool, error) {
		if err := f(key, got.value); err != nil {
			return false, err
		}
		n++
		return limit <= 0 || n < limit, nil
	}))
}

func (r *reader) Position() *ledgerv1.Position {
	return &ledgerv1.Position{Site: r.site, Sequence: r.size}
}

// folder is the Writer a Fold gets.
type folder struct {
	reader
	layer *layer
	state *viewState
}

func (w *folder) Put(view, key string, m proto.Message) error {
	if _, err := w.view(view); err != nil {
		return err
	}
	if m == nil {
		return fault.New(codes.Internal, "NO_ROW", "A view put a row without a message. This is a mistake in the program.", "view", view)
	}
	options := proto.MarshalOptions{Deterministic: true}
	stored, err := options.MarshalAppend(make([]byte, checksumBytes, checksumBytes+options.Size(m)), m)
	if err != nil {
		return err
	}
	return w.put(key, stored)
}

// put keeps a stored value whose checksum is still open.
func (w *folder) put(key string, stored []byte) error {
	if len(key) == 0 || len(key) > maxRowKeyBytes {
		return fault.New(codes.Internal, "BAD_ROW_KEY", "A view's key must be 1 to 1024 bytes. This is a mistake in the program.", "view", w.state.name)
	}
	old, had, err := w.layer.get(w.state.space, key)
	if err != nil {
		return w.failed(w.state, err)
	}
	w.state.counted(old, had, w.layer.put(w.state.space, key, stored), true)
	return nil
}

func (w *folder) Delete(view, key string) error {
	if _, err := w.view(view); err != nil {
		return err
	}
	old, had, err := w.layer.get(w.state.space, key)
	if err != nil || !had {
		return w.failed(w.state, err)
	}
	w.layer.remove(w.state.space, key)
	w.state.counted(old, true, 0, false)
	return nil
}
