package main

import (
	"context"
	"errors"
	"iter"
	"math/rand/v2"
	"os"
	"path/filepath"
	"time"

	"proofload/server/store"
	"proofload/server/store/sqlite"
	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/library"
	"proofload/tools/bench/corpus"
)

// The sizes of libraries where -records says nothing.
const (
	usualStored = 20_000
	usualLint   = 10_000
	usualFolder = 2_000
)

// world is what the lines share.
type world struct {
	config
	time   time.Duration
	random *rand.Rand
	corpus *corpus.Corpus
	// folder is removed at the end.
	folder string

	// file is the store that holds the library, once a line has needed it.
	file string
	// memory is the library of the lint lines, likewise.
	memory *library.Memory
}

func newWorld(c config) (*world, error) {
	copies, err := corpus.New(demo.Files, c.seed)
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(c.dir, 0o700); err != nil {
		return nil, err
	}
	folder, err := os.MkdirTemp(c.dir, "bench-")
	if err != nil {
		return nil, err
	}
	return &world{
		config: c, time: time.Duration(c.seconds * float64(time.Second)), random: rand.New(rand.NewPCG(c.seed, 0)),
		corpus: copies, folder: folder,
	}, nil
}

func (w *world) close() error { return os.RemoveAll(w.folder) }

// size returns the number of records of a line whose own is usual.
func (w *world) size(usual int) int {
	if w.records > 0 {
		usual = w.records
	}
	return w.corpus.Round(usual)
}

// newFile names a file for a store, in a folder of its own for what the engine puts
// beside it.
func (w *world) newFile() (string, error) {
	folder, err := os.MkdirTemp(w.folder, "store-")
	return filepath.Join(folder, "bench.db"), err
}

func removeStore(file string) error { return os.RemoveAll(filepath.Dir(file)) }

// perTransaction is how many records the stores of the other lines are filled with at
// once.
const perTransaction = 10_000

// changes returns the publications that import a library, one at a time: a library of
// a million does not stay in memory.
func (w *world) changes(n int) iter.Seq[[]store.Change] {
	return func(yield func([]store.Change) bool) {
		var part []store.Change
		for name, document := range w.corpus.Documents(n) {
			if part = append(part, store.Change{Name: name, Document: document}); len(part) == perTransaction {
				if !yield(part) {
					return
				}
				part = nil
			}
		}
		if len(part) > 0 {
			yield(part)
		}
	}
}

func publication(changes ...store.Change) store.Publication {
	return store.Publication{
		Changes: changes, Authors: []string{"m.orrin"}, Reviewer: "s.halloway", Reason: "measured", Time: time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC),
	}
}

// library returns the file of a store that holds the library, which is made once.
func (w *world) library(ctx context.Context) (file string, err error) {
	if w.file != "" {
		return w.file, nil
	}
	if file, err = w.newFile(); err != nil {
		return "", err
	}
	s, err := sqlite.Open(ctx, file, sqlite.Options{})
	if err != nil {
		return "", err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	for part := range w.changes(w.size(usualStored)) {
		if _, err := s.Publish(ctx, publication(part...)); err != nil {
			return "", err
		}
	}
	w.file = file
	return file, nil
}

// fasteners returns the names of the library's fasteners in random order.
func (w *world) fasteners() []specdata.Name {
	var names []specdata.Name
	for _, n := range w.corpus.Names(w.size(usualStored)) {
		if n.Kind() == specdata.KindFastener {
			names = append(names, n)
		}
	}
	w.random.Shuffle(len(names), func(i, j int) { names[i], names[j] = names[j], names[i] })
	return names
}

// read returns the library of the lint lines in memory.
func (w *world) read() (_ *library.Memory, err error) {
	if w.memory == nil {
		w.memory, err = w.corpus.Library(w.size(usualLint))
	}
	return w.memory, err
}
