package library

import (
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/lexicon"
)

// Marker is the file at the root of a folder that says it is a library.
const Marker = "proofload.yaml"

// The findings about a folder itself.
const (
	// RuleStrayFile: a file or folder that looks meant for the library and is not read.
	RuleStrayFile = "stray-file"
	// RuleDuplicateRecord: one record in two files.
	RuleDuplicateRecord = "duplicate-record"
)

// ReadFolder reads a library from a folder: the marker, and records as
// <collection>/<id>.yaml or .json. The prefix is put before file names in positions.
// The findings say what is wrong with files, in order of place; documents with
// findings are left out of the library. What is plainly not meant for the library (a
// README, a folder of notes, names that begin with a full stop) is left alone. The
// error says that the folder could not be read at all.
func ReadFolder(fsys fs.FS, prefix string) (*Memory, []specdata.Finding, error) {
	return ReadFolderBy(document.Read, fsys, prefix)
}

// ReadFolderBy is ReadFolder with another way to read a document, for those who
// read a folder again and keep what they read of files that have not changed.
func ReadFolderBy(read func(file string, data []byte) (*document.Document, []specdata.Finding), fsys fs.FS, prefix string) (*Memory, []specdata.Finding, error) {
	f := folder{fsys: fsys, prefix: prefix, read: read, unread: map[specdata.Name]string{}}
	root, err := fs.ReadDir(fsys, ".")
	if err != nil {
		return nil, nil, fmt.Errorf("library folder %s cannot be read: %w", path.Join(prefix, "."), err)
	}
	for _, e := range root {
		if err := f.top(e); err != nil {
			return nil, nil, err
		}
	}
	m, err := NewMemory(f.entries...)
	if err != nil {
		return nil, nil, err
	}
	m.unread, m.words = f.unread, f.words
	specdata.SortFindings(f.findings)
	return m, f.findings, nil
}

type folder struct {
	fsys     fs.FS
	prefix   string
	read     func(file string, data []byte) (*document.Document, []specdata.Finding)
	entries  []*Entry
	findings []specdata.Finding
	unread   map[specdata.Name]string
	words    map[string][]string
}

// top takes one entry of the root.
func (f *folder) top(e fs.DirEntry) error {
	switch _, known := specdata.KindOf(e.Name()); {
	case strings.HasPrefix(e.Name(), "."):
	case e.IsDir() && known:
		return f.collection(e.Name())
	case e.IsDir():
		if right := collectionLike(e.Name()); right != "" {
			f.say(RuleStrayFile, e.Name(), "folder %s is not read; allowed: %s; rename it to %s or move it out of the library", e.Name(), strings.Join(collectionNames, ", "), right)
		}
	case e.Name() == Marker:
		return f.marker()
	}
	return nil
}

// collectionLike returns the collection that a folder's name was probably meant to be, "" if none.
func collectionLike(name string) string {
	name = strings.ToLower(name)
	if c := specdata.Kind(name).Collection(); c != "" {
		return c
	}
	if slices.Contains(collectionNames, name) {
		return name
	}
	return specdata.Nearest(name, slices.Values(collectionNames))
}

// marker reads the file that says what the library is.
func (f *folder) marker() error {
	data, err := fs.ReadFile(f.fsys, Marker)
	if err != nil {
		return f.unreadable(Marker, err)
	}
	m, findings := document.ReadMarker(path.Join(f.prefix, Marker), data)
	f.findings = append(f.findings, findings...)
	if _, err := lexicon.Own(m.Words); err != nil {
		f.say(document.RuleSchema, Marker, "words cannot be read: %v", err)
		return nil
	}
	f.words = m.Words
	return nil
}

// collection reads the records of one folder.
func (f *folder) collection(name string) error {
	files, err := fs.ReadDir(f.fsys, name)
	if err != nil {
		return f.unreadable(name, err)
	}
	first := map[string]string{} // by id, the file that has it
	for _, e := range files {
		file := path.Join(name, e.Name())
		switch id := strings.TrimSuffix(e.Name(), path.Ext(e.Name())); {
		case strings.HasPrefix(e.Name(), "."):
		case e.IsDir():
			f.say(RuleStrayFile, file, "folder %s lies inside a collection and is not read; put its records into %s itself", file, name)
		case !isDocument(e.Name()):
			if ext := strings.ToLower(path.Ext(e.Name())); ext == ".yml" || isDocument(ext) {
				f.say(RuleStrayFile, file, "file %s is not read; allowed: <id>.yaml and <id>.json; rename it to %s%s", file, id, strings.Replace(ext, "yml", "yaml", 1))
			}
		case first[id] != "":
			f.say(RuleDuplicateRecord, file, "record %s/%s stands in %s and in %s; keep one", name, id, first[id], e.Name())
		default:
			first[id] = e.Name()
			if err := f.record(file); err != nil {
				return err
			}
		}
	}
	return nil
}

func (f *folder) record(file string) error {
	data, err := fs.ReadFile(f.fsys, file)
	if err != nil {
		return f.unreadable(file, err)
	}
	d, findings := f.read(path.Join(f.prefix, file), data)
	f.findings = append(f.findings, findings...)
	if d != nil {
		f.entries = append(f.entries, NewEntry(d))
	} else if name, err := specdata.ParseName(strings.TrimSuffix(file, path.Ext(file))); err == nil {
		f.unread[name] = path.Join(f.prefix, file)
	}
	return nil
}

func (f *folder) say(rule, file, format string, args ...any) {
	f.findings = append(f.findings, specdata.Finding{
		Rule: rule, Severity: specdata.Error,
		Position: specdata.Position{File: path.Join(f.prefix, file), Line: 1, Column: 1},
		Message:  fmt.Sprintf(format, args...),
	})
}

// unreadable wraps an error of the file system, whose text names the file already.
func (f *folder) unreadable(file string, err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		err = pe.Err
	}
	return fmt.Errorf("library file %s cannot be read: %w", path.Join(f.prefix, file), err)
}

func isDocument(name string) bool {
	ext := path.Ext(name)
	return ext == ".yaml" || ext == ".json"
}

var collectionNames = func() []string {
	var out []string
	for _, k := range specdata.Kinds {
		out = append(out, k.Collection())
	}
	return out
}()
