package main

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"slices"
	"strings"

	"golang.org/x/mod/sumdb/tlog"

	"proofload/server/ledger"
	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
	"proofload/specdata/sheet"
	"proofload/specdata/whom"
)

// bundle is the answer of /v1/checks/CODE/proof.
type bundle struct {
	Name       string         `json:"name"`
	Vehicle    string         `json:"vehicle"`
	Options    []string       `json:"options"`
	Side       string         `json:"side"`
	Documents  []proved       `json:"documents"`
	Checkpoint string         `json:"checkpoint"`
	Growth     *ledger.Growth `json:"growth"`
}

type proved struct {
	Document string      `json:"document"`
	Leaf     []byte      `json:"leaf"`
	Index    int64       `json:"leaf_index,string"`
	Hashes   []tlog.Hash `json:"hashes"`
}

// canonical reads a document file.
func canonical(file string) (*document.Document, error) {
	data, err := os.ReadFile(file)
	if err != nil {
		return nil, pathError("document", file, err)
	}
	doc, findings := document.Read(file, data)
	if doc == nil {
		return nil, usagef("document %s cannot be read: %s", file, findings[0].Message)
	}
	return doc, nil
}

// sheet checks the code on a printed sheet: the documents of the bundle are in the
// ledger, and the sheet that they make has this code. files are documents that the
// sheet is said to rest on.
func (v *verification) sheet(ctx context.Context, e *env, typed string, files []string, data []byte) error {
	code, err := sheet.ParseCode(typed)
	if err != nil {
		return usagef("%v", err)
	}
	k, err := v.verifiers()
	if err != nil {
		return err
	}
	kept, err := v.kept(ctx, e, k)
	if err != nil {
		return err
	}
	var b bundle
	if err := json.Unmarshal(data, &b); err != nil || len(b.Documents) == 0 || b.Checkpoint == "" {
		return usagef("%s is not the answer of /v1/checks/%s/proof; save the whole of it", v.proof, code)
	}
	var entries []*library.Entry
	var procedure *ledger.Leaf
	var c ledger.Checkpoint
	for _, d := range b.Documents {
		p := ledger.Proof{Leaf: d.Leaf, Index: d.Index, Hashes: d.Hashes, Checkpoint: b.Checkpoint}
		var leaf ledger.Leaf
		if leaf, c, err = p.Check(k...); err != nil {
			return refuted(e, "%v", err)
		}
		doc, err := document.ReadCanonical([]byte(d.Document))
		switch {
		case err != nil:
			return refuted(e, "document of %s cannot be read: %v", leaf.Name, err)
		case !leaf.Is([]byte(d.Document)) || string(doc.Record.Name()) != leaf.Name:
			return refuted(e, "the bundle's document of %s is not the one that was published", leaf.Name)
		case leaf.Withdrawn || leaf.Position > code.Position:
			return refuted(e, "%s revision %d is of position %d or withdrawn; the sheet was printed at position %d", leaf.Name, leaf.Revision, leaf.Position, code.Position)
		}
		if d.Index == code.Leaf {
			procedure = &leaf
		}
		entries = append(entries, library.NewEntry(doc))
	}
	if procedure == nil {
		return refuted(e, "the bundle lacks the procedure, leaf %d", code.Leaf)
	}
	if err := v.grown(e, kept, b.Growth, c); err != nil {
		return err
	}
	lib, err := library.NewMemory(entries...)
	if err != nil {
		return refuted(e, "%v", err)
	}
	variant := &dryrun.Variant{Vehicle: b.Vehicle}
	for _, o := range b.Options {
		key, value, _ := strings.Cut(o, "=")
		variant.Options = append(variant.Options, dryrun.Option{Key: key, Value: value})
	}
	r := sheet.Request{Procedure: specdata.Name(procedure.Name).ID(), Variant: variant, Side: specdata.Side(b.Side), Moment: whom.Moment{Position: code.Position}}
	s, err := sheet.New(lib, r)
	if err != nil {
		return refuted(e, "the sheet cannot be made from the bundle: %v", err)
	}
	if got, err := s.Code(c.Origin, code.Leaf); err != nil || got != code {
		return refuted(e, "the sheet that the bundle makes has the code %s", got)
	}
	for _, file := range files {
		doc, err := canonical(file)
		if err != nil {
			return err
		}
		if !slices.ContainsFunc(entries, func(x *library.Entry) bool { return x.Name() == doc.Record.Name() && x.Hash == doc.Hash }) {
			return refuted(e, "sheet %s was not made from %s: %s then had another document, or is not on the sheet", code, file, doc.Record.Name())
		}
	}
	fmt.Fprintf(e.stdout, "proved: %s is a sheet of %s as of position %d: %s\nThe paper must say:\n  %s\n  %s\n", code, c.Origin, code.Position, s.Title, s.For.Lines()[0], s.For.Lines()[1])
	for _, row := range s.Torques {
		line := fmt.Sprintf("  %d. step %d, %s: %s", row.Number, row.Step, row.What, row.Value)
		if row.Stage != "" {
			line += ", " + row.Stage
		}
		if row.Band != "" {
			line += ", accept " + row.Band
		}
		fmt.Fprintln(e.stdout, line)
	}
	fmt.Fprint(e.stdout, "Whether it is still valid only the library can tell.\n"+disclaimer)
	return nil
}
