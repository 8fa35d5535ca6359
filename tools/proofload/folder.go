package main

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"runtime"
	"sync"

	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/lexicon"
	"proofload/specdata/library"
)

// folder is a library: a folder on disk, the embedded demo, or a server's. It
// remembers what it read, so that a second look at a large library reads only the
// files that changed.
type folder struct {
	// server is where the library is fetched from, nil for one in files.
	server *remote

	fsys fs.FS
	// prefix is put before file names in positions.
	prefix string
	// dir is where the folder lies on disk, "" for the demo and a server's library.
	dir string

	mu   sync.Mutex
	read map[string]reading // by file name as positions give it
}

// reading is what was read from one file's bytes.
type reading struct {
	sum      [sha256.Size]byte
	doc      *document.Document
	findings []specdata.Finding
	// comments are those of a file that is no document yet.
	comments []document.Comment
}

// load reads the library as it is now. See library.ReadFolder for the answers.
func (f *folder) load(ctx context.Context) (*library.Memory, []specdata.Finding, error) {
	if f.server != nil {
		lib, err := f.server.load(ctx)
		return lib, nil, err
	}
	if err := f.warm(ctx); err != nil {
		return nil, nil, err
	}
	lib, findings, err := library.ReadFolderBy(f.document, f.fsys, f.prefix)
	if err == nil {
		speak(lib.Words())
	}
	return lib, findings, err
}

// speak makes a library's own words those that this program reads texts by. Words that
// cannot be read are a finding of the folder already.
func speak(words map[string][]string) {
	if own, err := lexicon.Own(words); err == nil {
		lexicon.SetDefault(own)
	}
}

// document reads a file's bytes, or remembers what was read from them.
func (f *folder) document(file string, data []byte) (*document.Document, []specdata.Finding) {
	sum := sha256.Sum256(data)
	f.mu.Lock()
	was, ok := f.read[file]
	f.mu.Unlock()
	if ok && was.sum == sum {
		return was.doc, was.findings
	}
	doc, findings := document.Read(file, data)
	is := reading{sum: sum, doc: doc, findings: findings}
	if doc == nil {
		is.comments = document.CommentsOf(file, data)
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.read == nil {
		f.read = map[string]reading{}
	}
	f.read[file] = is
	return doc, findings
}

// warm reads the files on all processors, which takes most of the time of a run.
// What cannot be read is left for load to report.
func (f *folder) warm(ctx context.Context) error {
	var files []string
	for _, k := range specdata.Kinds {
		for _, ext := range []string{"yaml", "json"} {
			found, err := fs.Glob(f.fsys, k.Collection()+"/*."+ext)
			if err != nil {
				return err
			}
			files = append(files, found...)
		}
	}
	next := make(chan string)
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(files)) {
		wg.Go(func() {
			for name := range next {
				if data, err := fs.ReadFile(f.fsys, name); err == nil {
					f.document(path.Join(f.prefix, name), data)
				}
			}
		})
	}
	for _, name := range files {
		if ctx.Err() != nil {
			break
		}
		next <- name
	}
	close(next)
	wg.Wait()
	return ctx.Err()
}

// stamp tells two states of the folder apart without reading files: it covers the
// name, size and time of all that a run depends on.
func (f *folder) stamp() ([sha256.Size]byte, error) {
	h := sha256.New()
	for _, dir := range append(collectionNames(), "rules", library.Marker) {
		err := fs.WalkDir(f.fsys, dir, func(name string, d fs.DirEntry, err error) error {
			if errors.Is(err, fs.ErrNotExist) {
				return nil
			}
			if err != nil {
				return err
			}
			info, err := fs.Stat(f.fsys, name)
			if err == nil {
				fmt.Fprintln(h, name, info.Size(), info.ModTime().UnixNano())
			}
			return nil
		})
		if err != nil {
			return [sha256.Size]byte{}, fmt.Errorf("folder %s cannot be read: %w", path.Join(f.prefix, dir), reason(err))
		}
	}
	return [sha256.Size]byte(h.Sum(nil)), nil
}
