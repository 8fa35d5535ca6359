package dryrun_test

import (
	"slices"
	"testing"

	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
)

// The set-up block of a variant keeps what its steps use and what no step names, and
// leaves out what only steps of another use.
func TestSetUpOf(t *testing.T) {
	manual, auto := map[string][]string{"gearbox": {"manual"}}, map[string][]string{"gearbox": {"automatic"}}
	p := &specdata.Procedure{
		Tools: []specdata.Tool{
			{ID: "wrench", Title: "Torque wrench"}, {ID: "pin", Title: "Selector pin"}, {ID: "tray", Title: "Drain tray"}, {ID: "lamp", Title: "Inspection lamp"}, {ID: "key", Title: "Pry bar"},
		},
		Parts: []specdata.NewPart{{Part: "seal", Title: "Seal"}, {Part: "filter", Title: "Filter"}},
		Consumables: []specdata.Consumable{
			{ID: "oil", Title: "Gear oil"}, {ID: "atf", Title: "Transmission fluid"}, {ID: "rag", Title: "Rag"},
		},
		Steps: []specdata.Step{
			{ID: "a", Text: "Pull the old filter with the pry bar.", Operations: []specdata.Operation{{Do: specdata.Remove, Target: "part:filter"}, {Do: specdata.Drain, Target: "circuit:c", With: "tray"}}},
			{ID: "b", Where: manual, Operations: []specdata.Operation{{Do: specdata.Fit, Target: "part:seal", New: true}, {Do: specdata.Fill, Target: "circuit:c", With: "oil"}}},
			{ID: "c", Where: auto, Text: "Hold it with the {tool:pin}.", Operations: []specdata.Operation{{Do: specdata.Fit, Target: "part:filter", New: true}, {Do: specdata.Fill, Target: "circuit:c", With: "atf"}}},
		},
	}
	lib, err := library.NewMemory()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		gearbox string
		want    []string
	}{
		{"manual", []string{"wrench", "tray", "lamp", "key", "Seal", "oil", "rag"}},
		{"automatic", []string{"wrench", "pin", "tray", "lamp", "key", "Filter", "atf", "rag"}},
	} {
		s := dryrun.SetUpOf(lib, p, []dryrun.Variant{{Vehicle: "v", Options: []dryrun.Option{{Key: "gearbox", Value: c.gearbox}}}})
		var got []string
		for _, x := range s.Tools {
			got = append(got, x.Thing.ID)
		}
		for _, x := range s.Parts {
			got = append(got, x.Thing.Title)
		}
		for _, x := range s.Consumables {
			got = append(got, x.Thing.ID)
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s lays out %q, want %q", c.gearbox, got, c.want)
		}
	}
}
