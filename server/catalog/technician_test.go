package catalog_test

import (
	"path"
	"slices"
	"strings"
	"testing"

	"proofload/server/ask"
	"proofload/server/store"
	"proofload/specdata"
)

// What a technician types at a bench, and the record that has to be among the first three:
// written before the search was looked at (common practice, no source). A star stands for
// any letters; several patterns are several right answers.
var typed = []struct{ query, want string }{
	{"quill rear hub nut", "fasteners/quill-1-rear-hub-*nut*"},
	{"hub nut quill", "fasteners/quill-1-rear-hub-*nut*"},
	{"stub axle nut", "fasteners/*-rear-hub-*nut*"},
	{"lug nuts dray", "fasteners/dray-2-wheel-nut"},
	{"lug bolt skerry", "fasteners/skerry-1-wheel-bolt"},
	{"lugnut quill", "fasteners/quill-1-wheel-nut"},
	{"wheel stud nut", "fasteners/*wheel-nut*"},
	{"wheel torque tamber", "fasteners/tamber-2-wheel-bolt"},
	{"wheels quill", "fasteners/quill-1-wheel-nut"},
	{"T50", "fasteners/dray-2-belt-anchor-bolt fasteners/pell-1-cylinder-head-bolt* fasteners/quill-1-belt-anchor-bolt fasteners/quill-1-front-seat-bolt fasteners/quill-1-rear-belt-buckle-bolt fasteners/quill-1-steering-wheel-bolt fasteners/skerry-1-belt-reel-bolt fasteners/tamber-2-pretensioner-bolt"},
	{"T50 seat quill", "fasteners/quill-1-front-seat-bolt"},
	{"E10", "fasteners/dray-2-clutch-cover-bolt"},
	{"E14 hub tamber", "fasteners/tamber-2-*-hub-unit-bolt"},
	{"110", "fasteners/quill-1-wheel-nut fasteners/dray-2-front-ball-joint-nut fasteners/dray-2-spring-u-bolt-nut fasteners/tamber-2-rear-damper-lower-bolt"},
	{"110 nm wheel", "fasteners/quill-1-wheel-nut"},
	{"110Nm", "fasteners/quill-1-wheel-nut fasteners/dray-2-front-ball-joint-nut fasteners/dray-2-spring-u-bolt-nut fasteners/tamber-2-rear-damper-lower-bolt"},
	{"81 ft lb", "fasteners/quill-1-wheel-nut fasteners/dray-2-front-ball-joint-nut fasteners/dray-2-spring-u-bolt-nut fasteners/tamber-2-rear-damper-lower-bolt"},
	{"crows foot", "fasteners/*union* fasteners/*-sensor fasteners/*bleed-screw"},
	{"flare nut quill", "fasteners/quill-1-rear-brake-pipe-union"},
	{"brake line nut quill rear", "fasteners/quill-1-rear-brake-pipe-union"},
	{"bleeder screw quill front", "fasteners/quill-1-front-bleed-screw"},
	{"bleed nipple skerry", "fasteners/skerry-1-rear-bleed-screw"},
	{"caliper bracket bolt quill rear", "fasteners/quill-1-rear-carrier-bolt*"},
	{"front caliper bolts dray", "fasteners/dray-2-front-carrier-bolt* fasteners/dray-2-guide-pin-bolt*"},
	{"slide pin bolt", "fasteners/*guide-pin-bolt*"},
	{"oil drain plug quill", "fasteners/quill-1-sump-plug*"},
	{"sump plug pell", "fasteners/pell-1-sump-plug"},
	{"drain plug gearbox", "fasteners/*gearbox-drain-plug"},
	{"rear axle drain", "fasteners/brindle-3-axle-drain-plug"},
	{"head bolts pell", "fasteners/pell-1-cylinder-head-bolt*"},
	{"spark plugs", "fasteners/*-spark-plug"},
	{"shock absorber lower quill", "fasteners/quill-1-rear-damper-lower-bolt"},
	{"shock bolt tamber", "fasteners/tamber-2-rear-damper-lower-bolt"},
	{"tie rod end nut quill", "fasteners/quill-1-track-rod-end-nut"},
	{"sway bar link quill", "fasteners/quill-1-drop-link-nut"},
	{"control arm bolt tamber", "fasteners/tamber-2-arm-*-bolt"},
	{"crank bolt pell", "fasteners/pell-1-crank-pulley-bolt"},
	{"water pump bolts pell", "fasteners/pell-1-coolant-pump-bolt fasteners/pell-1-pump-pulley-bolt"},
	{"seatbelt bolt quill", "fasteners/quill-1-belt-anchor-bolt fasteners/quill-1-rear-belt-buckle-bolt"},
	{"o2 sensor", "fasteners/tamber-2-lambda-sensor"},
	{"lambda sensor", "fasteners/tamber-2-lambda-sensor"},
	{"con rod bolts", "fasteners/pell-1-rod-cap-bolt"},
	{"flywheel", "fasteners/*-flywheel-bolt"},
	{"M14x1.5 wheel", "fasteners/*-wheel-*"},
	{"m24x1.5", "fasteners/quill-1-rear-hub-nut fasteners/brindle-3-front-hub-*"},
	{"21mm wheel nut", "fasteners/brindle-3-wheel-nut fasteners/dray-2-wheel-nut"},
	{"abs sensor rear quill", "fasteners/quill-1-rear-speed-sensor-bolt"},
	{"starter motor bolt", "fasteners/quill-1-starter-bolt"},
	{"u bolt", "fasteners/*u-bolt-nut*"},
	{"pads front dray", "procedures/dray-2-front-discs-and-pads"},
	{"brake shoes skerry", "procedures/skerry-1-rear-brake-shoes"},
	{"hub bearing quill", "procedures/quill-1-rear-hub-bearing"},
	{"oil change pell", "procedures/pell-1-oil-and-filter"},
	{"wishbone bush bolt", "fasteners/*arm*bush-bolt fasteners/*lower-arm-*"},
}

func TestTechnicianFinds(t *testing.T) {
	s := demoShop(t)
	missed := 0
	for _, q := range typed {
		found, err := s.Search(t.Context(), q.query, "", ask.Page{Size: 3}, ask.Newest())
		if err != nil {
			t.Errorf("%q: %v", q.query, err)
			continue
		}
		var names []string
		for _, h := range found.Hits {
			names = append(names, string(h.Name))
		}
		if !slices.ContainsFunc(names, func(n string) bool {
			return slices.ContainsFunc(strings.Fields(q.want), func(want string) bool { ok, _ := path.Match(want, n); return ok })
		}) {
			missed++
			t.Errorf("%q finds %v %v, and not %s", q.query, names, found.Unknown, q.want)
		}
	}
	t.Logf("%d of %d queries miss", missed, len(typed))
}

// A word that the trade has is not taken for a slip where no record has it.
func TestNothingIsNoSlip(t *testing.T) {
	s := newShop(t)
	found, err := s.Search(t.Context(), "lug nut", "", ask.Page{}, ask.Newest())
	if err != nil || len(found.Hits) != 0 {
		t.Fatalf("an empty store finds %v, %v", found, err)
	}
	for _, u := range found.Unknown {
		if u.Near != "" {
			t.Errorf("%q is said to be a slip for %q", u.Word, u.Near)
		}
	}
}

// The place of a list is forgiven its spelling; one that is none is answered with those that are.
func TestListByPlace(t *testing.T) {
	s := demoShop(t)
	list := func(place string) (int, error) {
		views, _, _, err := s.List(t.Context(), store.Query{Kind: specdata.KindFastener, Place: place}, ask.Page{Size: 200}, ask.Newest())
		return len(views), err
	}
	exact, err := list("rear hub")
	if err != nil || exact == 0 {
		t.Fatalf("%d at the rear hub, %v", exact, err)
	}
	for _, place := range []string{"rearhub", "Rear Hub", "rear-hub", "REAR  HUB", "hub rear"} {
		if n, err := list(place); err != nil || n != exact {
			t.Errorf("%q lists %d, want %d (%v)", place, n, exact, err)
		}
	}
	for place, want := range map[string]string{"rear hbu": "rear hub", "boot": "cabin", "hub": "front hub, rear hub"} {
		if _, err := list(place); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q is answered with %v, want %q", place, err, want)
		}
	}
	if views, _, _, err := s.List(t.Context(), store.Query{Kind: specdata.KindFastener, Place: "rear hub", Vehicle: "pell-1"}, ask.Page{}, ask.Newest()); err != nil || len(views) != 0 {
		t.Errorf("a place that another filter leaves nothing of: %d, %v", len(views), err)
	}
}
