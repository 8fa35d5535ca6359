package storetest

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"proofload/server/store"
	"proofload/specdata"
)

// model plays random histories against a store and the reference side by side.
// Answers and kinds of errors must be the same.
func model(t *testing.T, open func(t *testing.T) store.Store) {
	rapid.Check(t, func(r *rapid.T) {
		p := &pair{t: t, ctx: t.Context(), got: open(t), want: newReference()}
		defer p.got.Close()
		r.Repeat(map[string]func(*rapid.T){
			"publish":   p.publish,
			"revise":    p.revise, // most of what is drawn for publish conflicts
			"get":       p.get,
			"list":      p.list,
			"uses":      p.uses,
			"search":    p.search,
			"log":       p.log,
			"resolve":   p.resolve,
			"releases":  p.releases,
			"revisions": p.revisions,
			"ledger":    p.ledger,
			"note":      p.writeNotes,
			"notes":     p.notes,
			"":          p.heads,
		})
		if err := p.got.Check(p.ctx); err != nil {
			r.Fatalf("Check: %v", err)
		}
	})
}

type pair struct {
	t    *testing.T
	ctx  context.Context
	got  store.Store
	want *reference
	n    int
}

// same compares two answers of one question.
func same[T any](r *rapid.T, question string, got T, gotErr error, want T, wantErr error) {
	r.Helper()
	if kindOf(gotErr) != kindOf(wantErr) {
		r.Fatalf("%s:\n got error %v\nwant error %v", question, gotErr, wantErr)
	}
	if wantErr == nil && !reflect.DeepEqual(got, want) {
		r.Fatalf("%s:\n got %s\nwant %s", question, show(got), show(want))
	}
}

func show(v any) string {
	if rs, ok := v.([]*store.Revision); ok {
		s := ""
		for _, r := range rs {
			s += fmt.Sprintf("\n  %s #%d @%d withdrawn %t by %v %q %s", r.Name, r.Number, r.Position, r.Withdrawn, r.Authors, r.Reason, r.Time)
		}
		return s
	}
	if ns, ok := v.([]*store.Note); ok {
		s := ""
		for _, n := range ns {
			s += fmt.Sprintf("\n  %+v", *n)
		}
		return s
	}
	return fmt.Sprintf("%+v", v)
}

func kindOf(err error) string {
	for _, target := range []error{store.ErrNotFound, store.ErrConflict, store.ErrFuture, store.ErrInvalid} {
		if errors.Is(err, target) {
			return target.Error()
		}
	}
	if err != nil {
		return "another: " + err.Error()
	}
	return ""
}

var (
	drawnVehicles = []string{"quill-1", "quill-2", "wren-3"}
	drawnSources  = []string{"quill-chassis", "bench-notes"}
	drawnPlaces   = []string{"rear hub", "front hub", "sump"}
	drawnThreads  = []string{"", "M10x1.25", "M12x1.5", "7/16-20 UNF"}
	drawnJoints   = []specdata.JointKind{"clamp", "plug"}
	drawnTitles   = []string{"Carrier bolt", "Collar nut", "Drain plug, magnetic", "Wheel bolt"}
	drawnIDs      = []string{"a", "b", "c", "c-1"}
	drawnNames    = []specdata.Name{"fasteners/a", "fasteners/b", "fasteners/c", "fasteners/c-1", "assemblies/a", "procedures/a", "vehicles/quill-1", "vehicles/quill-2", "sources/quill-chassis", "sources/bench-notes"}
)

func pick[T any](r *rapid.T, from []T, label string) T {
	return rapid.SampledFrom(from).Draw(r, label)
}

// record draws a record of a name.
func record(r *rapid.T, name specdata.Name) specdata.Record {
	id, title := name.ID(), pick(r, drawnTitles, "title")
	v := pick(r, drawnVehicles, "vehicle")
	switch name.Kind() {
	case specdata.KindVehicle:
		return vehicle(id, pick(r, []string{"Quill", "Wren"}, "make"), title)
	case specdata.KindSource:
		return source(id, title, pick(r, []string{"Quill Works", "Hill Garage"}, "issuer"), rapid.SliceOfNDistinct(rapid.SampledFrom(drawnSources), 0, 2, rapid.ID).Draw(r, "supersedes")...)
	case specdata.KindAssembly:
		return assembly(id, title, pick(r, drawnPlaces, "place"), v, rapid.SliceOfNDistinct(rapid.SampledFrom(drawnIDs), 0, 3, rapid.ID).Draw(r, "held by")...)
	case specdata.KindProcedure:
		return procedure(id, title, v, "a", rapid.SliceOfN(rapid.SampledFrom(drawnIDs), 0, 3).Draw(r, "tighten")...)
	}
	return Fastener(id, title, pick(r, drawnPlaces, "place"), pick(r, drawnThreads, "thread"), pick(r, drawnJoints, "joint"), rapid.IntRange(1, 400).Draw(r, "torque"),
		pick(r, append([]string{""}, drawnSources...), "source"), rapid.SliceOfN(rapid.SampledFrom(drawnVehicles), 1, 3).Draw(r, "vehicles")...)
}

// publication draws a publication; base gives the base of a change.
func (p *pair) publication(r *rapid.T, base func(specdata.Name) int64) store.Publication {
	p.n++
	pub := store.Publication{
		Authors:  rapid.SliceOfN(rapid.SampledFrom([]string{"ada", "ben", "Zoë"}), 0, 2).Draw(r, "authors"),
		Reviewer: pick(r, []string{"", "cyd"}, "reviewer"),
		Reason:   fmt.Sprintf("reason %d", p.n),
		Time:     Epoch.Add(time.Duration(rapid.Int64Range(0, 20).Draw(r, "time")) * time.Second),
		Key:      pick(r, []string{"", "", "", "k1", "k2"}, "key"),
	}
	if len(pub.Authors) == 0 {
		pub.Authors = []string{}
	}
	if rapid.IntRange(0, 2).Draw(r, "with notes") == 0 {
		writes := p.noteWrites(r)
		pub.Notes = func(position int64, published time.Time) ([]store.NoteWrite, error) {
			ws := slices.Clone(writes)
			for i := range ws {
				ws[i].Time = published
				if ws[i].Body != nil {
					ws[i].Body = fmt.Appendf(nil, "%s at %d", ws[i].Body, position)
				}
			}
			return ws, nil
		}
	}
	for range rapid.IntRange(1, 3).Draw(r, "changes") {
		c := store.Change{Name: pick(r, drawnNames, "name")}
		c.Base = base(c.Name)
		if rapid.IntRange(0, 3).Draw(r, "withdraw") > 0 {
			c.Document = Canonical(p.t, record(r, c.Name))
		}
		pub.Changes = append(pub.Changes, c)
	}
	return pub
}

func (p *pair) both(r *rapid.T, pub store.Publication) {
	got, gotErr := p.got.Publish(p.ctx, pub)
	want, wantErr := p.want.Publish(p.ctx, pub)
	same(r, fmt.Sprintf("Publish of %d changes", len(pub.Changes)), got, gotErr, want, wantErr)
}

func (p *pair) publish(r *rapid.T) {
	p.both(r, p.publication(r, func(specdata.Name) int64 { return rapid.Int64Range(0, 3).Draw(r, "base") }))
}

func (p *pair) revise(r *rapid.T) {
	pub := p.publication(r, func(n specdata.Name) int64 {
		if old := p.want.current(n, p.want.head()); old != nil {
			return old.Number
		}
		return 0
	})
	seen := map[specdata.Name]bool{}
	pub.Changes = slices.DeleteFunc(pub.Changes, func(c store.Change) bool {
		twice := seen[c.Name]
		seen[c.Name] = true
		return twice
	})
	p.both(r, pub)
}

// position draws a position, now and then one that there is not.
func (p *pair) position(r *rapid.T) int64 {
	return rapid.Int64Range(0, p.want.head()+1).Draw(r, "position")
}

func (p *pair) heads(r *rapid.T) {
	got, gotErr := p.got.Head(p.ctx)
	want, wantErr := p.want.Head(p.ctx)
	same(r, "Head", got, gotErr, want, wantErr)
	got, gotErr = p.got.Await(p.ctx, want.Position)
	same(r, "Await", got, gotErr, want, wantErr)
}

func (p *pair) ledger(r *rapid.T) {
	at := p.position(r)
	head, headErr := p.got.HeadAt(p.ctx, at)
	wantHead, wantErr := p.want.HeadAt(p.ctx, at)
	same(r, fmt.Sprintf("HeadAt(%d)", at), head, headErr, wantHead, wantErr)
	leaf := rapid.Int64Range(0, int64(len(p.want.log))).Draw(r, "leaf")
	got, gotErr := p.got.Leaf(p.ctx, leaf)
	want, wantErr := p.want.Leaf(p.ctx, leaf)
	same(r, fmt.Sprintf("Leaf(%d)", leaf), got, gotErr, want, wantErr)
	count := len(storedHashes(len(p.want.log)))
	xs := []int64{}
	for x := range count {
		xs = append(xs, int64(count-1-x))
	}
	if rapid.IntRange(0, 9).Draw(r, "one hash more") == 0 {
		xs = append(xs, int64(count))
	}
	hs, hsErr := p.got.Hashes(p.ctx, xs)
	wantHs, wantErr := p.want.Hashes(p.ctx, xs)
	same(r, fmt.Sprintf("Hashes(%v)", xs), hs, hsErr, wantHs, wantErr)
}

var (
	drawnSpaces = []string{"corrections", "tokens"}
	drawnKeys   = []string{"a", "a/1", "b", "Zoë", "z"}
	drawnTerms  = []string{"open", "by=ada", "by=Zoë", "x"}
)

func (p *pair) noteWrites(r *rapid.T) []store.NoteWrite {
	ws := []store.NoteWrite{}
	for range rapid.IntRange(1, 3).Draw(r, "writes") {
		w := store.NoteWrite{
			Space: pick(r, drawnSpaces, "space"), Key: pick(r, drawnKeys, "key"), Time: Epoch.Add(time.Duration(rapid.IntRange(0, 9).Draw(r, "time"))),
			Terms: rapid.SliceOfN(rapid.SampledFrom(drawnTerms), 0, 4).Draw(r, "terms"),
		}
		if rapid.IntRange(0, 3).Draw(r, "remove") > 0 {
			w.Body = []byte(rapid.SampledFrom([]string{"", "one", "two"}).Draw(r, "body"))
		}
		switch rapid.IntRange(0, 9).Draw(r, "base") {
		case 0:
			w.Base = rapid.Int64Range(0, 3).Draw(r, "base number")
		case 1, 2, 3:
			w.Base = store.AnyVersion
		default:
			if n := p.want.notes[noteName{w.Space, w.Key}]; n != nil {
				w.Base = n.Version
			}
		}
		if rapid.IntRange(0, 9).Draw(r, "with version") == 0 {
			w.Version = rapid.Int64Range(1, 9).Draw(r, "version")
		}
		ws = append(ws, w)
	}
	return ws
}

func (p *pair) writeNotes(r *rapid.T) {
	ws := p.noteWrites(r)
	same(r, fmt.Sprintf("WriteNotes(%+v)", ws), 0, p.got.WriteNotes(p.ctx, ws), 0, p.want.WriteNotes(p.ctx, ws))
}

func (p *pair) notes(r *rapid.T) {
	space, key := pick(r, drawnSpaces, "space"), pick(r, drawnKeys, "key")
	got, gotErr := p.got.GetNote(p.ctx, space, key)
	want, wantErr := p.want.GetNote(p.ctx, space, key)
	same(r, fmt.Sprintf("GetNote(%s, %s)", space, key), got, gotErr, want, wantErr)
	q := store.NoteQuery{Space: space, Term: pick(r, append([]string{""}, drawnTerms...), "term"), After: pick(r, append([]string{"", ""}, drawnKeys...), "after"),
		Descending: rapid.Bool().Draw(r, "descending"), Limit: rapid.IntRange(1, 4).Draw(r, "limit")}
	ns, nsErr := p.got.ListNotes(p.ctx, q)
	wantNs, wantErr := p.want.ListNotes(p.ctx, q)
	same(r, fmt.Sprintf("ListNotes(%+v)", q), ns, nsErr, wantNs, wantErr)
	spaces, spacesErr := p.got.NoteSpaces(p.ctx)
	wantSpaces, wantErr := p.want.NoteSpaces(p.ctx)
	same(r, "NoteSpaces", spaces, spacesErr, wantSpaces, wantErr)
}

func (p *pair) get(r *rapid.T) {
	name, at := pick(r, drawnNames, "name"), p.position(r)
	got, gotErr := p.got.Get(p.ctx, name, at)
	want, wantErr := p.want.Get(p.ctx, name, at)
	same(r, fmt.Sprintf("Get(%s, %d)", name, at), got, gotErr, want, wantErr)
	number := rapid.Int64Range(0, 4).Draw(r, "number")
	got, gotErr = p.got.GetRevision(p.ctx, name, number)
	want, wantErr = p.want.GetRevision(p.ctx, name, number)
	same(r, fmt.Sprintf("GetRevision(%s, %d)", name, number), got, gotErr, want, wantErr)
}

func (p *pair) revisions(r *rapid.T) {
	name, at, before, limit := pick(r, drawnNames, "name"), p.position(r), rapid.Int64Range(0, 4).Draw(r, "before"), rapid.IntRange(1, 4).Draw(r, "limit")
	got, gotErr := p.got.Revisions(p.ctx, name, at, before, limit)
	want, wantErr := p.want.Revisions(p.ctx, name, at, before, limit)
	same(r, fmt.Sprintf("Revisions(%s, %d, %d, %d)", name, at, before, limit), got, gotErr, want, wantErr)
}

func (p *pair) list(r *rapid.T) {
	q := store.Query{Kind: pick(r, specdata.Kinds, "kind"), Withdrawn: rapid.Bool().Draw(r, "withdrawn"), Limit: rapid.IntRange(1, 5).Draw(r, "limit")}
	maybe := func(from []string, label string) string {
		if rapid.IntRange(0, 2).Draw(r, "with "+label) > 0 {
			return ""
		}
		return pick(r, from, label)
	}
	q.Vehicle, q.Source, q.Place, q.Thread = maybe(drawnVehicles, "vehicle"), maybe(drawnSources, "source"), maybe(drawnPlaces, "place"), maybe(drawnThreads, "thread")
	q.Joint = maybe([]string{"clamp", "plug"}, "joint")
	switch rapid.IntRange(0, 2).Draw(r, "from") {
	case 0:
		q.After = pick(r, drawnIDs, "after")
	case 1:
		q.Before = pick(r, drawnIDs, "before")
	}
	at := p.position(r)
	got, gotErr := p.got.List(p.ctx, q, at)
	want, wantErr := p.want.List(p.ctx, q, at)
	same(r, fmt.Sprintf("List(%+v, %d)", q, at), got, gotErr, want, wantErr)
}

func (p *pair) uses(r *rapid.T) {
	name, at := pick(r, drawnNames, "name"), p.position(r)
	got, gotErr := p.got.Uses(p.ctx, name, at)
	want, wantErr := p.want.Uses(p.ctx, name, at)
	same(r, fmt.Sprintf("Uses(%s, %d)", name, at), got, gotErr, want, wantErr)
}

func (p *pair) search(r *rapid.T) {
	text := pick(r, []string{"bolt", "carrier bolt", "nut", "hub", "m12", "quill", "magnetic drain", "unf", "nothing", ""}, "text")
	kind := pick(r, append([]specdata.Kind{""}, specdata.Kinds...), "kind")
	limit := pick(r, []int{1, 2, 100}, "limit")
	got, gotErr := p.got.Search(p.ctx, text, kind, limit)
	want, wantErr := p.want.Search(p.ctx, text, kind, limit)
	same(r, fmt.Sprintf("Search(%q, %q)", text, kind), got, gotErr, want, wantErr)
}

func (p *pair) log(r *rapid.T) {
	after, upTo, limit := p.position(r), p.position(r), rapid.IntRange(1, 6).Draw(r, "limit")
	got, gotErr := p.got.Log(p.ctx, after, upTo, limit)
	want, wantErr := p.want.Log(p.ctx, after, upTo, limit)
	same(r, fmt.Sprintf("Log(%d, %d, %d)", after, upTo, limit), got, gotErr, want, wantErr)
}

func (p *pair) resolve(r *rapid.T) {
	at := store.AtHead()
	switch rapid.IntRange(0, 3).Draw(r, "by") {
	case 0:
		at = store.AtPosition(p.position(r))
	case 1:
		at = store.AtTime(Epoch.Add(time.Duration(rapid.Int64Range(-1, 21).Draw(r, "time")) * time.Second))
	case 2:
		at = store.AtRelease(pick(r, []string{"r1", "r2"}, "release"))
	}
	got, gotErr := p.got.Resolve(p.ctx, at)
	want, wantErr := p.want.Resolve(p.ctx, at)
	same(r, fmt.Sprintf("Resolve(%+v)", at), got, gotErr, want, wantErr)
}

func (p *pair) releases(r *rapid.T) {
	x := store.Release{Name: pick(r, []string{"r1", "r2"}, "release"), Position: p.position(r), Note: "note", By: "ada", Time: Epoch}
	same(r, fmt.Sprintf("SetRelease(%s, %d)", x.Name, x.Position), 0, p.got.SetRelease(p.ctx, x), 0, p.want.SetRelease(p.ctx, x))
	got, gotErr := p.got.Releases(p.ctx)
	want, wantErr := p.want.Releases(p.ctx)
	same(r, "Releases", got, gotErr, want, wantErr)
}
