package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/library"
	"proofload/tools/lint"
	"proofload/tools/lint/rules"
)

// slip is one kind of mistake. make changes the record it is given, a copy, and
// says what it did; ok is false where the slip does not fit or changes nothing.
type slip[R specdata.Record] struct {
	kind, what string
	make       func(r R, lib source, rng *rand.Rand) (did string, ok bool)
}

// bench judges slips against one clean library.
type bench struct {
	lib source
	now time.Time
	// known are the identities of the findings of the clean library.
	known map[string]bool
}

func measure(ctx context.Context, lib source, seed uint64, n int, now time.Time) (*Table, error) {
	rep, err := lint.Run(ctx, lint.Options{Rules: rules.All, Library: lib, Date: now})
	if err != nil {
		return nil, err
	}
	b := &bench{lib: lib, now: now, known: map[string]bool{}}
	t := &Table{Seed: seed, Clean: rep.Records}
	for _, f := range rep.Findings {
		b.known[f.Identity] = true
		if f.Severity != specdata.Advice && f.Waived == "" {
			t.False++
		}
	}
	for _, s := range fastenerSlips() {
		tally, err := try(ctx, b, s, specdata.KindFastener, seed, n)
		if err != nil {
			return nil, err
		}
		t.Slips = append(t.Slips, tally)
	}
	for _, s := range procedureSlips() {
		tally, err := try(ctx, b, s, specdata.KindProcedure, seed, n)
		if err != nil {
			return nil, err
		}
		t.Slips = append(t.Slips, tally)
	}
	for _, s := range harmless() {
		tally, err := try(ctx, b, s, specdata.KindFastener, seed, n)
		if err != nil {
			return nil, err
		}
		tally.Missed = nil
		t.Harmless = append(t.Harmless, tally)
	}
	return t, nil
}

// try makes up to n slips of one kind, on records drawn with the seed.
func try[R specdata.Record](ctx context.Context, b *bench, s slip[R], kind specdata.Kind, seed uint64, n int) (Tally, error) {
	t := Tally{Kind: s.kind, What: s.what}
	h := seed
	for _, c := range s.kind { // a kind's draws do not depend on which kinds come before it
		h = h*31 + uint64(c)
	}
	rng := rand.New(rand.NewPCG(seed, h))
	entries := slices.Collect(b.lib.All(kind))
	for attempt := 0; attempt < 6*n && t.Tried < n; attempt++ {
		e := entries[rng.IntN(len(entries))]
		changed, err := clone[R](e)
		if err != nil {
			return t, err
		}
		did, ok := s.make(changed, b.lib, rng)
		if !ok {
			continue
		}
		doc, refused, err := encode(changed)
		if err != nil {
			return t, err
		}
		if doc != nil && doc.Hash == e.Hash {
			continue
		}
		t.Tried++
		if refused {
			t.Refused++
			t.Alone++
			t.Correction++
			continue
		}
		if err := b.judge(ctx, &t, e, doc, did); err != nil {
			return t, err
		}
	}
	return t, nil
}

func clone[R specdata.Record](e *library.Entry) (R, error) {
	var zero R
	fresh := specdata.New(e.Name().Kind())
	if err := json.Unmarshal(e.Canonical, fresh); err != nil {
		return zero, fmt.Errorf("record %s: %w", e.Name(), err)
	}
	r, ok := fresh.(R)
	if !ok {
		return zero, fmt.Errorf("record %s is not of the slip's kind", e.Name())
	}
	return r, nil
}

// encode gives the changed record as a document; refused says that reading it
// back fails, as it would in the editor.
func encode(r specdata.Record) (doc *document.Document, refused bool, err error) {
	raw, err := json.Marshal(r)
	if err != nil {
		return nil, false, err
	}
	canonical, err := document.Canonicalize(raw)
	if err != nil {
		return nil, true, nil //nolint:nilerr // a document that cannot be canonical is refused, which is the point
	}
	doc, err = document.ReadCanonical(canonical)
	return doc, err != nil, nil
}

func (b *bench) judge(ctx context.Context, t *Tally, was *library.Entry, doc *document.Document, did string) error {
	e := library.NewEntry(doc)
	lib := library.Overlay(b.lib, e)
	only := lint.Affected(lib, []specdata.Name{e.Name()})
	worst := func(old library.Library) (specdata.Severity, error) {
		rep, err := lint.Run(ctx, lint.Options{Rules: rules.All, Library: lib, Only: only, Old: old, Date: b.now})
		if err != nil {
			return "", err
		}
		rep.Findings = slices.DeleteFunc(rep.Findings, func(f specdata.Finding) bool { return b.known[f.Identity] })
		return rep.Worst(), nil
	}
	alone, err := worst(nil)
	if err != nil {
		return err
	}
	var old library.Library = b.lib
	if e.Name() != was.Name() {
		old = nil
	}
	corrected, err := worst(old)
	if err != nil {
		return err
	}
	switch alone {
	case specdata.Error, specdata.Warning:
		t.Alone++
	case specdata.Advice:
		t.Advised++
	}
	if corrected == specdata.Error || corrected == specdata.Warning {
		t.Correction++
	} else {
		t.Missed = append(t.Missed, fmt.Sprintf("%s: %s", was.Name(), did))
	}
	return nil
}
