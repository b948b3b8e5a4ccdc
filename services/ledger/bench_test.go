package ledger

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/dgraph-io/badger/v4"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/wrapperspb"

	ledgerv1 "zonule/proto/gen/zonule/ledger/v1"
)

// The payload of the benchmarks makes entries of about 290 bytes, as a decision with its measures is.
var detail = strings.Repeat("d", 160)

// lengths is the benchmarks' view: one row for each subject, changed by each of its events.
type lengths struct{}

func (lengths) Name() string    { return "lengths" }
func (lengths) Version() uint32 { return 1 }

func (lengths) Fold(w Writer, e *ledgerv1.Entry, payload proto.Message) error {
	p, ok := payload.(*wrapperspb.StringValue)
	if !ok {
		return nil
	}
	total := &wrapperspb.Int64Value{}
	if _, err := w.Get("lengths", e.GetSubjectId(), total); err != nil {
		return err
	}
	total.Value += int64(len(p.GetValue()))
	return w.Put("lengths", e.GetSubjectId(), total)
}

func benchConfig(dir string) Config {
	c := config(dir)
	c.Views = []View{lengths{}, sums{}}
	return c
}

// benchEvents is one decision of a drill with a hundred.
func benchEvents(client, n int) []Event {
	return []Event{{fmt.Sprintf("drill-%02d-%06d", client, n/100), wrapperspb.String(detail)}}
}

// BenchmarkBareFsync is what the others are to be compared with, on the same disk in the same run: append 290 bytes to a
// file and sync it.
func BenchmarkBareFsync(b *testing.B) {
	f, err := os.Create(filepath.Join(b.TempDir(), "bare"))
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	line := make([]byte, 290)
	var waits []time.Duration
	for b.Loop() {
		began := time.Now()
		if _, err := f.Write(line); err != nil {
			b.Fatal(err)
		}
		if err := f.Sync(); err != nil {
			b.Fatal(err)
		}
		waits = append(waits, time.Since(began))
	}
	b.ReportMetric(median(waits), "p50-ms")
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "ops/s")
	b.ReportMetric(1, "fsyncs/op")
}

// BenchmarkAppend records commands of one event each: an entry, its tree hashes, its row in the ledger's own view of
// requests and one row of another view. A commit is one fsync of Badger's log. The median is a client's wait.
func BenchmarkAppend(b *testing.B) {
	for _, clients := range []int{1, 64} {
		b.Run(fmt.Sprintf("clients=%d", clients), func(b *testing.B) {
			l := open(b, benchConfig(b.TempDir()))
			var commits atomic.Int64
			commit := l.sync
			l.sync = func(txn *badger.Txn) error { commits.Add(1); return commit(txn) }
			var next atomic.Int64
			var wait sync.WaitGroup
			b.ResetTimer()
			waits := make([][]time.Duration, clients)
			for client := range clients {
				wait.Go(func() {
					for n := int(next.Add(1)); n <= b.N; n = int(next.Add(1)) {
						began := time.Now()
						events := benchEvents(client, n)
						c := Command{Actor: fmt.Sprint("p-", client), RequestID: fmt.Sprint("q-", n), Decide: func(Reader) ([]Event, error) { return events, nil }}
						if _, err := l.Append(context.Background(), c); err != nil {
							b.Error(err)
							return
						}
						waits[client] = append(waits[client], time.Since(began))
					}
				})
			}
			wait.Wait()
			b.StopTimer()
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "ops/s")
			b.ReportMetric(float64(commits.Load())/float64(b.N), "fsyncs/op")
			b.ReportMetric(median(slices.Concat(waits...)), "p50-ms")
		})
	}
}

// BenchmarkRebuild folds a ledger's entries anew into the two views and the ledger's own, and stores the rows.
func BenchmarkRebuild(b *testing.B) {
	const entries = 100_000
	dir := b.TempDir()
	l := fill(b, dir, entries)
	b.ResetTimer()
	for range b.N {
		if err := l.inWriter(context.Background(), func() error { return l.heal(l.current.views) }); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(entries)*float64(b.N)/b.Elapsed().Seconds(), "entries/s")
}

// BenchmarkCheck checks a whole ledger.
func BenchmarkCheck(b *testing.B) {
	const entries = 100_000
	l := fill(b, b.TempDir(), entries)
	b.ResetTimer()
	for range b.N {
		mustBeClean(b, l)
	}
	b.ReportMetric(float64(entries)*float64(b.N)/b.Elapsed().Seconds(), "entries/s")
}

// BenchmarkOpen opens a ledger whose views are whole, verifying every row of them.
func BenchmarkOpen(b *testing.B) {
	const entries = 100_000
	dir := b.TempDir()
	fill(b, dir, entries).Close()
	b.ResetTimer()
	var took time.Duration
	for range b.N {
		began := time.Now()
		l := open(b, benchConfig(dir))
		took += time.Since(began)
		l.Close()
	}
	b.ReportMetric(float64(took.Milliseconds())/float64(b.N), "ms/open")
}

func median(waits []time.Duration) float64 {
	slices.Sort(waits)
	return waits[len(waits)/2].Seconds() * 1000
}

// fill makes a ledger of that many entries, in commands of a hundred.
func fill(b *testing.B, dir string, entries int) *Ledger {
	b.Helper()
	l := open(b, benchConfig(dir))
	for n := 0; n < entries; n += 100 {
		var events []Event
		for i := n; i < n+100; i++ {
			if i%10 == 0 {
				events = append(events, adds(fmt.Sprintf("subject-%05d", i%20_000), int64(i)))
			} else {
				events = append(events, benchEvents(0, i)...)
			}
		}
		mustAppend(b, l, does(fmt.Sprint("q-", n), events...))
	}
	return l
}
