package storetest

import (
	"fmt"
	"testing"
	"time"

	"proofload/server/store"
	"proofload/specdata"
	"proofload/specdata/document"
)

// Epoch is the time of the first publication that Publication makes.
var Epoch = time.Date(2026, 9, 14, 8, 0, 0, 123456789, time.UTC)

// Canonical returns the canonical document of a record.
func Canonical(t testing.TB, r specdata.Record) []byte {
	t.Helper()
	b, err := document.Canonical(r)
	if err != nil {
		t.Fatalf("record %s has no canonical form: %v", r.Name(), err)
	}
	return b
}

// Fastener returns a fastener of usual size for tests, without giving every field a
// meaning: what it is found by comes from the arguments, its torque is in N·m.
func Fastener(id, title, place, thread string, joint specdata.JointKind, torque int, source string, vehicles ...string) *specdata.Fastener {
	f := &specdata.Fastener{
		Head:  specdata.Head{Kind: specdata.KindFastener, ID: id, Title: title},
		Place: place, Count: 4, Joint: joint,
		Drive: &specdata.Drive{Turn: "head", Head: "hex 18 mm"},
		Tightening: &specdata.Tightening{
			Stages:    []specdata.Stage{{Torque: specdata.MustQuantity(fmt.Sprintf("%d N.m", torque))}},
			Tolerance: specdata.MustQuantity("10 %"), State: specdata.StateAny, Drag: "not-applicable", Impact: "never",
			Hold: &specdata.Hold{Turns: "stub axle", With: "hand brake or bar"},
		},
		Surface:   &specdata.Surface{Condition: "dry"},
		Strength:  &specdata.Strength{Bolt: "8.8", Nut: "8"},
		Reuse:     &specdata.Reuse{Rule: "replace"},
		FollowUps: []specdata.FollowUp{{Check: "turns-freely"}},
		Safety:    "wheel",
	}
	if thread != "" {
		f.Thread = &specdata.Thread{Designation: thread, Hand: "right", Into: "steel", Engagement: specdata.MustQuantity("22 mm")}
	}
	for _, v := range vehicles {
		f.AppliesTo = append(f.AppliesTo, specdata.Applies{Vehicle: v, Where: map[string][]string{"rear_brake": {"disc"}}, Side: specdata.SideEach})
	}
	if source != "" {
		f.Source = &specdata.Citation{Document: source, At: "sheet 12 row 4", ReadOn: "2026-09-14", EnteredBy: "ada", CheckedBy: "ben"}
	}
	return f
}

// Bolt returns a fastener that differs from the others by its number and torque only.
func Bolt(number, torque int) *specdata.Fastener {
	return Fastener(fmt.Sprintf("quill-1-bolt-%06d", number), fmt.Sprintf("Carrier bolt %d", number), "rear hub", "M12x1.5", specdata.JointClamp, torque, "quill-chassis", "quill-1")
}

func vehicle(id, make, model string) *specdata.Vehicle {
	return &specdata.Vehicle{Head: specdata.Head{Kind: specdata.KindVehicle, ID: id, Title: make + " " + model}, Make: make, Model: model, Built: &specdata.Built{From: "2016-W01"}}
}

func source(id, title, issuer string, supersedes ...string) *specdata.Source {
	return &specdata.Source{Head: specdata.Head{Kind: specdata.KindSource, ID: id, Title: title}, Issuer: issuer, Date: "2018-03-01", Type: "maker", Licence: "numbers may be quoted", Supersedes: supersedes}
}

func assembly(id, title, place, vehicle string, heldBy ...string) *specdata.Assembly {
	return &specdata.Assembly{
		Head: specdata.Head{Kind: specdata.KindAssembly, ID: id, Title: title}, Place: place, AppliesTo: []specdata.Applies{{Vehicle: vehicle}},
		Parts: []specdata.Part{{ID: "drum", Title: "Brake drum", HeldBy: heldBy}},
	}
}

func procedure(id, title, vehicle, assembly string, tighten ...string) *specdata.Procedure {
	p := &specdata.Procedure{
		Head: specdata.Head{Kind: specdata.KindProcedure, ID: id, Title: title}, AppliesTo: []specdata.Applies{{Vehicle: vehicle}},
		Assemblies: []string{assembly}, Sides: "one",
	}
	p.Steps = []specdata.Step{{ID: "look", Text: "Look at the bearing."}}
	for i, f := range tighten {
		p.Steps = append(p.Steps, specdata.Step{
			ID: fmt.Sprintf("step-%d", i+1), Text: "Tighten to {torque:" + f + "}.",
			Operations: []specdata.Operation{{Do: specdata.Tighten, Target: specdata.Target("fastener:" + f)}},
		})
	}
	return p
}

// Put is the change that publishes a record over the revision base.
func Put(t testing.TB, r specdata.Record, base int64) store.Change {
	t.Helper()
	return store.Change{Name: r.Name(), Base: base, Document: Canonical(t, r)}
}

// Publication makes a publication of changes, made n minutes after Epoch.
func Publication(n int, changes ...store.Change) store.Publication {
	return store.Publication{Changes: changes, Authors: []string{"ada"}, Reviewer: "ben", Reason: fmt.Sprintf("publication %d", n), Time: Epoch.Add(time.Duration(n) * time.Minute)}
}
