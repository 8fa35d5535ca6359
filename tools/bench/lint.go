package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"go.yaml.in/yaml/v4"

	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/library"
	"proofload/tools/lint"
	"proofload/tools/lint/rules"
)

// shared does n things on all processors.
func shared(n int, work func(i int) error) error {
	var next atomic.Int64
	errs := make([]error, runtime.GOMAXPROCS(0))
	var wg sync.WaitGroup
	for p := range errs {
		wg.Go(func() {
			const share = 64
			for {
				from := int(next.Add(share)) - share
				if from >= n {
					return
				}
				for i := from; i < min(from+share, n); i++ {
					if err := work(i); err != nil {
						errs[p] = err
						return
					}
				}
			}
		})
	}
	wg.Wait()
	return errors.Join(errs...)
}

// readAll makes a library of stored documents.
func readAll(documents [][]byte) (*library.Memory, error) {
	entries := make([]*library.Entry, len(documents))
	err := shared(len(documents), func(i int) error {
		d, err := document.ReadCanonical(documents[i])
		if err == nil {
			entries[i] = library.NewEntry(d)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return library.NewMemory(entries...)
}

func lintAll(ctx context.Context, lib library.Library) error {
	rep, err := lint.Run(ctx, lint.Options{Rules: rules.All, Library: lib, Date: today})
	if err == nil && rep.Records == 0 {
		err = errors.New("nothing was checked")
	}
	return err
}

func lintStored(ctx context.Context, w *world) (measured, error) {
	var documents [][]byte
	var kinds []specdata.Kind
	for name, text := range w.corpus.Documents(w.size(usualLint)) {
		documents, kinds = append(documents, text), append(kinds, name.Kind())
	}
	return w.duel(ctx,
		batch(len(documents), func(ctx context.Context) error {
			lib, err := readAll(documents)
			if err != nil {
				return err
			}
			return lintAll(ctx, lib)
		}),
		batch(len(documents), func(context.Context) error {
			return shared(len(documents), func(i int) error { return json.Unmarshal(documents[i], specdata.New(kinds[i])) })
		}))
}

func lintYAML(ctx context.Context, w *world) (measured, error) {
	folder := w.corpus.Folder(w.size(usualFolder))
	var texts [][]byte
	err := fs.WalkDir(folder, ".", func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() || path == library.Marker {
			return err
		}
		text, err := fs.ReadFile(folder, path)
		texts = append(texts, text)
		return err
	})
	if err != nil {
		return measured{}, err
	}
	return w.duel(ctx,
		batch(len(texts), func(ctx context.Context) error {
			lib, findings, err := library.ReadFolder(folder, "")
			if err == nil && len(findings) > 0 {
				err = fmt.Errorf("%s: %s", findings[0].File, findings[0].Message)
			}
			if err != nil {
				return err
			}
			return lintAll(ctx, lib)
		}),
		batch(len(texts), func(context.Context) error {
			return shared(len(texts), func(i int) error {
				var n yaml.Node
				return yaml.Unmarshal(texts[i], &n)
			})
		}))
}

// relint does what an editor waits for: one value changes, and what the change may
// have touched is judged again, against the library before it.
func relint(ctx context.Context, w *world) (measured, error) {
	lib, err := w.read()
	if err != nil {
		return measured{}, err
	}
	var fasteners []*library.Entry
	for e := range lib.All(specdata.KindFastener) {
		if bytes.Contains(e.Canonical, []byte(` N.m"`)) {
			fasteners = append(fasteners, e)
		}
	}
	least, most := math.MaxInt, 0
	m, err := w.each(ctx, time.Millisecond, func(ctx context.Context, _ int) (time.Duration, error) {
		old := fasteners[w.random.IntN(len(fasteners))]
		edited := bytes.Replace(old.Canonical, []byte(` N.m"`), []byte(`1 N.m"`), 1)
		begin := time.Now()
		d, err := document.ReadCanonical(edited)
		if err != nil {
			return 0, err
		}
		name := []specdata.Name{old.Name()}
		now := library.Overlay(lib, library.NewEntry(d))
		affected := slices.Concat(lint.Affected(lib, name), lint.Affected(now, name))
		rep, err := lint.Run(ctx, lint.Options{Rules: rules.All, Library: now, Only: affected, Old: lib, Date: today})
		if err == nil {
			least, most = min(least, rep.Records), max(most, rep.Records)
		}
		return time.Since(begin), err
	})
	m.note = fmt.Sprintf("%d records, %d to %d judged again", lib.Len(), least, most)
	return m, err
}
