package ledger

import (
	"errors"
	"fmt"
	"slices"
	"strconv"

	"github.com/dgraph-io/badger/v4"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/anypb"
	"google.golang.org/protobuf/types/known/timestamppb"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
	"zonule/services/fault"
)

// batch is what one commit will hold: the commands run so far, over the last commit or over a batch that is just being
// committed.
type batch struct {
	l       *Ledger
	all     *stage
	waiting []*pending // in the order run
	answers []answer   // answers[i] is to waiting[i], once the batch is committed
	entries int        // recorded so far
	before  frontier   // the tree without the batch
	tree    frontier   // and with what was run so far
	head    Head       // set by finish
}

// newBatch begins a batch over the last commit, or over another batch.
func (l *Ledger) newBatch(on *batch) *batch {
	if on == nil {
		return &batch{l: l, all: l.stageOn(l.current), before: l.tree, tree: l.tree.clone()}
	}
	all := on.all.over()
	all.ill = &illness{}
	return &batch{l: l, all: all, before: on.tree, tree: on.tree.clone()}
}

// stageOn makes a stage over a snapshot. For the writer only.
func (l *Ledger) stageOn(base *snapshot) *stage {
	return &stage{site: l.site, log: l.log, folds: l.views, layer: newLayer(cached{base, l.cache}), views: slices.Clone(base.views), size: base.head.Size, total: base.total(), ill: &illness{}}
}

var errTooLarge = fault.New(codes.InvalidArgument, "COMMAND_TOO_LARGE", "The command changes more than the ledger can record at once. Nothing was recorded. Split it into smaller ones.")

var errFull = errors.New("the command does not fit into this batch")

// run runs one command on a stage of its own. What goes wrong with the command becomes its answer. An error concerns the
// batch: errFull asks for a new one, errViewIll for a repair first.
func (b *batch) run(p *pending) error {
	own := b.all.over()
	receipt, leaves, err := b.record(own, p)
	if len(own.ill.views) > 0 {
		return errViewIll
	}
	if err == nil && !b.fits(own, len(leaves)) {
		if b.all.layer.count > 0 {
			return errFull
		}
		err = errTooLarge
	}
	if err == nil {
		if err := b.grow(own, leaves); err != nil { // the batch is spoilt
			return err
		}
		own.pour(b.all)
		b.entries += len(leaves)
	}
	b.waiting = append(b.waiting, p)
	b.answers = append(b.answers, answer{receipt, err})
	return nil
}

// record decides, and puts entries, private data and rows on the stage.
func (b *batch) record(own *stage, p *pending) (Receipt, []tlog.Hash, error) {
	c := &p.command
	if c.RequestID != "" {
		receipt, repeated, err := b.repeated(own, c, p.mark)
		if repeated || err != nil {
			return receipt, nil, err
		}
	}
	var events []Event
	err := guarded(own.log, "deciding a command", func() (err error) {
		events, err = c.Decide(own.reader())
		return err
	})
	if err != nil {
		return Receipt{}, nil, err
	}
	if len(events) > MaxEventsInOne {
		return Receipt{}, nil, fault.New(codes.InvalidArgument, "TOO_MANY_EVENTS", fmt.Sprintf("One command may record at most %d events. Split it into smaller ones.", MaxEventsInOne))
	}
	if len(events) == 0 && len(c.Private) > 0 {
		return Receipt{}, nil, fault.New(codes.Internal, "PRIVATE_WITHOUT_EVENT", "Personal data were given without an event that carries their commitment. This is a mistake in the program.")
	}
	receipt := Receipt{}
	leaves := make([]tlog.Hash, 0, len(events))
	for i := range events {
		e, err := b.envelope(c, &events[i], own.size+1)
		if err != nil {
			return Receipt{}, nil, err
		}
		if i == 0 {
			e.RequestMark = p.mark
		}
		leaf, err := own.enter(e, events[i].Payload)
		if err != nil {
			return Receipt{}, nil, err
		}
		leaves = append(leaves, leaf)
		receipt.Entries = append(receipt.Entries, e)
	}
	for _, s := range c.Private {
		own.layer.put(spaceSealed, s.Person, storedRow(slices.Concat(s.Commitment, s.box)))
	}
	receipt.Position = &ledgerv1.Position{Site: b.l.site, Sequence: own.size}
	return receipt, leaves, nil
}

// enter encodes an entry, stores it and folds it. The bytes made here are the entry from now on.
func (s *stage) enter(e *ledgerv1.Entry, payload proto.Message) (tlog.Hash, error) {
	options := proto.MarshalOptions{Deterministic: true}
	size := options.Size(e)
	if size > MaxEntryBytes {
		return tlog.Hash{}, fault.New(codes.InvalidArgument, "ENTRY_TOO_LARGE", fmt.Sprintf("The %s would take %d bytes; an entry is limited to %d.", e.GetKind(), size, MaxEntryBytes))
	}
	stored, err := options.MarshalAppend(make([]byte, checksumBytes, checksumBytes+size), e)
	if err != nil {
		return tlog.Hash{}, fault.Wrap(err, codes.Internal, "EVENT_NOT_ENCODED", "An event could not be encoded. Nothing was recorded. This is a mistake in the program.")
	}
	s.layer.put(spaceEntry, sequenceKey(e.GetSequence()), stored)
	if err := s.fold(e, payload); err != nil {
		return tlog.Hash{}, err
	}
	return tlog.RecordHash(stored[checksumBytes:]), nil
}

// envelope makes the entry of an event.
func (b *batch) envelope(c *Command, event *Event, sequence uint64) (*ledgerv1.Entry, error) {
	if event.Payload == nil {
		return nil, fault.New(codes.Internal, "EVENT_WITHOUT_PAYLOAD", "A decision gave an event without a payload. This is a mistake in the program.")
	}
	if err := checkName("subject", event.Subject, 1); err != nil {
		return nil, err
	}
	payload := &anypb.Any{}
	if err := anypb.MarshalFrom(payload, event.Payload, proto.MarshalOptions{Deterministic: true}); err != nil {
		return nil, fault.Wrap(err, codes.Internal, "EVENT_NOT_ENCODED", "An event could not be encoded. Nothing was recorded. This is a mistake in the program.")
	}
	return &ledgerv1.Entry{
		Site: b.l.site, Programme: b.l.programme, Sequence: sequence, RecordedAt: timestamppb.New(b.l.clock.Now()),
		Actor: c.Actor, Kind: string(event.Payload.ProtoReflect().Descriptor().Name()),
		SubjectId: event.Subject, RequestId: c.RequestID, Payload: payload,
	}, nil
}

// repeated finds the receipt of a command that was recorded before, in the store or in this batch.
func (b *batch) repeated(own *stage, c *Command, mark []byte) (Receipt, bool, error) {
	value, ok, err := own.reader().raw(requestsView, requestKey(c.Actor, c.RequestID))
	if err != nil || !ok {
		return Receipt{}, false, err
	}
	was, err := decodeRecorded(value)
	if err != nil {
		return Receipt{}, false, err
	}
	if marksDiffer(was.mark, mark) {
		return Receipt{}, false, fault.New(codes.AlreadyExists, "REQUEST_ID_REUSED", "This request id was used before for another request. Nothing was recorded. Send the new request under an id of its own.", "request", c.RequestID, "sequence", strconv.FormatUint(was.first, 10))
	}
	receipt := Receipt{Repeated: true, Position: &ledgerv1.Position{Site: b.l.site, Sequence: was.first + was.count - 1}}
	for sequence := was.first; sequence < was.first+was.count; sequence++ {
		r, ok, err := own.layer.get(spaceEntry, sequenceKey(sequence))
		if err != nil {
			return Receipt{}, false, outward(err)
		}
		if !ok {
			return Receipt{}, false, entryDamaged(sequence, "it is missing")
		}
		e, err := decodeEntry(sequence, r.value)
		if err != nil {
			return Receipt{}, false, err
		}
		receipt.Entries = append(receipt.Entries, e)
	}
	return receipt, true, nil
}

// What a batch weighs in a Badger transaction beyond the rows of its commands: the tree hashes of each new entry (two on
// average, and at most 64 more in all), the head, and the states of the views. The hashes of earlier commands are counted
// twice, which does no harm.
const (
	treeRowWeight   = 2*tlog.HashSize + 13 + rowWeight
	batchFixedBytes = 64*tlog.HashSize + 16<<10
	batchFixedRows  = 8
)

// fits says whether a command's stage can join the batch without making its transaction too big for Badger.
func (b *batch) fits(own *stage, entries int) bool {
	entries += b.entries
	bytes := b.all.layer.bytes + own.layer.bytes + int64(entries)*treeRowWeight + batchFixedBytes
	count := b.all.layer.count + own.layer.count + int64(entries) + batchFixedRows
	return bytes < b.l.db.MaxBatchSize() && count < b.l.db.MaxBatchCount()
}

// grow adds a command's leaves to the tree, and the hashes they complete to its stage.
func (b *batch) grow(own *stage, leaves []tlog.Hash) error {
	for _, leaf := range leaves {
		hashes, err := b.tree.grow(leaf)
		if err != nil {
			return fault.Wrap(err, codes.Internal, "TREE_NOT_GROWN", "The ledger's tree could not be extended. Nothing was recorded. Look at the log of the site.")
		}
		own.layer.put(spaceHash, sequenceKey(b.tree.size), storedRow(joinGroup(hashes)))
	}
	return nil
}

// finish adds the head and the states of the views.
func (b *batch) finish() error {
	root, err := b.tree.root()
	if err != nil {
		return err
	}
	b.head = Head{Site: b.l.site, Size: b.all.size, Root: root}
	b.all.layer.put(spaceMeta, keyHead, storedRow(encodeHead(b.head)))
	b.all.layer.put(spaceMeta, keyViews, storedRow(encodeViews(b.all.views)))
	b.l.tree = b.tree
	return nil
}

// answer tells everyone what came of their command.
func (b *batch) answer() {
	for i, p := range b.waiting {
		p.done <- b.answers[i]
	}
}

// decodeEntry decodes a verified value and makes sure that it is the entry it lies under.
func decodeEntry(sequence uint64, value []byte) (*ledgerv1.Entry, error) {
	e := &ledgerv1.Entry{}
	if err := proto.Unmarshal(value, e); err != nil {
		return nil, entryDamaged(sequence, "its bytes do not decode")
	}
	if e.GetSequence() != sequence {
		return nil, entryDamaged(sequence, "entry "+strconv.FormatUint(e.GetSequence(), 10)+" lies in its place")
	}
	return e, nil
}

// outward turns an error from the store into one for a caller.
func outward(err error) error {
	var damaged *damagedRow
	if errors.As(err, &damaged) {
		return damaged.fault()
	}
	if errors.Is(err, badger.ErrTxnTooBig) {
		return errTooLarge
	}
	return err
}
