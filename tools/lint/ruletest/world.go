package ruletest

import (
	"embed"
	"fmt"
	"io/fs"
	"strings"
	"sync"

	"proofload/specdata/document"
	"proofload/specdata/library"
)

//go:embed world workshop pattern
var worldFiles embed.FS

// World returns the shared valid world as a library, for tests that want one
// without a case.
func World() (*library.Memory, error) { return joined(world) }

// Workshop returns the world and the workshop as a library: two more corners of the
// same vehicle with all that a dry run acts on, and a whole job on each.
func Workshop() (*library.Memory, error) { return joined(world, workshop) }

func joined(parts ...func() ([]*library.Entry, error)) (*library.Memory, error) {
	var all []*library.Entry
	for _, part := range parts {
		entries, err := part()
		if err != nil {
			return nil, err
		}
		all = append(all, entries...)
	}
	return library.NewMemory(all...)
}

// The embedded folders are read once a process.
var (
	world    = sync.OnceValues(func() ([]*library.Entry, error) { return readWorld("world") })
	workshop = sync.OnceValues(func() ([]*library.Entry, error) { return readWorld("workshop") })
)

func readWorld(folder string) ([]*library.Entry, error) {
	var entries []*library.Entry
	err := fs.WalkDir(worldFiles, folder, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := worldFiles.ReadFile(path)
		if err != nil {
			return err
		}
		name := strings.TrimPrefix(path, folder+"/")
		doc, findings := document.Read(name, data)
		if doc == nil {
			return fmt.Errorf("%s/%s cannot be read: %s", folder, name, findingsText(findings))
		}
		entries = append(entries, library.NewEntry(doc))
		return nil
	})
	return entries, err
}
