package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	pb "proofload/api/proofload/v1"
	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/tools/lint"
	"proofload/tools/lint/render"
)

// edits is what an editor wants to become of records: files, single fields, withdrawals.
type edits struct {
	base                 string
	set, unset, withdraw []string
}

func (d *edits) flags(fs *pflag.FlagSet) {
	fs.StringArrayVar(&d.set, "set", nil, "set one field, as `NAME:POINTER=VALUE`; may be repeated")
	fs.StringArrayVar(&d.unset, "unset", nil, "take one field out, as `NAME:POINTER`; may be repeated")
	fs.StringArrayVar(&d.withdraw, "withdraw", nil, "withdraw the record `NAME`; may be repeated")
	fs.StringVar(&d.base, "base", "", "`MOMENT` at which you read what you edited: position:N, time:RFC3339 or release:NAME; the newest if absent")
}

func (d *edits) none(files []string) bool {
	return len(files)+len(d.set)+len(d.unset)+len(d.withdraw) == 0
}

// edited is one record on its way: what it was made against and what it becomes.
type edited struct {
	change *pb.CorrectionChange
	// doc is the document that fields are set in, nil for a withdrawal.
	doc *document.Document
	// was is the hash of what it was made against, "" for a new record.
	was string
}

// work returns the changes that the edits come to. known holds the drafts of a
// correction that is amended: fields are set in what it says, not in what is
// published. Documents that cannot be read are shown, and end the command.
func (d *edits) work(ctx context.Context, e *env, s *server, files []string, known map[string]*pb.CorrectedRecord) ([]*pb.CorrectionChange, error) {
	drafts := map[string]*edited{}
	var order []string
	take := func(name string) (*edited, error) {
		if x, ok := drafts[name]; ok {
			return x, nil
		}
		x, err := s.startOf(ctx, name, d.base, known[name])
		if err != nil {
			return nil, err
		}
		drafts[name] = x
		order = append(order, name)
		return x, nil
	}
	docs, err := readAll(e, files)
	if err != nil {
		return nil, err
	}
	for _, doc := range docs {
		name := string(doc.Record.Name())
		if drafts[name] != nil {
			return nil, usagef("record %s is in two files; name one", name)
		}
		x, err := take(name)
		if err != nil {
			return nil, err
		}
		x.doc = doc
	}
	for _, field := range slices.Concat(d.set, d.unset) {
		name, pointer, value, isSet, err := splitField(field, slices.Contains(d.set, field))
		if err != nil {
			return nil, err
		}
		x, err := take(name)
		if err != nil {
			return nil, err
		}
		if x.doc == nil {
			return nil, usagef("record %s is not published; propose it from a file first", name)
		}
		if err := x.edit(e, name, pointer, value, isSet); err != nil {
			return nil, err
		}
	}
	for _, name := range d.withdraw {
		if _, err := specdata.ParseName(name); err != nil {
			return nil, usagef("flag --withdraw: %v", err)
		}
		if drafts[name] != nil {
			return nil, usagef("record %s is both changed and withdrawn; do one of the two", name)
		}
		x, err := take(name)
		if err != nil {
			return nil, err
		}
		x.doc, x.change.Withdraw = nil, true
	}
	var out []*pb.CorrectionChange
	same := 0
	for _, name := range order {
		x := drafts[name]
		if x.doc != nil {
			if x.doc.Hash == x.was {
				same++
				continue
			}
			x.change.Document = string(x.doc.Canonical)
		}
		out = append(out, x.change)
	}
	if same > 0 {
		fmt.Fprintf(e.stderr, "proofload: %s as published, left out\n", count(same, "record is", "records are"))
	}
	return out, nil
}

func count(n int, one, many string) string {
	switch n {
	case 0:
		return "no " + many
	case 1:
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}

// startOf returns a record as a change of it starts: what a correction makes of it
// already, or what is published.
func (s *server) startOf(ctx context.Context, name, at string, known *pb.CorrectedRecord) (*edited, error) {
	x := &edited{change: &pb.CorrectionChange{Record: name}}
	if known != nil && !known.Withdraw {
		doc, err := document.ReadCanonical([]byte(known.Document))
		if err != nil {
			return nil, fmt.Errorf("record %s: %w", name, err)
		}
		x.doc, x.was, x.change.BaseRevision = doc, known.DocumentHash, known.BaseRevision
		return x, nil
	}
	if _, err := specdata.ParseName(name); err != nil {
		return nil, usagef("%v", err)
	}
	query := url.Values{}
	if at != "" {
		query.Set("at", at)
	}
	body, _, err := s.send(ctx, http.MethodGet, "/v1/"+name+"/document", query, nil, "")
	var r *refusal
	switch {
	case errors.As(err, &r) && r.Reason == "RECORD_NOT_FOUND":
		return x, nil
	case err != nil:
		return nil, err
	}
	doc, err := document.ReadCanonical(body)
	if err != nil {
		return nil, fmt.Errorf("record %s: %w", name, err)
	}
	x.doc, x.was, x.change.BaseHash = doc, doc.Hash, doc.Hash
	return x, nil
}

// readAll reads files, and the record files of folders.
func readAll(e *env, paths []string) ([]*document.Document, error) {
	var docs []*document.Document
	var findings []specdata.Finding
	for _, p := range paths {
		files := []string{p}
		info, err := os.Stat(p)
		switch {
		case err != nil:
			return nil, pathError("path", p, err)
		case info.IsDir():
			if files, err = recordFiles(p); err != nil {
				return nil, err
			}
		}
		for _, f := range files {
			data, err := os.ReadFile(f)
			if err != nil {
				return nil, pathError("file", f, err)
			}
			doc, problems := document.Read(filepath.ToSlash(f), data)
			findings = append(findings, problems...)
			if doc != nil {
				docs = append(docs, doc)
			}
		}
	}
	return docs, unreadable(e, findings, len(docs))
}

// recordFiles lists the record files of a library, or of one of its collections.
func recordFiles(dir string) ([]string, error) {
	var files []string
	err := filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		_, ok := specdata.KindOf(filepath.Base(filepath.Dir(p)))
		ext := strings.ToLower(filepath.Ext(p))
		if ok && !d.IsDir() && (ext == ".yaml" || ext == ".yml" || ext == ".json") {
			files = append(files, p)
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("folder %s cannot be read: %w", dir, reason(err))
	}
	if files == nil {
		return nil, usagef("folder %s holds no records; they lie in %s", dir, collections())
	}
	return files, nil
}

// unreadable shows what keeps documents from being read at all, beside those that
// were: nothing is sent then.
func unreadable(e *env, findings []specdata.Finding, read int) error {
	if !slices.ContainsFunc(findings, func(f specdata.Finding) bool { return f.Severity == specdata.Error }) {
		return nil
	}
	specdata.SortFindings(findings)
	if err := render.Text(e.stdout, &render.Run{Version: version(), Report: &lint.Report{Findings: findings, Records: read}}, render.TextOptions{}); err != nil {
		return stdoutError(err)
	}
	fmt.Fprintln(e.stderr, "proofload: nothing was proposed; mend the documents first")
	return errFindings
}

// splitField reads NAME:POINTER=VALUE, or NAME:POINTER where nothing is set.
func splitField(text string, isSet bool) (name, pointer, value string, set bool, err error) {
	flag, form := "--unset", "fasteners/ID:/POINTER"
	if isSet {
		flag, form = "--set", `fasteners/ID:/tightening/stages/0/torque="80 N.m"`
	}
	name, rest, ok := strings.Cut(text, ":")
	pointer, value, hasValue := strings.Cut(rest, "=")
	if !ok || !strings.HasPrefix(pointer, "/") || hasValue != isSet {
		return "", "", "", false, usagef("flag %s: %q is not understood; write it like %s", flag, text, form)
	}
	if _, err := specdata.ParseName(name); err != nil {
		return "", "", "", false, usagef("flag %s: %v", flag, err)
	}
	return name, pointer, value, isSet, nil
}

// edit sets a field of the document, or takes it out.
func (x *edited) edit(e *env, name, pointer, value string, set bool) error {
	var tree any
	if err := json.Unmarshal(x.doc.Canonical, &tree); err != nil {
		return err
	}
	tree, err := editAt(tree, strings.Split(pointer, "/")[1:], value, set)
	if err != nil {
		return usagef("record %s: %s: %v", name, pointer, err)
	}
	data, err := json.Marshal(tree)
	if err != nil {
		return err
	}
	doc, findings := document.Read("", data)
	for i := range findings {
		if findings[i].Record == "" {
			findings[i].Record = specdata.Name(name)
		}
		findings[i].Position = specdata.Position{} // nobody wrote these bytes
	}
	if err := unreadable(e, findings, 0); err != nil {
		return err
	}
	x.doc = doc
	return nil
}

var unescapePointer = strings.NewReplacer("~1", "/", "~0", "~")

// editAt walks down a pointer (RFC 6901) and sets, adds or removes what it names.
func editAt(v any, tokens []string, value string, set bool) (any, error) {
	token := unescapePointer.Replace(tokens[0])
	last := len(tokens) == 1
	switch v := v.(type) {
	case map[string]any:
		old, ok := v[token]
		switch {
		case last && set:
			fresh, err := valueLike(old, ok, value)
			if err != nil {
				return nil, err
			}
			v[token] = fresh
			return v, nil
		case !ok:
			keys := make([]string, 0, len(v))
			for k := range v {
				keys = append(keys, k)
			}
			slices.Sort(keys)
			return nil, fmt.Errorf("there is no %q%s; there are %s", token, specdata.DidYouMean(token, slices.Values(keys)), strings.Join(keys, ", "))
		case last:
			delete(v, token)
			return v, nil
		}
		inner, err := editAt(old, tokens[1:], value, set)
		v[token] = inner
		return v, err
	case []any:
		i, err := strconv.Atoi(token)
		switch {
		case token == "-" && last && set:
			return append(v, value), nil
		case err != nil || i < 0 || i >= len(v):
			return nil, fmt.Errorf("there is no entry %q; the list has the entries 0 to %d", token, len(v)-1)
		case last && set:
			fresh, err := valueLike(v[i], true, value)
			if err != nil {
				return nil, err
			}
			v[i] = fresh
			return v, nil
		case last:
			return slices.Delete(v, i, i+1), nil
		}
		v[i], err = editAt(v[i], tokens[1:], value, set)
		return v, err
	}
	return nil, fmt.Errorf("%q lies below a single value", token)
}

// valueLike returns a value of the sort that is there already. Where nothing
// is there, what looks like a number or a truth value is one: no text of a
// document does.
func valueLike(old any, ok bool, text string) (any, error) {
	var parsed any
	isJSON := json.Unmarshal([]byte(text), &parsed) == nil
	switch old.(type) {
	case string:
		return text, nil
	case map[string]any, []any:
		return nil, fmt.Errorf("it holds more than one value; name one field below it")
	case float64:
		if _, number := parsed.(float64); !isJSON || !number {
			return nil, fmt.Errorf("%q is no number, and what stands there is one", text)
		}
		return parsed, nil
	case bool:
		if _, truth := parsed.(bool); !isJSON || !truth {
			return nil, fmt.Errorf("%q is neither true nor false", text)
		}
		return parsed, nil
	}
	switch parsed.(type) {
	case float64, bool:
		if !ok {
			return parsed, nil
		}
	}
	return text, nil
}
