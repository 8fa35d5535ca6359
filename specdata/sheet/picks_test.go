package sheet_test

import (
	"slices"
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
	"proofload/specdata/sheet"
)

// sheetsOf returns the sheet of every variant of a procedure of the demo, by the words of
// the variant.
func sheetsOf(t *testing.T, id string) map[string]*sheet.Sheet {
	t.Helper()
	lib := demoLibrary(t)
	out := map[string]*sheet.Sheet{}
	p := library.Procedure(lib, id)
	for _, v := range dryrun.Variants(lib, p) {
		s, err := sheet.New(lib, request(p, v))
		if err != nil {
			t.Fatal(err)
		}
		out[v.String()] = s
	}
	return out
}

// A fluid without its grade is poured in wrong: the grade stands beside the amount.
func TestFluidsSayTheirGrade(t *testing.T) {
	lib := demoLibrary(t)
	for e := range lib.All(specdata.KindProcedure) {
		p := e.Record.(*specdata.Procedure)
		for _, s := range sheetsOf(t, p.ID) {
			for _, c := range p.Consumables {
				i := slices.IndexFunc(s.Supplies, func(line string) bool { return strings.HasPrefix(line, c.Title) })
				if i < 0 || c.Specification == "" {
					continue
				}
				if !strings.Contains(s.Supplies[i], c.Specification) || !strings.Contains(s.Supplies[i], specdata.Display(c.Amount)) {
					t.Errorf("%s lists %q, without %s or its amount", p.ID, s.Supplies[i], c.Specification)
				}
			}
		}
	}
}

// What only a step of another variant uses is not laid out.
func TestPickListIsOfTheVariant(t *testing.T) {
	const additive = "Additive for limited-slip axles, 120 mL"
	sheets := sheetsOf(t, "brindle-3-rear-axle-cover-reseal")
	for variant, want := range map[string]bool{"brindle-3, axle open": false, "brindle-3, axle limited-slip": true} {
		s := sheets[variant]
		if s == nil {
			t.Fatalf("no variant %s", variant)
		}
		if got := slices.Contains(s.Supplies, additive); got != want {
			t.Errorf("%s lists the additive: %v, want %v: %q", variant, got, want, s.Supplies)
		}
		if len(s.Tools) == 0 || len(s.Parts) != 3 || len(s.Supplies) < 2 {
			t.Errorf("%s lists %q, %q, %q: what every variant needs is missing", variant, s.Tools, s.Parts, s.Supplies)
		}
	}
}

// Stages are passes: beside one of four, "4 passes" reads as four times its value.
func TestStagesCountNoPasses(t *testing.T) {
	for _, id := range []string{"pell-1-cylinder-head-refit", "brindle-3-rear-axle-cover-reseal"} {
		for variant, s := range sheetsOf(t, id) {
			for _, row := range s.Torques {
				if row.Stage == "" {
					continue
				}
				if i := slices.IndexFunc(row.Notes, func(n string) bool { return strings.Contains(n, "passes") }); i >= 0 {
					t.Errorf("%s, %s: %s says %q", variant, row.What, row.Stage, row.Notes[i])
				}
			}
		}
	}
}

// Two sheets with other values have another hash at their foot.
func TestFootHashesWhatIsPrinted(t *testing.T) {
	lib := demoLibrary(t)
	p := library.Procedure(lib, "brindle-3-rear-axle-cover-reseal")
	v := dryrun.Variants(lib, p)[0]
	before, err := sheet.New(lib, request(p, v))
	if err != nil {
		t.Fatal(err)
	}
	var entries []*library.Entry
	for _, k := range specdata.Kinds {
		for e := range lib.All(k) {
			if f, ok := e.Record.(*specdata.Fastener); ok && f.ID == "brindle-3-axle-drain-plug" {
				c, tight := *f, *f.Tightening
				tight.Stages = []specdata.Stage{{Torque: specdata.MustQuantity("47 N.m")}}
				c.Tightening = &tight
				e = &library.Entry{Record: &c, Hash: strings.Repeat("0", 64)}
			}
			entries = append(entries, e)
		}
	}
	changed, err := library.NewMemory(entries...)
	if err != nil {
		t.Fatal(err)
	}
	after, err := sheet.New(changed, request(p, v))
	if err != nil {
		t.Fatal(err)
	}
	foot := func(s *sheet.Sheet) string { f := s.Foot(); return f[len(f)-1] }
	if before.Hash == after.Hash || foot(before) == foot(after) || !strings.Contains(foot(after), "records it rests on "+after.Hash) {
		t.Errorf("before %q, after another torque %q", foot(before), foot(after))
	}
}
