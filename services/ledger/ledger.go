package ledger

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"github.com/dgraph-io/badger/v4"
	"google.golang.org/grpc/codes"

	"zonule/services/clock"
	"zonule/services/fault"
	"zonule/services/ledger/checkpoint"
)

// Config says what a ledger is to be. Dir, Programme and Site are required.
type Config struct {
	// Dir is the site's data folder. The store goes into a folder of it, the key file beside that.
	Dir string
	// Programme and Site are ids; the ledger remembers them and refuses others.
	Programme, Site string
	// Clock stamps the entries; the machine's when nil.
	Clock clock.Clock
	// Views are folded in this order.
	Views []View
	// Logger is told of repairs and failures; slog.Default() when nil.
	Logger *slog.Logger
	// Source gives back entries that were damaged here; none when nil. A Copy gives back a lost end, too.
	Source Source
	// StoreKey encrypts the store; it is not encrypted when nil. It must be the one the store was made with.
	StoreKey StoreKey
	// Reserve is how many bytes of the disk are left free; DefaultReserve when 0. Below it commands are refused.
	Reserve uint64
	// QueueLimit is how many commands may wait; 1024 when 0.
	QueueLimit int
	// BatchLimit is how many commands share a commit at most; 256 when 0.
	BatchLimit int
	// CheckpointEntries and CheckpointEvery say when the head is signed anew: after so many entries, or so long after the
	// first one that no checkpoint covers; 4096 and a second when 0. A negative CheckpointEvery leaves it to Checkpoint.
	CheckpointEntries int
	CheckpointEvery   time.Duration
}

// Source can give a site's entries again: a copy carried elsewhere, or a replica.
type Source interface {
	// Entry gives the stored bytes of the entry with this sequence and this RFC 6962 leaf hash.
	Entry(ctx context.Context, sequence uint64, leaf [32]byte) ([]byte, error)
}

// Ledger is one site's open ledger. Its methods may be called by several goroutines.
type Ledger struct {
	site, programme string
	dir             string
	encrypted       bool
	clock           clock.Clock
	log             *slog.Logger
	source          Source
	views           []View
	keys            *keyring
	key             checkpoint.Key // the site signs with it
	signing         sync.Mutex     // one checkpoint at a time
	signer          sync.WaitGroup // the goroutine that makes them
	signs           bool           // whether there is one
	db              *badger.DB
	disk            *disk
	sync            func(*badger.Txn) error // commits; another in tests of a failing disk

	queue      chan *pending
	errands    chan errand
	batchLimit int
	quit       chan struct{} // closed by Close
	stopped    chan struct{} // closed by the writer when it ends

	// The writer's own.
	doubtTree bool     // an entry was put back whose hash the tree did not tell: the root must be computed from all entries
	tree      frontier // with the batch that is being committed
	place     places   // of other sites' entries, as committed
	grafts    map[string]*graft
	cache     *cache
	broken    error // why nothing can be recorded any more

	mu      sync.Mutex
	closed  bool
	current *snapshot      // replaced by the writer only, under mu
	moved   chan struct{}  // closed, and replaced, when current is
	readers sync.WaitGroup // snapshots in use
}

// Open opens a ledger or makes a new one. It refuses a folder in use, a store of another site, and a ledger whose end is
// missing. It verifies every row of every view, and builds anew the ones that fail, or whose version is another.
func Open(ctx context.Context, c Config) (*Ledger, error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	if err := os.MkdirAll(c.Dir, 0o700); err != nil {
		return nil, fmt.Errorf("the data folder cannot be made: %w", err)
	}
	l := &Ledger{
		site: c.Site, programme: c.Programme, dir: c.Dir, encrypted: len(c.StoreKey) > 0, clock: c.Clock, log: c.Logger, source: c.Source,
		views: append([]View{requests{}}, c.Views...), cache: newCache(),
		queue: make(chan *pending, c.QueueLimit), errands: make(chan errand), batchLimit: c.BatchLimit,
		quit: make(chan struct{}), stopped: make(chan struct{}), moved: make(chan struct{}),
	}
	var err error
	if l.db, err = openStore(c); err != nil {
		return nil, err
	}
	l.sync = l.commit
	if l.disk, err = openDisk(filepath.Join(c.Dir, storeFolder), c.Reserve); err != nil {
		l.retire()
		return nil, err
	}
	if err = l.loadMending(ctx); err == nil { // the key file comes last: where there is one, there was a ledger
		l.keys, err = openKeyring(c.Dir, c.Site)
	}
	if err != nil {
		l.retire()
		return nil, outward(err)
	}
	l.clearScratch()
	go l.write()
	if l.signs = c.CheckpointEvery > 0; l.signs {
		l.signer.Go(func() { l.sign(uint64(c.CheckpointEntries), c.CheckpointEvery) })
	}
	return l, nil
}

// clearScratch removes the temporary folders of checks that were stopped half-way.
func (l *Ledger) clearScratch() {
	left, err := filepath.Glob(filepath.Join(l.dir, scratchPattern))
	for _, dir := range left {
		err = errors.Join(err, os.RemoveAll(dir))
	}
	if err != nil {
		l.log.Warn("a temporary folder of the ledger could not be removed", "error", err)
	}
}

// check fills in what is left out and refuses what cannot work.
func (c *Config) check() error {
	if c.Dir == "" {
		return fault.New(codes.InvalidArgument, "NO_FOLDER", "The ledger needs a data folder.")
	}
	if err := checkName("programme", c.Programme, 1); err != nil {
		return err
	}
	if err := checkName("site", c.Site, 1); err != nil {
		return err
	}
	if c.Clock == nil {
		c.Clock = clock.System{}
	}
	if c.Logger == nil {
		c.Logger = slog.Default()
	}
	if c.Reserve == 0 {
		c.Reserve = DefaultReserve
	}
	if c.QueueLimit <= 0 {
		c.QueueLimit = 1024
	}
	if c.BatchLimit <= 0 {
		c.BatchLimit = 256
	}
	if c.CheckpointEntries <= 0 {
		c.CheckpointEntries = 4096
	}
	if c.CheckpointEvery == 0 {
		c.CheckpointEvery = time.Second
	}
	names := []string{requestsView}
	for _, v := range c.Views {
		if v.Name() == "" || len(v.Name()) > maxViewNameSize || slices.Contains(names, v.Name()) || checkName("view", v.Name(), 1) != nil {
			return fault.New(codes.Internal, "BAD_VIEW_NAME", "A view's name is empty, too long or taken. This is a mistake in the program.", "view", v.Name())
		}
		names = append(names, v.Name())
	}
	return nil
}

// Close signs the head a last time, stops taking commands, waits for the ones being recorded and for readers, and closes
// the store. Commands that still wait are refused. Closing twice is no error.
func (l *Ledger) Close() error {
	if l.signs {
		l.signLast()
	}
	l.mu.Lock()
	if l.closed {
		l.mu.Unlock()
		return nil
	}
	l.closed = true
	l.mu.Unlock()
	close(l.quit)
	<-l.stopped
	l.signer.Wait()
	return l.retire()
}

// retire lets go of the last snapshot and closes the store.
func (l *Ledger) retire() error {
	l.mu.Lock()
	l.closed = true
	current := l.current
	l.current = nil
	l.mu.Unlock()
	if current != nil {
		current.release()
	}
	l.readers.Wait()
	l.disk.close()
	return l.db.Close()
}

// publish makes what was committed visible to readers. Only the writer calls it, after a commit, or Open.
func (l *Ledger) publish(head Head, views []viewState) {
	next := &snapshot{txn: l.db.NewTransaction(false), head: head, views: views, place: l.place, gone: l.readers.Done}
	next.users.Store(1)
	l.readers.Add(1)
	l.mu.Lock()
	last, moved := l.current, l.moved
	l.current, l.moved = next, make(chan struct{})
	l.mu.Unlock()
	close(moved)
	if last != nil {
		last.release()
	}
}

// acquire gives the present snapshot, to be released by the caller.
func (l *Ledger) acquire() (*snapshot, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.closed || l.current == nil {
		return nil, errClosed
	}
	l.current.users.Add(1)
	return l.current, nil
}

// Head gives the size of the ledger and the root of its tree, as committed. It is empty once the ledger is closed.
func (l *Ledger) Head() Head {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.current == nil {
		return Head{Site: l.site}
	}
	return l.current.head
}

// Site is the id of the site whose ledger it is.
func (l *Ledger) Site() string { return l.site }

// Programme is the id of the programme the site belongs to.
func (l *Ledger) Programme() string { return l.programme }
