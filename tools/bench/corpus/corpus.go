// Package corpus multiplies a small library into one of any size.
//
// Every copy has ids, titles and models of its own and refers to itself only, so that
// a clean library stays one. The same seed gives the same bytes.
package corpus

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io/fs"
	"iter"
	"math/rand/v2"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing/fstest"

	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/library"
)

// Corpus is a library that can be had many times over.
type Corpus struct {
	seed    uint64
	marker  []byte
	records []record
}

// record is one record of the original, in both its forms.
type record struct {
	name            specdata.Name
	yaml, canonical pattern
}

// New reads the original from a folder, whose every file must be a good record as
// YAML. The error names the first that is not.
func New(fsys fs.FS, seed uint64) (*Corpus, error) {
	lib, findings, err := library.ReadFolder(fsys, "")
	if err != nil {
		return nil, err
	}
	if len(findings) > 0 {
		return nil, fmt.Errorf("%s:%d: %s", findings[0].File, findings[0].Line, findings[0].Message)
	}
	c := &Corpus{seed: seed}
	if c.marker, err = fs.ReadFile(fsys, library.Marker); err != nil {
		return nil, err
	}
	ids := map[string]bool{}
	for _, k := range specdata.Kinds {
		for id := range library.IDs(lib, k) {
			ids[id] = true
		}
	}
	for _, k := range specdata.Kinds {
		for e := range lib.All(k) {
			text, err := fs.ReadFile(fsys, string(e.Name())+".yaml")
			if err != nil {
				return nil, err
			}
			marked, err := markNames(e)
			if err != nil {
				return nil, fmt.Errorf("record %s: %w", e.Name(), err)
			}
			yaml := nameLine.ReplaceAllString(string(text), "${1}"+mark)
			c.records = append(c.records, record{e.Name(), cut(yaml, ids), cut(marked, ids)})
		}
	}
	if len(c.records) == 0 {
		return nil, fmt.Errorf("library has no record to multiply")
	}
	return c, nil
}

// mark is where the word of the copy goes, in front of a title or a model: the last
// word of a title is the thing that sentences call it by ("its nut"). No document has
// it.
const mark = "\uE000"

var nameLine = regexp.MustCompile(`(?m)^((?:title|model): ['"]?)`)

// markNames returns the canonical document with a mark in front of the record's own title
// and model.
func markNames(e *library.Entry) (string, error) {
	var members map[string]any
	d := json.NewDecoder(bytes.NewReader(e.Canonical))
	d.UseNumber()
	if err := d.Decode(&members); err != nil {
		return "", err
	}
	for _, key := range []string{"title", "model"} {
		if text, ok := members[key].(string); ok {
			members[key] = mark + text
		}
	}
	marked, err := json.Marshal(members)
	if err != nil {
		return "", err
	}
	canonical, err := document.Canonicalize(marked)
	return string(canonical), err
}

// pattern is a text cut where a copy puts something of its own: its prefix in front
// of an id, its word at a mark.
type pattern struct {
	parts []string
	// marks tells, for each cut, whether it is a mark.
	marks []bool
}

var token = regexp.MustCompile(`[a-z0-9]+(?:-[a-z0-9]+)*|` + mark)

func cut(text string, ids map[string]bool) pattern {
	var p pattern
	from := 0
	for _, at := range token.FindAllStringIndex(text, -1) {
		switch word := text[at[0]:at[1]]; {
		case word == mark:
			p.parts, p.marks = append(p.parts, text[from:at[0]]), append(p.marks, true)
			from = at[1]
		case ids[word]:
			p.parts, p.marks = append(p.parts, text[from:at[0]]), append(p.marks, false)
			from = at[0]
		}
	}
	p.parts = append(p.parts, text[from:])
	return p
}

func (p pattern) fill(b []byte, prefix, word string) []byte {
	for i, part := range p.parts {
		b = append(b, part...)
		switch {
		case i == len(p.marks):
		case p.marks[i]:
			b = append(append(b, word...), ' ')
		default:
			b = append(b, prefix...)
		}
	}
	return b
}

// Size is the number of records of one copy.
func (c *Corpus) Size() int { return len(c.records) }

// Round returns the number of records in the fewest whole copies that have at least n.
func (c *Corpus) Round(n int) int { return (n + c.Size() - 1) / c.Size() * c.Size() }

// own returns what copy i puts in front of its ids, and of its titles and models. The
// words are spread over the alphabet, so that copies made one after the other do not
// lie beside each other in an index.
func (c *Corpus) own(i int) (prefix, word string) {
	r := rand.New(rand.NewPCG(c.seed, uint64(i)))
	syllables := []string{"bal", "cor", "den", "fir", "gal", "hol", "jun", "kel", "lor", "mer", "nol", "pol", "ras", "sen", "tor", "ulm", "ven", "wol", "yor", "zan"}
	for range 2 {
		word += syllables[r.IntN(len(syllables))]
	}
	return word + strconv.FormatInt(int64(i), 36) + "-", strings.ToUpper(word[:1]) + word[1:]
}

// Documents returns at least n canonical documents in whole copies, with their names.
func (c *Corpus) Documents(n int) iter.Seq2[specdata.Name, []byte] {
	return func(yield func(specdata.Name, []byte) bool) {
		for i := range c.Round(n) / c.Size() {
			prefix, word := c.own(i)
			for _, r := range c.records {
				if !yield(specdata.NewName(r.name.Kind(), prefix+r.name.ID()), r.canonical.fill(nil, prefix, word)) {
					return
				}
			}
		}
	}
}

// Library returns at least n records in whole copies, read.
func (c *Corpus) Library(n int) (*library.Memory, error) {
	var entries []*library.Entry
	for name, text := range c.Documents(n) {
		d, err := document.ReadCanonical(text)
		if err != nil {
			return nil, fmt.Errorf("copy %s: %w", name, err)
		}
		entries = append(entries, library.NewEntry(d))
	}
	return library.NewMemory(entries...)
}

// Folder returns at least n records in whole copies as a library's folder of YAML.
func (c *Corpus) Folder(n int) fs.FS {
	files := fstest.MapFS{library.Marker: {Data: c.marker, Mode: 0o644}}
	for i := range c.Round(n) / c.Size() {
		prefix, word := c.own(i)
		for _, r := range c.records {
			file := path.Join(r.name.Kind().Collection(), prefix+r.name.ID()+".yaml")
			files[file] = &fstest.MapFile{Data: r.yaml.fill(nil, prefix, word), Mode: 0o644}
		}
	}
	return files
}

// Names returns the names that Documents gives.
func (c *Corpus) Names(n int) []specdata.Name {
	return slices.Collect(func(yield func(specdata.Name) bool) {
		for i := range c.Round(n) / c.Size() {
			prefix, _ := c.own(i)
			for _, r := range c.records {
				if !yield(specdata.NewName(r.name.Kind(), prefix+r.name.ID())) {
					return
				}
			}
		}
	})
}
