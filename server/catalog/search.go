package catalog

import (
	"context"
	"fmt"
	"iter"
	"maps"
	"slices"
	"strconv"
	"strings"

	"proofload/server/ask"
	"proofload/server/fault"
	"proofload/server/snapshot"
	"proofload/server/store"
	"proofload/server/store/index"
	"proofload/specdata"
	"proofload/specdata/lexicon"
	"proofload/specdata/whom"
	"proofload/specdata/wording"
)

// Found is one page of what a search finds.
type Found struct {
	Hits []Hit
	Next string
	// Unknown lists the words of the search that stand in no record, where nothing has
	// all words.
	Unknown  []Unknown
	Position int64
}

// Hit is a record that a search finds, with what tells it from others.
type Hit struct {
	store.Hit
	// Vehicles are the titles of the vehicles it is for.
	Vehicles []string
	// Value is the whole tightening of a fastener, all stages.
	Value string
	// For is what the record holds for, the zero For for a source.
	For whom.For
}

// Unknown is a word that is in no record, and the word that was perhaps meant.
type Unknown struct {
	Word, Near string
}

// maxVehicles bounds how many vehicles a search by a vehicle's name looks at.
const maxVehicles = 50

// Search returns one page of the records whose title, place, vehicle, thread, size or
// torque have every word, best first: as any shop says it, and by the name or the VIN of
// a vehicle too. It reads the newest state, since only that is indexed.
func (c *Catalog) Search(ctx context.Context, words string, kind specdata.Kind, p ask.Page, m ask.Moment) (*Found, error) {
	size, err := p.Limit(maxPage)
	if err != nil {
		return nil, err
	}
	switch {
	case strings.TrimSpace(words) == "":
		return nil, fault.Field("query", "query is empty; give the words to look for, like \"hub nut\"")
	case len(words) > 200:
		return nil, fault.Field("query", "query has %d bytes; allowed: 200", len(words))
	}
	if _, err := ask.Word("kind", string(kind), specdata.Kinds...); err != nil {
		return nil, err
	}
	query := fmt.Sprintf("search %q %q", words, kind)
	cur, err := c.start(ctx, query, p, ask.NewestFrom(m.Least))
	if err != nil {
		return nil, err
	}
	from := 0
	if cur.After != "" {
		if from, err = strconv.Atoi(cur.After); err != nil || from < 0 || from >= store.MaxLimit {
			return nil, ask.Foreign()
		}
	}
	s := c.Follower.At(ctx, cur.Position)
	asked, err := c.asked(s, words)
	if err != nil {
		return nil, err
	}
	// Ranked answers have no key to go on behind, so the pages before are found
	// again; nobody reads past the thousandth.
	all, err := c.search(ctx, asked, kind, min(from+size+1, store.MaxLimit))
	if err != nil {
		return nil, err
	}
	found := &Found{Position: cur.Position}
	if len(all) == 0 {
		if found.Unknown, err = c.unknown(ctx, s, asked); err != nil {
			return nil, err
		}
	}
	for _, h := range all[min(from, len(all)):min(from+size, len(all))] {
		hit, err := dressed(s, h)
		if err != nil {
			return nil, err
		}
		found.Hits = append(found.Hits, hit)
	}
	if from+size < len(all) {
		found.Next = c.Pages.Token(query, ask.Cursor{Position: cur.Position, After: strconv.Itoa(from + size)})
	}
	return found, s.Err()
}

// asked cuts a search into words. A vehicle identification number becomes the word of
// its vehicle.
func (c *Catalog) asked(s *snapshot.Snapshot, words string) ([]lexicon.Asked, error) {
	var rest []string
	var out []lexicon.Asked
	for _, w := range strings.Fields(words) {
		if specdata.CheckVIN(strings.ToUpper(w)) != nil || !strings.ContainsAny(w, "0123456789") {
			rest = append(rest, w)
			continue
		}
		ids, err := byVIN(s, strings.ToUpper(w))
		if err != nil {
			return nil, err
		}
		out = append(out, lexicon.Asked{Word: index.VehicleWord(ids[0]), Text: w})
	}
	return append(out, lexicon.Default().Query(strings.Join(rest, " "))...), nil
}

// search finds what has all words, and failing that what has some of them and is for a
// vehicle whose name has the others.
func (c *Catalog) search(ctx context.Context, asked []lexicon.Asked, kind specdata.Kind, limit int) ([]store.Hit, error) {
	hits, err := c.Follower.Store.Search(ctx, joined(asked), kind, limit)
	if err != nil || len(hits) > 0 || len(asked) < 2 {
		return hits, err
	}
	named := map[specdata.Name]int{} // vehicle to the number of words its name has
	var rest []lexicon.Asked
	words := 0
	for _, a := range asked {
		vs, err := c.Follower.Store.Search(ctx, a.Word, specdata.KindVehicle, maxVehicles)
		if err != nil {
			return nil, err
		}
		if len(vs) == 0 {
			rest = append(rest, a)
			continue
		}
		words++
		for _, v := range vs {
			named[v.Name]++
		}
	}
	for _, v := range slices.Sorted(maps.Keys(named)) {
		if named[v] < words || len(hits) >= limit {
			continue
		}
		more, err := c.Follower.Store.Search(ctx, joined(append([]lexicon.Asked{{Word: index.VehicleWord(v.ID())}}, rest...)), kind, limit-len(hits))
		if err != nil {
			return nil, err
		}
		hits = append(hits, more...)
	}
	return hits, nil
}

func joined(asked []lexicon.Asked) string {
	var words []string
	for _, a := range asked {
		words = append(words, a.Word)
	}
	return strings.Join(words, " ")
}

// unknown lists the words that nothing has, with the nearest word of the trade, of a
// vehicle's name or of a place.
func (c *Catalog) unknown(ctx context.Context, s *snapshot.Snapshot, asked []lexicon.Asked) ([]Unknown, error) {
	var out []Unknown
	for _, a := range asked {
		hits, err := c.Follower.Store.Search(ctx, a.Word, "", 1)
		if err != nil {
			return nil, err
		}
		if len(hits) > 0 {
			continue
		}
		u := Unknown{Word: a.Text}
		if said(a) { // the trade says it, and nothing is called it here
			out = append(out, u)
			continue
		}
		near := func(words iter.Seq[string]) {
			if u.Near == "" {
				u.Near = specdata.Nearest(strings.ToLower(a.Text), words)
			}
		}
		near(slices.Values(lexicon.Default().Vocabulary()))
		near(vehicleWords(s))
		out = append(out, u)
	}
	return out, nil
}

// said reports whether a word of a search is one that the trade has.
func said(a lexicon.Asked) bool {
	return len(lexicon.Default().Longest(lexicon.Default().Tokens(a.Text))) > 0
}

// vehicleWords returns the words of the vehicles' titles.
func vehicleWords(s *snapshot.Snapshot) iter.Seq[string] {
	return func(yield func(string) bool) {
		for e := range s.All(specdata.KindVehicle) {
			for w := range strings.FieldsSeq(strings.ToLower(e.Record.Header().Title)) {
				if !yield(w) {
					return
				}
			}
		}
	}
}

// dressed adds to a hit for what it holds and what its value is.
func dressed(s *snapshot.Snapshot, h store.Hit) (Hit, error) {
	out := Hit{Hit: h}
	r, err := s.Record(h.Name)
	if err != nil || r == nil {
		return out, err
	}
	if f, ok := r.Entry.Record.(*specdata.Fastener); ok {
		out.Value = wording.Tightening(f.Tightening)
	}
	out.For = whom.OfRecord(s, r.Entry.Record)
	for _, a := range specdata.AppliesOf(r.Entry.Record) {
		title := a.Vehicle
		if v := s.Get(specdata.NewName(specdata.KindVehicle, a.Vehicle)); v != nil {
			title = v.Record.Header().Title
		}
		if !slices.Contains(out.Vehicles, title) {
			out.Vehicles = append(out.Vehicles, title)
		}
	}
	return out, nil
}
