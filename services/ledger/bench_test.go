package ledger

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

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

// bareFsync appends 290 bytes to a file and syncs it, again and again, for as long as it is told to. It is what everything
// else is compared with, on the same disk and at about the same moment.
func bareFsync(b *testing.B, goOn func() bool) (waits []time.Duration, rate float64) {
	f, err := os.Create(filepath.Join(b.TempDir(), "bare"))
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	line := make([]byte, 290)
	start := time.Now()
	for goOn() {
		began := time.Now()
		if _, err := f.Write(line); err != nil {
			b.Fatal(err)
		}
		if err := f.Sync(); err != nil {
			b.Fatal(err)
		}
		waits = append(waits, time.Since(began))
	}
	return waits, float64(len(waits)) / time.Since(start).Seconds()
}

// BenchmarkBareFsync is what the others are to be compared with.
func BenchmarkBareFsync(b *testing.B) {
	waits, _ := bareFsync(b, b.Loop)
	b.ReportMetric(quantile(waits, 0.5), "p50-ms")
	b.ReportMetric(quantile(waits, 0.99), "p99-ms")
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "ops/s")
	b.ReportMetric(1, "fsyncs/op")
}

// bareNow is the bare rate at this moment: the machine may be another's a minute later.
func bareNow(b *testing.B) float64 {
	end := time.Now().Add(250 * time.Millisecond)
	_, rate := bareFsync(b, func() bool { return time.Now().Before(end) })
	return rate
}

// BenchmarkAppend records commands of one event each: an entry, its tree hashes, its row in the ledger's own view of
// requests and one row of another view. The quantiles are of a client's wait. x-bare is the rate over the bare one, which
// is measured just before and just after.
func BenchmarkAppend(b *testing.B) {
	for _, clients := range []int{1, 8, 64, 512} {
		b.Run(fmt.Sprintf("clients=%d", clients), func(b *testing.B) {
			l := open(b, benchConfig(b.TempDir()))
			var syncs atomic.Int64
			flush := l.disk.flush
			if err := l.inWriter(context.Background(), func() error {
				l.disk.flush = func(f *os.File) error { syncs.Add(1); return flush(f) }
				return nil
			}); err != nil {
				b.Fatal(err)
			}
			bare := bareNow(b)
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
			rate := float64(b.N) / b.Elapsed().Seconds()
			bare = (bare + bareNow(b)) / 2
			all := slices.Concat(waits...)
			b.ReportMetric(rate, "ops/s")
			b.ReportMetric(bare, "bare-ops/s")
			b.ReportMetric(rate/bare, "x-bare")
			b.ReportMetric(float64(syncs.Load())/float64(b.N), "fsyncs/op")
			b.ReportMetric(quantile(all, 0.5), "p50-ms")
			b.ReportMetric(quantile(all, 0.99), "p99-ms")
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

// quantile is in milliseconds.
func quantile(waits []time.Duration, q float64) float64 {
	slices.Sort(waits)
	return waits[int(float64(len(waits)-1)*q)].Seconds() * 1000
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

// BenchmarkExport writes a ledger out; BenchmarkImport would be bounded by the check it ends with.
func BenchmarkExport(b *testing.B) {
	const entries = 100_000
	l := fill(b, b.TempDir(), entries)
	b.ResetTimer()
	for range b.N {
		if _, err := l.Export(context.Background(), io.Discard); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(entries)*float64(b.N)/b.Elapsed().Seconds(), "entries/s")
}
