package transfer

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path"
	"path/filepath"
	"slices"

	"proofload/server/store"
	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/library"
)

// Export writes the records in force at a position into a folder, as a library that
// library.ReadFolder reads and whose documents are canonically the same: one YAML
// file a record, and the marker. It gives the number of records.
//
// The folder appears whole or not at all. It must not be there yet, or be empty.
func Export(ctx context.Context, s store.Store, position int64, marker document.Marker, dir string) (int, error) {
	if marker.Words == nil {
		words, err := Words(ctx, s)
		if err != nil {
			return 0, err
		}
		marker.Words = words
	}
	return export(marker, dir, func(dir string) (int, error) { return exportStore(ctx, s, position, dir) })
}

// ExportLibrary is Export of a library in memory.
func ExportLibrary(lib *library.Memory, marker document.Marker, dir string) (int, error) {
	return export(marker, dir, func(dir string) (int, error) {
		n := 0
		for _, k := range specdata.Kinds {
			first := true
			for e := range lib.All(k) {
				if err := exportRecord(e.Name(), e.Hash, e.Canonical, dir, first); err != nil {
					return 0, err
				}
				first = false
				n++
			}
		}
		return n, nil
	})
}

// export makes a folder with the marker and what fill puts there.
func export(marker document.Marker, dir string, fill func(dir string) (int, error)) (int, error) {
	if err := vacant(dir); err != nil {
		return 0, err
	}
	tmp, err := os.MkdirTemp(filepath.Dir(dir), ".proofload-export-*")
	if err != nil {
		return 0, fmt.Errorf("export folder %s cannot be made: %w", dir, err)
	}
	defer os.RemoveAll(tmp) // finds nothing after the rename
	if err := writeMarker(marker, filepath.Join(tmp, library.Marker)); err != nil {
		return 0, err
	}
	n, err := fill(tmp)
	if err != nil {
		return 0, err
	}
	if err := os.Chmod(tmp, 0o755); err != nil {
		return 0, fmt.Errorf("export folder %s: %w", dir, err)
	}
	if err := os.Remove(dir); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return 0, fmt.Errorf("export folder %s cannot be replaced: %w", dir, err)
	}
	if err := os.Rename(tmp, dir); err != nil {
		return 0, fmt.Errorf("export folder %s cannot be put in place: %w", dir, err)
	}
	return n, nil
}

// vacant refuses a target that holds something.
func vacant(dir string) error {
	entries, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return fmt.Errorf("export folder %s: %w", dir, err)
	case len(entries) > 0:
		return fmt.Errorf("export folder %s holds %s already; name one that is empty or not there yet", dir, entries[0].Name())
	}
	return nil
}

func exportStore(ctx context.Context, s store.Store, position int64, dir string) (int, error) {
	n := 0
	for _, k := range specdata.Kinds {
		q := store.Query{Kind: k, Limit: store.MaxLimit}
		for {
			page, err := s.List(ctx, q, position)
			if err != nil {
				return 0, err
			}
			for i, r := range page {
				if err := exportRecord(r.Name, r.Hash, r.Document, dir, i == 0 && q.After == ""); err != nil {
					return 0, err
				}
			}
			n += len(page)
			if len(page) < q.Limit {
				break
			}
			q.After = page[len(page)-1].Name.ID()
		}
	}
	return n, nil
}

// exportRecord writes one record as YAML, or as the canonical JSON itself where
// today's schema does not take the document, which an older one did. The first of a
// collection makes its folder.
func exportRecord(name specdata.Name, hash string, canonical []byte, dir string, first bool) error {
	if first {
		if err := os.Mkdir(filepath.Join(dir, name.Kind().Collection()), 0o755); err != nil {
			return fmt.Errorf("export folder: %w", err)
		}
	}
	file := string(name) + ".yaml"
	content, err := document.Format(canonical)
	if err == nil {
		// What is written is read back before anyone relies on it.
		if d, findings := document.Read(path.Clean(file), content); d == nil {
			err = fmt.Errorf("record %s reads back with a finding: %s", name, findings[0].Message)
		} else if d.Hash != hash {
			err = fmt.Errorf("record %s reads back as another document", name)
		}
	}
	if err != nil {
		file, content = string(name)+".json", canonical
	}
	if err := os.WriteFile(filepath.Join(dir, filepath.FromSlash(file)), content, 0o644); err != nil {
		return fmt.Errorf("export of %s: %w", name, err)
	}
	return nil
}

func writeMarker(m document.Marker, file string) error {
	text := "library: " + m.Library + "\ntitle: " + quoted(m.Title) + "\n"
	if m.Notice != "" {
		text += "notice: " + quoted(m.Notice) + "\n"
	}
	if len(m.Words) > 0 {
		text += "words:\n"
		for _, id := range slices.Sorted(maps.Keys(m.Words)) {
			text += "  " + id + ":\n"
			for _, word := range m.Words[id] {
				text += "    - " + quoted(word) + "\n"
			}
		}
	}
	if _, findings := document.ReadMarker(library.Marker, []byte(text)); len(findings) > 0 {
		return fmt.Errorf("export: %s: %s", library.Marker, findings[0].Message)
	}
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		return fmt.Errorf("export: %w", err)
	}
	return nil
}

// quoted is a text as YAML, which takes JSON's strings.
func quoted(s string) string {
	b, err := json.Marshal(s)
	if err != nil {
		return `""` // strings always encode
	}
	return string(b)
}
