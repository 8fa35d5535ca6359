package catalog_test

import (
	"slices"
	"strings"
	"testing"

	"proofload/server/ask"
	"proofload/server/catalog"
	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/whom"
)

// demoShop is a shop with the demo library.
func demoShop(t *testing.T) *shop {
	t.Helper()
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	var rs []specdata.Record
	for _, k := range specdata.Kinds {
		for e := range lib.All(k) {
			rs = append(rs, e.Record)
		}
	}
	return newShop(t, rs...)
}

// Every fastener of the demo is found by its own title and place, as a person would type them.
func TestResolveByOwnTitle(t *testing.T) {
	s := demoShop(t)
	n := 0
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	for e := range lib.All(specdata.KindFastener) {
		f := e.Record.(*specdata.Fastener)
		n++
		for _, w := range []catalog.Wanted{
			{Vehicle: f.AppliesTo[0].Vehicle, Title: f.Title},
			{Vehicle: f.AppliesTo[0].Vehicle, Title: strings.ToUpper(f.Title), Place: strings.ToUpper(f.Place)},
			{Vehicle: f.AppliesTo[0].Vehicle, Title: strings.ReplaceAll(f.Title, "-", " ") + "s", Place: f.Place},
		} {
			res, err := s.Resolve(t.Context(), w, ask.Newest())
			if err != nil {
				t.Fatal(err)
			}
			found := res.Fastener != nil && res.Fastener.Name == f.Name() ||
				slices.ContainsFunc(res.Candidates, func(c catalog.Candidate) bool { return c.Fastener.ID == f.ID && len(c.Differs) == 0 })
			if !found {
				t.Errorf("%s asked for as %q at %q: %s", f.ID, w.Title, w.Place, res.Outcome)
			}
		}
	}
	if n < 229 {
		t.Errorf("the demo has %d fasteners; the loop is for at least 229", n)
	}
}

// Words of the trade find what the demo calls otherwise; the queries are those that a
// review found nothing with.
func TestSearchSpeaksTheTrade(t *testing.T) {
	s := demoShop(t)
	for query, want := range map[string]string{
		"lug nut": "quill-1-wheel-nut", "tie rod end": "quill-1-track-rod-end-nut", "tie rod": "quill-1-track-rod-end-nut",
		"shock absorber": "skerry-1-rear-damper-lower-bolt", "control arm": "quill-1-lower-arm-front-bolt", "wishbone": "quill-1-lower-arm-front-bolt",
		"sway bar link": "quill-1-drop-link-nut", "anti-roll bar link": "quill-1-drop-link-nut", "caliper bracket bolt": "quill-1-rear-carrier-bolt",
		"oil drain plug": "quill-1-sump-plug", "bleed nipple": "quill-1-rear-bleed-screw", "ABS sensor": "quill-1-rear-speed-sensor-bolt",
		"crossmember": "quill-1-subframe-bolt", "110 Nm": "quill-1-wheel-nut", "81 lb-ft": "quill-1-wheel-nut", "19 mm": "quill-1-wheel-nut",
		"rotor": "quill-1-rear-disc-screw", "calliper": "quill-1-rear-carrier-bolt", "caliper quill": "quill-1-rear-carrier-bolt",
		"Vessary lug nut": "quill-1-wheel-nut", "0VCAB1246JV004711 lug nut": "quill-1-wheel-nut", "0VCAB1246JV004711": "quill-1",
		"hub nut quill 1.4": "quill-1-rear-hub-nut", "muffler": "dray-2-rear-silencer", "stub axle collar nut": "quill-1-rear-hub-nut",
		"transmission drain plug": "pell-1-gearbox-drain-plug", "water pump bolt": "pell-1-coolant-pump-bolt", "torque for lug nuts": "quill-1-wheel-nut",
	} {
		found, err := s.Search(t.Context(), query, "", ask.Page{Size: 200}, ask.Newest())
		if err != nil {
			t.Errorf("%q: %v", query, err)
			continue
		}
		if !slices.ContainsFunc(found.Hits, func(h catalog.Hit) bool { return h.Name.ID() == want }) {
			t.Errorf("%q finds %d records, not %s; unknown: %v", query, len(found.Hits), want, found.Unknown)
		}
	}
}

// A hit tells itself from others of its title; a slip is told the word that was meant.
func TestHitsSayForWhatAndHowMuch(t *testing.T) {
	s := demoShop(t)
	found, err := s.Search(t.Context(), "front bush bolt tamber", specdata.KindFastener, ask.Page{}, ask.Newest())
	if err != nil || len(found.Hits) == 0 {
		t.Fatalf("finds %v, %v", found, err)
	}
	h := found.Hits[0]
	if !slices.Equal(h.Vehicles, []string{"Vessary Tamber 2.0"}) || !strings.Contains(h.Value, "N·m") || !strings.Contains(h.Value, "°") || h.Place == "" {
		t.Errorf("hit is %+v; want vehicle, place and the value with its angle", h)
	}
	found, err = s.Search(t.Context(), "calpier bolt", "", ask.Page{}, ask.Newest())
	if err != nil || len(found.Hits) != 0 || len(found.Unknown) != 1 || found.Unknown[0].Near != "caliper" {
		t.Errorf("a slip gives %+v, %v; want the suggestion caliper", found, err)
	}
}

func TestPlaceInAnySpelling(t *testing.T) {
	s := demoShop(t)
	vehicle := specdata.Name("vehicles/quill-1")
	rows := func(place, side string) *catalog.Table {
		t.Helper()
		table, err := s.Table(t.Context(), vehicle, place, whom.Stated{Side: side}, ask.Page{Size: 200}, ask.Newest())
		if err != nil {
			t.Fatal(err)
		}
		return table
	}
	exact := len(rows("rear hub", "").Fasteners)
	if exact == 0 {
		t.Fatal("no rear hub in the demo")
	}
	for _, place := range []string{"Rear Hub", "REAR-HUB", "hub", " rear  hub ", "wheel hub"} {
		if got := len(rows(place, "").Fasteners); got < exact {
			t.Errorf("place %q gives %d rows; %q gives %d", place, got, "rear hub", exact)
		}
	}
	none := rows("rear hbu", "")
	if len(none.Fasteners) != 0 || len(none.Places) == 0 || none.Places[0] != "rear hub" {
		t.Errorf("place \"rear hbu\" gives %d rows and the places %q; want rear hub first", len(none.Fasteners), none.Places)
	}
	if all, left := len(rows("", "").Fasteners), len(rows("", "left").Fasteners); left < all-5 {
		t.Errorf("the left side keeps %d of %d rows; what stands on neither side stays", left, all)
	}
}
