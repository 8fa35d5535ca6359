package index_test

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"proofload/server/store"
	"proofload/server/store/index"
	"proofload/server/store/storetest"
	"proofload/specdata"
)

func TestWords(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"", ""},
		{"Stub-axle collar nut", "stub axle collar nut"},
		{"M24x1.5", "m24x1.5"},
		{"M24×1.5 LH", "m24x1.5 lh"},
		{"M12 x 1.5", "m12 x 1.5"},
		{"7/16-20 UNF", "7/16-20 unf"},
		{"9/16 in, 1.25.", "9/16 in 1.25"},
		{"rear/front", "rear front"},
		{"and/or 3/", "and or 3"},
		{"½ in", "1/2 in"},
		{"Zoë's Größe, Ärger", "zoe s große arger"},
		{"Å ① ﬁ", "a 1 fi"}, // compatibility forms, Unicode Standard Annex 15
		{"bolt bolt BOLT", "bolt"},
		{"болт ЗАДНИЙ", "болт заднии"}, // й is и with a breve
		{"a\x00b\xffc", "a b c"},
		{"=fastener \"quoted\" (AND)", "fastener quoted and"},
	} {
		if got := strings.Join(index.Words(c.text), " "); got != c.want {
			t.Errorf("Words(%q) gives %q, want %q", c.text, got, c.want)
		}
	}
}

// What a text is cut into is cut no further, and holds nothing that an engine's query
// language would take for its own.
func FuzzWords(f *testing.F) {
	for _, s := range []string{"M24x1.5", "7/16-20 UNF", "½ Zoë", "\xff", "ﷺ İ", "1.-2"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		words := index.Words(text)
		for i, w := range words {
			if w == "" || !utf8.ValidString(w) || strings.ContainsAny(w, " \"'=()*:^\x00") {
				t.Errorf("Words(%q) gives %q", text, w)
			}
			if slices.Contains(words[:i], w) {
				t.Errorf("Words(%q) gives %q twice", text, w)
			}
		}
	})
}

func TestOf(t *testing.T) {
	bolt := storetest.Fastener("b", "Carrier bolt, M8", "rear hub", "M12x1.5", specdata.JointClamp, 60, "quill-chassis", "quill-1", "quill-2", "quill-1")
	bolt.Pairs = []specdata.Pair{{Fastener: "a", As: "bolt-nut"}}
	got, err := index.Of(bolt.Name(), storetest.Canonical(t, bolt))
	if err != nil {
		t.Fatal(err)
	}
	var keys []string
	for _, term := range got.Terms {
		keys = append(keys, term.Key())
	}
	if want := "joint=clamp place=rear hub reference=fasteners/a source=quill-chassis thread=M12x1.5 vehicle=quill-1 vehicle=quill-2"; strings.Join(keys, " ") != want {
		t.Errorf("terms are %q, want %q", keys, want)
	}
	if want := "18 18mm 44 44lbfft 60 60nm 8 bolt carrier hub m m12 m12x1.5 m8 qbolt qcalipercarrier qcarrierbolt qhub qrear qvehiclequill1 qvehiclequill2 rear"; strings.Join(got.Words, " ") != want {
		t.Errorf("words are %q, want %q", got.Words, want)
	}
	if got.Title != "Carrier bolt, M8" || got.Detail != "rear hub" {
		t.Errorf("title and detail are %q and %q", got.Title, got.Detail)
	}
	for name, document := range map[specdata.Name]string{
		"fasteners/a":  `{"kind":"fastener","id":"b"}`,
		"vehicles/b":   `{"kind":"fastener","id":"b"}`,
		"people/b":     `{"kind":"fastener","id":"b"}`,
		"fasteners/b":  `{"kind":"fastener","id":"b"} {}`,
		"sources/b":    `null`,
		"assemblies/b": `{"kind":"assembly","id":"b","parts":3}`,
	} {
		if _, err := index.Of(name, []byte(document)); !errors.Is(err, store.ErrInvalid) {
			t.Errorf("Of(%s, %s) gives error %v, want %v", name, document, err, store.ErrInvalid)
		}
	}
}

// A document that refers to a record has one of the terms that say so.
func TestReferring(t *testing.T) {
	bolt := storetest.Fastener("b", "Bolt", "hub", "", specdata.JointClamp, 60, "quill-chassis", "quill-1")
	bolt.Replaces = "a"
	notes := &specdata.Source{Head: specdata.Head{Kind: specdata.KindSource, ID: "notes", Title: "Notes"}, Supersedes: []string{"old"}, Concerns: []string{"quill-1"}}
	for _, r := range []specdata.Record{bolt, notes} {
		f, err := index.Of(r.Name(), storetest.Canonical(t, r))
		if err != nil {
			t.Fatal(err)
		}
		for _, ref := range specdata.References(r) {
			if !f.HasAny(index.Referring(ref.Name)) {
				t.Errorf("%s refers to %s and has none of its terms: %v", r.Name(), ref.Name, f.Terms)
			}
		}
	}
	// Neither applies to the vehicle nor cites the source.
	f, _ := index.Of(notes.Name(), storetest.Canonical(t, notes))
	if f.Has(index.Filters(store.Query{Vehicle: "quill-1"})) || f.Has(index.Filters(store.Query{Source: "old"})) {
		t.Errorf("what a source supersedes and concerns is taken for what it cites and applies to: %v", f.Terms)
	}
}
