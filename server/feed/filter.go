package feed

import (
	"context"
	"slices"
	"strings"
	"sync"

	"proofload/server/fault"
	"proofload/server/store"
	"proofload/server/store/index"
	"proofload/specdata"
)

// Filter says which revisions of the log are wanted; a revision must match every
// field that is set. The zero Filter wants all.
type Filter struct {
	Kinds []specdata.Kind
	Names []specdata.Name
	// Vehicle wants the vehicle of this id and the records that apply to it, Source the
	// source of this id and the records that cite it: with the revision, or with the
	// one before, so that a record that ceases to apply is not missed.
	Vehicle, Source string
	// Acts wants acts; the zero Filter wants them anyway.
	Acts bool
}

// actKind is how a filter asks for acts.
const actKind = "act"

// maxNames bounds how many records a filter may name.
const maxNames = 1000

// ParseFilter reads the filter of a request. The error names the field.
func ParseFilter(kinds, names []string, vehicle, source string) (Filter, error) {
	f := Filter{Vehicle: vehicle, Source: source}
	for _, k := range kinds {
		if k == actKind {
			f.Acts = true
			continue
		}
		kind := specdata.Kind(k)
		if kind.Collection() == "" {
			return Filter{}, fault.Field("kinds", "kinds has %q, which is no kind; allowed: vehicle, fastener, assembly, procedure, source, act", specdata.Shorten(k))
		}
		f.Kinds = append(f.Kinds, kind)
	}
	if len(names) > maxNames {
		return Filter{}, fault.Field("names", "names has %d records; allowed: %d", len(names), maxNames)
	}
	for _, n := range names {
		name, err := specdata.ParseEntry(n)
		if err != nil {
			return Filter{}, fault.Field("names", "names: %v", err)
		}
		f.Names = append(f.Names, name)
	}
	for _, id := range []struct{ field, value string }{{"vehicle", vehicle}, {"source", source}} {
		if id.value != "" && !specdata.ValidID(id.value) {
			return Filter{}, fault.Field(id.field, "%s %q is not an id; write lower-case words joined by hyphens, without the collection", id.field, specdata.Shorten(id.value))
		}
	}
	return f, nil
}

// String returns the filter in one form, so that equal filters have equal texts.
func (f Filter) String() string {
	var kinds, names []string
	for _, k := range f.Kinds {
		kinds = append(kinds, string(k))
	}
	for _, n := range f.Names {
		names = append(names, string(n))
	}
	if f.Acts {
		kinds = append(kinds, actKind)
	}
	slices.Sort(kinds)
	slices.Sort(names)
	return strings.Join([]string{strings.Join(slices.Compact(kinds), ","), strings.Join(slices.Compact(names), ","), f.Vehicle, f.Source}, "|")
}

// Wants reports whether a revision of a store is wanted. It reads the revision
// before where the answer depends on that.
func (f Filter) Wants(ctx context.Context, s store.Store, r *store.Revision) (bool, error) {
	return f.wants(ctx, s, &item{Revision: r})
}

func (f Filter) wants(ctx context.Context, s store.Store, i *item) (bool, error) {
	kind := slices.Contains(f.Kinds, i.Name.Kind()) || f.Acts && i.Name.IsAct()
	if (len(f.Kinds) > 0 || f.Acts) && !kind || len(f.Names) > 0 && !slices.Contains(f.Names, i.Name) {
		return false, nil
	}
	for _, by := range []struct {
		id   string
		kind specdata.Kind
		term index.By
	}{{f.Vehicle, specdata.KindVehicle, index.Vehicle}, {f.Source, specdata.KindSource, index.Source}} {
		if by.id == "" || i.Name == specdata.NewName(by.kind, by.id) {
			continue
		}
		terms, err := i.terms(ctx, s)
		if err != nil {
			return false, err
		}
		if !slices.Contains(terms, index.Term{By: by.term, Value: by.id}) {
			return false, nil
		}
	}
	return true, nil
}

// item is a revision with what filters ask of it, worked out once for all watchers.
type item struct {
	*store.Revision

	mu    sync.Mutex
	known bool
	// found are the terms of the revision and of the one before.
	found []index.Term
}

func (i *item) terms(ctx context.Context, s store.Store) ([]index.Term, error) {
	i.mu.Lock()
	defer i.mu.Unlock()
	if i.known {
		return i.found, nil
	}
	facts, err := index.Of(i.Name, i.Document)
	if err != nil {
		return nil, err
	}
	found := facts.Terms
	if i.Number > 1 && !i.Withdrawn { // a withdrawal repeats the document before
		before, err := s.GetRevision(ctx, i.Name, i.Number-1)
		if err != nil {
			return nil, err
		}
		if facts, err = index.Of(before.Name, before.Document); err != nil {
			return nil, err
		}
		found = slices.Concat(found, facts.Terms)
	}
	i.found, i.known = found, true
	return found, nil
}
