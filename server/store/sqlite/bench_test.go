package sqlite

import (
	"fmt"
	"net/url"
	"path/filepath"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/ncruces/go-sqlite3"

	"proofload/server/store"
	"proofload/server/store/storetest"
	"proofload/specdata"
)

// The benchmarks stand beside what they are measured against: the same bytes through
// plain prepared statements of the same engine with the same settings, one table.

// rawStore is the ceiling: name and document in one table.
func rawStore(b *testing.B) *conn {
	uri := url.URL{Scheme: "file", Path: filepath.ToSlash(filepath.Join(b.TempDir(), "raw.db"))}
	c, err := dial(b.Context(), uri.String(), MaxCache/2)
	if err == nil {
		err = c.EnableChecksums("main")
	}
	if err == nil {
		err = c.Exec(`PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; CREATE TABLE raw (name TEXT PRIMARY KEY, document BLOB NOT NULL) STRICT`)
	}
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { c.close() })
	return c
}

func rawInsert(b *testing.B, c *conn, changes []store.Change) {
	err := c.q(`BEGIN IMMEDIATE`).run()
	for _, ch := range changes {
		if err == nil {
			err = c.q(`INSERT INTO raw (name, document) VALUES ($1, $2)`).text(string(ch.Name)).blob(ch.Document).run()
		}
	}
	if err == nil {
		err = c.q(`COMMIT`).run()
	}
	if err != nil {
		b.Fatal(err)
	}
}

// library makes n different fasteners, as a library of several vehicles has them.
func benchLibrary(b *testing.B, n int) []store.Change {
	places := []string{"rear hub", "front hub", "wheel", "sump", "front subframe", "steering column"}
	threads := []string{"M6x1", "M8x1.25", "M10x1.25", "M12x1.5", "M14x1.5", "7/16-20 UNF"}
	changes := make([]store.Change, n)
	for i := range changes {
		// Spread like random names, yet the same in every run.
		key := uint32(i) * 2654435761
		changes[i] = storetest.Put(b, storetest.Fastener(fmt.Sprintf("quill-%d-carrier-bolt-%010d", key%97, key), fmt.Sprintf("Carrier bolt %d", key%1000),
			places[key%6], threads[key/7%6], specdata.JointKinds[key%4], 60+int(key%200), fmt.Sprintf("quill-chassis-%d", key%11), fmt.Sprintf("quill-%d", key%97)), 0)
	}
	return changes
}

// duel runs raw and store in turn, share operations each, so that both meet the same
// noise, and reports the time of each and the ratio of their medians and sums.
func duel(b *testing.B, share int, raw, store func(i int)) {
	var times [2][]float64
	next := [2]int{}
	run := func(side int, work func(int)) {
		for range share {
			start := time.Now()
			work(next[side])
			times[side] = append(times[side], float64(time.Since(start).Nanoseconds()))
			next[side]++
		}
	}
	for b.Loop() {
		run(0, raw)
		run(1, store)
	}
	var median, mean [2]float64
	for i, ts := range times {
		slices.Sort(ts)
		median[i] = ts[len(ts)/2]
		for _, t := range ts {
			mean[i] += t / float64(len(ts))
		}
	}
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(median[0], "raw-median-ns")
	b.ReportMetric(median[1], "store-median-ns")
	b.ReportMetric(median[0]/median[1], "ratio-of-medians")
	b.ReportMetric(mean[0]/mean[1], "ratio-of-means")
}

// settled waits until the tail is short, so that moving it is not measured by accident.
func settled(b *testing.B, s *Store) {
	for len(s.tail.snapshot()) >= tailLength {
		if b.Context().Err() != nil {
			b.Fatal(b.Context().Err())
		}
		time.Sleep(time.Millisecond)
	}
}

func BenchmarkGet(b *testing.B) {
	changes := benchLibrary(b, 20000)
	raw := rawStore(b)
	rawInsert(b, raw, changes)
	s := openTest(b, filepath.Join(b.TempDir(), "bench.db"))
	if _, err := s.Publish(b.Context(), storetest.Publication(1, changes...)); err != nil {
		b.Fatal(err)
	}
	settled(b, s)
	ctx := b.Context()
	duel(b, 100, func(i int) {
		var document []byte
		if err := raw.q(`SELECT document FROM raw WHERE name = $1`).text(string(changes[i*7919%len(changes)].Name)).each(func(r *sqlite3.Stmt) error {
			document = r.ColumnBlob(0, nil)
			return nil
		}); err != nil || len(document) == 0 {
			b.Fatal(err)
		}
	}, func(i int) {
		if _, err := s.Get(ctx, changes[i*7919%len(changes)].Name, 1); err != nil {
			b.Fatal(err)
		}
	})
}

// BenchmarkPublish measures durable publications of one record each by one caller.
func BenchmarkPublish(b *testing.B) {
	changes := benchLibrary(b, 100000)
	ctx := b.Context()
	b.Run("new", func(b *testing.B) {
		raw := rawStore(b)
		s := openTest(b, filepath.Join(b.TempDir(), "bench.db"))
		duel(b, 50, func(i int) { rawInsert(b, raw, changes[i:i+1]) }, func(i int) {
			if _, err := s.Publish(ctx, storetest.Publication(1, changes[i])); err != nil {
				b.Fatal(err)
			}
		})
	})
	// What a correction does: another value for a record that is there.
	b.Run("correction", func(b *testing.B) {
		const n = 20000
		raw := rawStore(b)
		rawInsert(b, raw, changes[:n])
		s := openTest(b, filepath.Join(b.TempDir(), "bench.db"))
		if _, err := s.Publish(ctx, storetest.Publication(1, changes[:n]...)); err != nil {
			b.Fatal(err)
		}
		settled(b, s)
		duel(b, 50, func(i int) { rawInsert(b, raw, changes[n+i:n+i+1]) }, func(i int) {
			c := changes[i%n]
			c.Base = int64(i/n) + 1
			if _, err := s.Publish(ctx, storetest.Publication(1, c)); err != nil {
				b.Fatal(err)
			}
		})
	})
}

// BenchmarkPublishers measures the same by several callers at once, whose
// publications share transactions.
func BenchmarkPublishers(b *testing.B) {
	changes := benchLibrary(b, 100000)
	for _, writers := range []int{1, 8, 64} {
		b.Run(strconv.Itoa(writers), func(b *testing.B) {
			s := openTest(b, filepath.Join(b.TempDir(), "bench.db"))
			var next atomic.Int64
			var wg sync.WaitGroup
			b.ResetTimer()
			for range writers {
				wg.Go(func() {
					for i := next.Add(1) - 1; i < int64(b.N); i = next.Add(1) - 1 {
						if _, err := s.Publish(b.Context(), storetest.Publication(1, changes[i])); err != nil {
							b.Error(err)
							return
						}
					}
				})
			}
			wg.Wait()
			b.StopTimer()
		})
	}
}

// BenchmarkImport measures one publication of many records, until it is acknowledged
// and until its terms and words are in the file.
func BenchmarkImport(b *testing.B) {
	const n = 20000
	changes := benchLibrary(b, n)
	var times [3]time.Duration
	for b.Loop() {
		raw := rawStore(b)
		start := time.Now()
		rawInsert(b, raw, changes)
		times[0] += time.Since(start)
		s := openTest(b, filepath.Join(b.TempDir(), "bench.db"))
		start = time.Now()
		if _, err := s.Publish(b.Context(), storetest.Publication(1, changes...)); err != nil {
			b.Fatal(err)
		}
		times[1] += time.Since(start)
		settled(b, s)
		times[2] += time.Since(start)
	}
	per := func(t time.Duration) float64 { return float64(t.Nanoseconds()) / float64(n*b.N) }
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(per(times[0]), "raw-ns/record")
	b.ReportMetric(per(times[1]), "store-ns/record")
	b.ReportMetric(per(times[2]), "settled-ns/record")
	b.ReportMetric(per(times[0])/per(times[1]), "ratio")
	b.ReportMetric(per(times[0])/per(times[2]), "ratio-settled")
}
