package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"
	"time"

	"proofload/server/intake"
	"proofload/server/store"
	"proofload/server/store/index"
	"proofload/server/store/sqlite"
)

// withStore lends a new store and counts only the time of the work.
func (w *world) withStore(ctx context.Context, work func(*sqlite.Store) error) (took time.Duration, err error) {
	file, err := w.newFile()
	if err != nil {
		return 0, err
	}
	s, err := sqlite.Open(ctx, file, sqlite.Options{})
	if err != nil {
		return 0, err
	}
	begin := time.Now()
	err = work(s)
	took = time.Since(begin)
	return took, errors.Join(err, s.Close(), removeStore(file))
}

// withRaw lends a new raw store likewise.
func (w *world) withRaw(work func(*rawStore) error) (took time.Duration, err error) {
	file, err := w.newFile()
	if err != nil {
		return 0, err
	}
	r, err := openRaw(file, sqlite.MaxCache/2)
	if err != nil {
		return 0, err
	}
	begin := time.Now()
	err = work(r)
	took = time.Since(begin)
	return took, errors.Join(err, r.close(), removeStore(file))
}

func importWhole(ctx context.Context, w *world) (measured, error) {
	return w.importParts(ctx, w.size(usualLint))
}

func importParts(ctx context.Context, w *world) (measured, error) {
	return w.importParts(ctx, perPart)
}

// perPart is how many records a publication has where several import a library:
// then some of what queries need is worked into the file in between.
const perPart = 2500

func (w *world) importParts(ctx context.Context, size int) (measured, error) {
	parts := slices.Collect(slices.Chunk(slices.Concat(slices.Collect(w.changes(w.size(usualLint)))...), size))
	return w.imports(ctx, parts, func(ctx context.Context, s store.Store) error {
		for _, part := range parts {
			if _, err := s.Publish(ctx, publication(part...)); err != nil {
				return err
			}
		}
		return nil
	})
}

func importChecked(ctx context.Context, w *world) (measured, error) {
	parts := [][]store.Change{slices.Concat(slices.Collect(w.changes(w.size(usualLint)))...)}
	var documents [][]byte
	for _, c := range parts[0] {
		documents = append(documents, c.Document)
	}
	return w.imports(ctx, parts, func(ctx context.Context, s store.Store) error {
		lib, err := readAll(documents)
		if err != nil {
			return err
		}
		_, err = intake.Fill(ctx, s, lib, judge, "m.orrin", "s.halloway", "measured", today)
		return err
	})
}

func (w *world) imports(ctx context.Context, parts [][]store.Change, ours func(context.Context, store.Store) error) (measured, error) {
	n := 0
	for _, part := range parts {
		n += len(part)
	}
	return w.duel(ctx,
		func(ctx context.Context) (int, time.Duration, error) {
			took, err := w.withStore(ctx, func(s *sqlite.Store) error { return ours(ctx, s) })
			return n, took, err
		},
		func(context.Context) (int, time.Duration, error) {
			took, err := w.withRaw(func(r *rawStore) error {
				for _, part := range parts {
					if err := r.put(part); err != nil {
						return err
					}
				}
				return nil
			})
			return n, took, err
		})
}

// publishing makes a side of writers that each publish one record at a time to a new
// store, for a slice of the line's time.
func (w *world) publishing(writers int, changes []store.Change) side {
	return func(ctx context.Context) (done int, took time.Duration, err error) {
		_, err = w.withStore(ctx, func(s *sqlite.Store) error {
			next := take(changes)
			done, took, err = w.callers(writers, func(ctx context.Context, _ int) error {
				c, err := next()
				if err == nil {
					_, err = s.Publish(ctx, publication(c))
				}
				return err
			})(ctx)
			return err
		})
		return done, took, err
	}
}

// take returns one change after the other to many callers.
func take(changes []store.Change) func() (store.Change, error) {
	var mu sync.Mutex
	i := 0
	return func() (store.Change, error) {
		mu.Lock()
		defer mu.Unlock()
		if i == len(changes) {
			return store.Change{}, fmt.Errorf("all %d records are published; take a shorter -seconds or more -records", i)
		}
		i++
		return changes[i-1], nil
	}
}

// pending returns records to publish, far more than a slice needs.
func (w *world) pending() []store.Change {
	return slices.Concat(slices.Collect(w.changes(max(w.size(usualStored), int(w.time.Seconds()*5000))))...)
}

func publishOne(ctx context.Context, w *world) (measured, error) {
	changes := w.pending()
	return w.duel(ctx, w.publishing(1, changes), func(ctx context.Context) (done int, took time.Duration, err error) {
		_, err = w.withRaw(func(r *rawStore) error {
			next := take(changes)
			done, took, err = w.callers(1, func(context.Context, int) error {
				c, err := next()
				if err == nil {
					err = r.put([]store.Change{c})
				}
				return err
			})(ctx)
			return err
		})
		return done, took, err
	})
}

func publishMany(ctx context.Context, w *world) (measured, error) {
	changes := w.pending()
	return w.duel(ctx, w.publishing(64, changes), w.publishing(1, changes))
}

// search looks for two words of the title of a record drawn at random.
func search(ctx context.Context, w *world) (m measured, err error) {
	file, err := w.library(ctx)
	if err != nil {
		return m, err
	}
	s, err := sqlite.Open(ctx, file, sqlite.Options{})
	if err != nil {
		return m, err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	var queries []string
	names := w.fasteners()
	for _, name := range names[:min(500, len(names))] {
		rev, err := s.GetRevision(ctx, name, 1)
		if err != nil {
			return m, err
		}
		facts, err := index.Of(name, rev.Document)
		if err != nil {
			return m, err
		}
		if words := index.Words(facts.Title); len(words) > 1 {
			w.random.Shuffle(len(words), func(i, j int) { words[i], words[j] = words[j], words[i] })
			queries = append(queries, words[0]+" "+words[1])
		}
	}
	least, most := math.MaxInt, 0
	m, err = w.each(ctx, time.Millisecond, func(ctx context.Context, i int) (time.Duration, error) {
		begin := time.Now()
		hits, err := s.Search(ctx, queries[i%len(queries)], "", 20)
		took := time.Since(begin)
		if err == nil && len(hits) == 0 {
			err = fmt.Errorf("search for %q found nothing", queries[i%len(queries)])
		}
		least, most = min(least, len(hits)), max(most, len(hits))
		return took, err
	})
	m.note = fmt.Sprintf("best 20 of %d records, 90th percentile %s ms", w.size(usualStored), short(quantile(m.ours, 0.9)))
	return m, err
}
