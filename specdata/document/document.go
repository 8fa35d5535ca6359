// Package document turns bytes into records and back. It is strict: everything
// that two readers could read differently is refused, with its place, what was
// found, what is allowed and how to mend it.
package document

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"path"
	"slices"
	"strings"

	"proofload/schema"
	"proofload/specdata"
)

// The rules a reader may report. All are errors and nothing waives them.
const (
	// RuleSyntax: not YAML or JSON at all, or not UTF-8.
	RuleSyntax = "syntax"
	// RuleLimits: too large, too deep, too many.
	RuleLimits = "limits"
	// RuleDuplicateKey: one key twice in an object.
	RuleDuplicateKey = "duplicate-key"
	// RulePlainYAML: anchors, aliases, merge keys, tags, several documents in a file.
	RulePlainYAML = "plain-yaml"
	// RuleExactScalar: a value that does not format back to itself, like 010 or yes.
	RuleExactScalar = "exact-scalar"
	// RuleSchema: not the form of its kind.
	RuleSchema = "schema"
	// RuleNameDisagrees: the folder or file name says another record than the content.
	RuleNameDisagrees = "name-disagrees"
)

// Document is a record with the form it was read from.
type Document struct {
	Record specdata.Record
	// Canonical is the RFC 8785 form, which is hashed, signed and stored.
	Canonical []byte
	// Hash is the SHA-256 of Canonical, lower-case hex.
	Hash string
	// File is the name it was read under, "" for a document from the store.
	File string

	root     *node
	comments []Comment
}

// Comment is a comment of a YAML file.
type Comment struct {
	// Line counts from 1.
	Line int
	// Text begins behind the number sign and has no spaces at its ends.
	Text string

	offset int // of the number sign in its line, where a full reader found it
}

// Comments lists the comments of a YAML document in order of line.
func (d *Document) Comments() []Comment { return d.comments }

// CommentsOf lists the comments of a text that may be no document yet, in order of line;
// nil where it is not even YAML.
func CommentsOf(file string, data []byte) []Comment {
	r := &reader{file: file}
	_, cs := r.tree(data)
	return cs
}

// Todo returns what a comment says is still to be done; ok is false for other comments.
func (c Comment) Todo() (what string, ok bool) {
	const mark = "todo"
	if len(c.Text) < len(mark) || !strings.EqualFold(c.Text[:len(mark)], mark) {
		return "", false
	}
	return strings.TrimLeft(c.Text[len(mark):], ": "), true
}

// Locate returns the place of a JSON pointer: a plain value where it stands, an
// object or list at its key, an absent member at the nearest thing that is there.
// It is the zero Position for a document from the store.
func (d *Document) Locate(pointer string) specdata.Position {
	if d == nil || d.root == nil {
		return specdata.Position{}
	}
	line, column := d.root.locate(pointer)
	return specdata.Position{File: d.File, Line: int(line), Column: int(column)}
}

// Read reads one document, YAML or JSON by the ending of the file's name, else by
// the first byte that is not a space. On any finding the document is nil. The
// findings name every slip that could be told apart, in order of place, at most a
// hundred of them.
func Read(file string, data []byte) (*Document, []specdata.Finding) {
	r := &reader{file: file}
	d := r.read(data)
	if fs := r.sorted(); fs != nil {
		return nil, fs
	}
	return d, nil
}

// Marker is the content of proofload.yaml, the file that says a folder is a library.
type Marker struct {
	Library string `json:"library"`
	Title   string `json:"title"`
	// Notice is what every reader of the library must be told.
	Notice string `json:"notice,omitempty"`
	// Words are the shop's own, by the id of the concept of package lexicon that they are
	// said for, or by a new id.
	Words map[string][]string `json:"words,omitempty"`
}

// ReadMarker reads the file that says a folder is a library, as strictly as a record.
func ReadMarker(file string, data []byte) (Marker, []specdata.Finding) {
	r := &reader{file: file}
	var m Marker
	if root, _ := r.tree(data); root != nil {
		if canonical := r.canonical(schema.Library, root); canonical != nil {
			if err := json.Unmarshal(canonical, &m); err != nil {
				r.say(RuleSchema, "", root.line, root.column, "", "%v", err)
			}
		}
	}
	return m, r.sorted()
}

// ReadCanonical reads a document in canonical form, as the store holds it. Any
// other form is an error, because its hash would not be the one that was signed. The
// document keeps data, which must not be changed afterwards.
func ReadCanonical(data []byte) (*Document, error) {
	if kind, ok := quickKind(data); ok && schema.SurelyValid(kind, data) && !seesUnseen(data) {
		rec, err := decode(kind, data)
		if err != nil {
			return nil, fmt.Errorf("document cannot be decoded: %w", err)
		}
		return &Document{Record: rec, Canonical: data, Hash: hash(data)}, nil
	}
	r := &reader{file: ".json"}
	d := r.read(data)
	if fs := r.sorted(); len(fs) > 0 {
		f := fs[0]
		return nil, fmt.Errorf("document is refused by %s at %q: %s", f.Rule, f.Pointer, f.Message)
	}
	if !bytes.Equal(d.Canonical, data) {
		return nil, fmt.Errorf("document %s is not in canonical form (RFC 8785); canonicalise it before it is stored", d.Record.Name())
	}
	d.File, d.root = "", nil
	return d, nil
}

// seesUnseen reports whether canonical bytes hold a character that nobody sees.
func seesUnseen(data []byte) bool {
	_, _, ok := specdata.Unseen(data)
	return ok
}

// surelySmall is a size below which no document reaches the limit on keys, which
// the quick check does not count: a member takes six bytes at least.
const surelySmall = 6 * MaxKeys

// quickKind finds the kind of a canonical document without reading it. No member
// below the top has one of the five as its kind, and in text the quotes would be escaped.
func quickKind(data []byte) (specdata.Kind, bool) {
	if len(data) > surelySmall {
		return "", false
	}
	for _, k := range quickKinds {
		if bytes.Contains(data, k.member) {
			return k.kind, true
		}
	}
	return "", false
}

type kindMember struct {
	kind   specdata.Kind
	member []byte
}

var quickKinds = func() []kindMember {
	// Fasteners first: most records are.
	ks := []kindMember{{specdata.KindFastener, nil}}
	for _, k := range specdata.Kinds {
		if k != specdata.KindFastener {
			ks = append(ks, kindMember{k, nil})
		}
	}
	for i := range ks {
		ks[i].member = []byte(`"kind":"` + string(ks[i].kind) + `"`)
	}
	return ks
}()

// reader collects what is wrong with one file.
type reader struct {
	file     string
	findings []specdata.Finding
	// record is whose document it is, as far as that is known.
	record specdata.Name
	// partial says that something could not be read at all, so that what is missing
	// from the tree says nothing.
	partial bool
	// comments are those of the file, as far as it could be read.
	comments []Comment
}

// sorted returns the findings in order of place, not more than anybody reads, each
// with the record it is about: that of the content, else the one the file is named after.
func (r *reader) sorted() []specdata.Finding {
	if len(r.findings) == 0 {
		return nil
	}
	if r.record == "" {
		collection, id, _ := r.fileName()
		r.record, _ = specdata.ParseName(collection + "/" + id)
	}
	specdata.SortFindings(r.findings)
	fs := r.findings[:min(len(r.findings), schema.MaxViolations)]
	if len(fs) == schema.MaxViolations {
		fs[len(fs)-1].Message += fmt.Sprintf("; at most %d findings of a file are listed, what else is wrong shows once these are mended", schema.MaxViolations)
	}
	for i := range fs {
		fs[i].Record = r.record
		fs[i].Identify(fs[i].Pointer)
	}
	return fs
}

func (r *reader) say(rule, pointer string, line, column int32, value, format string, args ...any) {
	r.findings = append(r.findings, specdata.Finding{
		Rule: rule, Severity: specdata.Error, Pointer: pointer,
		Position: specdata.Position{File: r.file, Line: int(line), Column: int(column)},
		Value:    value, Message: fmt.Sprintf(format, args...),
	})
}

func (r *reader) read(data []byte) *Document {
	d := &Document{File: r.file}
	if d.root, d.comments = r.tree(data); d.root == nil {
		return nil
	}
	r.comments = d.comments
	kind, ok := r.kind(d.root)
	if !ok {
		return nil
	}
	if kind == specdata.KindSource {
		d.root.yearAsWritten("date")
	}
	if id, _ := d.root.child("id"); id != nil && id.kind == text && specdata.ValidID(id.text) {
		r.record = specdata.NewName(kind, id.text)
	}
	if d.Canonical = r.canonical(kind, d.root); d.Canonical == nil {
		return nil
	}
	d.Hash = hash(d.Canonical)
	var err error
	if d.Record, err = decode(kind, d.Canonical); err != nil {
		r.say(RuleSchema, "", d.root.line, d.root.column, "", "document cannot be decoded: %v", err)
		return nil
	}
	r.agree(d)
	return d
}

// tree reads the bytes into nodes, nil when there is nothing that could be judged further.
func (r *reader) tree(data []byte) (root *node, comments []Comment) {
	if !r.scan(data) || r.unseen(data) {
		return nil, nil
	}
	if isJSON(r.file, data) {
		root = r.json(data)
	} else {
		root, comments = r.yaml(data)
	}
	if r.partial || root == nil {
		return nil, nil
	}
	if bytes.IndexByte(data, '\\') >= 0 {
		r.unseenValues(root, nil)
	}
	return root, comments
}

// canonical returns the canonical form of a valid document, nil after a finding.
func (r *reader) canonical(kind specdata.Kind, root *node) []byte {
	canonical, err := root.canonical(nil)
	if err != nil && len(r.findings) == 0 {
		r.say(RuleSyntax, "", root.line, root.column, "", "%v", err)
		return nil
	}
	if len(r.findings) > 0 || !schema.SurelyValid(kind, canonical) {
		r.validate(kind, root)
	}
	if len(r.findings) > 0 {
		return nil
	}
	return canonical
}

// kind finds out which schema the document is to be held against.
func (r *reader) kind(root *node) (specdata.Kind, bool) {
	allowed := make([]string, len(specdata.Kinds))
	for i, k := range specdata.Kinds {
		allowed[i] = string(k)
	}
	if root.kind != object {
		r.say(RuleSchema, "", root.line, root.column, "", "document is not a record; it begins with keys, like \"kind: fastener\"")
		return "", false
	}
	k, _ := root.child("kind")
	if k == nil {
		r.say(RuleSchema, "/kind", root.line, root.column, "", "kind is missing; allowed: %s", strings.Join(allowed, ", "))
		return "", false
	}
	if !slices.Contains(allowed, k.text) || k.kind != text {
		r.say(RuleSchema, "/kind", k.line, k.column, specdata.Shorten(k.text), "kind %s does not exist; allowed: %s%s", quote(k.text), strings.Join(allowed, ", "), specdata.DidYouMean(k.text, slices.Values(allowed)))
		return "", false
	}
	return specdata.Kind(k.text), true
}

// validate holds the document against the schema and reports what is wrong, except
// where something was reported already.
func (r *reader) validate(kind specdata.Kind, root *node) {
	violations, err := schema.Validate(kind, root.any())
	if err != nil {
		r.say(RuleSchema, "", root.line, root.column, "", "document cannot be judged: %v", err)
		return
	}
	for _, v := range violations {
		if i := slices.IndexFunc(r.findings, func(f specdata.Finding) bool { return f.Pointer == v.Pointer }); i >= 0 {
			// That a bare number lacks its unit, or which words or keys are allowed, tells
			// more than how a scalar is misspelt.
			if r.findings[i].Rule != RuleExactScalar || !v.Physical && v.Allowed == nil && !v.Holds {
				continue
			}
			r.findings = slices.Delete(r.findings, i, i+1)
		}
		line, column := root.locate(v.Pointer)
		if v.Empty && r.cutAt(int(line)) {
			continue // that a comment ate the value is said
		}
		if v.Key {
			line, column = root.locateKey(v.Pointer)
		}
		if v.Empty {
			v.Message = r.todo(v, int(line))
		}
		r.say(RuleSchema, v.Pointer, line, column, specdata.Shorten(v.Value), "%s", v.Message)
	}
}

// cutAt reports whether a comment was reported that cut the text of a line short.
func (r *reader) cutAt(line int) bool {
	return slices.ContainsFunc(r.findings, func(f specdata.Finding) bool {
		return f.Rule == RulePlainYAML && f.Line == line && strings.HasPrefix(f.Value, "#")
	})
}

// todo returns what is to be said of a key without a value: what the todo comment on its
// line asks for, where there is one.
func (r *reader) todo(v schema.Violation, line int) string {
	i := slices.IndexFunc(r.comments, func(c Comment) bool { return c.Line == line })
	if i < 0 {
		return v.Message
	}
	what, ok := r.comments[i].Todo()
	if !ok || what == "" {
		return v.Message
	}
	key := v.Pointer[strings.LastIndexByte(v.Pointer, '/')+1:]
	message := fmt.Sprintf("%s is still to do: %s", key, what)
	if v.Allowed != nil && !strings.Contains(what, v.Allowed[len(v.Allowed)-1]) {
		begin, _, _ := strings.Cut(message, "; one of ")
		message = begin + "; one of " + strings.Join(v.Allowed, ", ")
	}
	if v.Optional {
		message += "; or leave the key out, if there is none"
	}
	return message
}

// fileName takes the name of the file apart: the folder it lies in, the id and the ending.
func (r *reader) fileName() (collection, id, ending string) {
	dir, base := path.Split(strings.ReplaceAll(r.file, "\\", "/"))
	ending = path.Ext(base)
	return path.Base(dir), strings.TrimSuffix(base, ending), ending
}

// agree holds the name of the file against the content, where the file lies in a
// folder named after a collection.
func (r *reader) agree(d *Document) {
	collection, id, ending := r.fileName()
	k, ok := specdata.KindOf(collection)
	if !ok {
		return
	}
	h := d.Record.Header()
	if h.Kind != k {
		line, column := d.root.locate("/kind")
		r.say(RuleNameDisagrees, "/kind", line, column, string(h.Kind), "kind %q stands in the folder %s, which holds records of kind %q; move the file to %s or correct the kind", h.Kind, collection, k, h.Kind.Collection())
	}
	if h.ID != id {
		line, column := d.root.locate("/id")
		r.say(RuleNameDisagrees, "/id", line, column, h.ID, "id %q stands in the file %s; rename the file to %s%s or correct the id", h.ID, id+ending, h.ID, ending)
	}
}

func isJSON(file string, data []byte) bool {
	switch strings.ToLower(path.Ext(file)) {
	case ".json":
		return true
	case ".yaml", ".yml":
		return false
	}
	trimmed := bytes.TrimLeft(data, " \t\r\n")
	return len(trimmed) > 0 && (trimmed[0] == '{' || trimmed[0] == '[')
}

func hash(canonical []byte) string {
	sum := sha256.Sum256(canonical)
	return hex.EncodeToString(sum[:])
}
