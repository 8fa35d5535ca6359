package dryrun_test

import (
	"strconv"
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
)

// The world of these tests: one corner of an invented vehicle, with everything
// the vocabulary acts on. All values are invented.

func q(s string) specdata.Quantity { return specdata.MustQuantity(s) }

func fastener(id, title string, change func(*specdata.Fastener)) *specdata.Fastener {
	f := &specdata.Fastener{
		Head:      specdata.Head{Kind: specdata.KindFastener, ID: id, Title: title},
		AppliesTo: []specdata.Applies{{Vehicle: "test-1", Side: specdata.SideEach}}, Place: "corner", Count: 1, Joint: specdata.JointClamp,
		Drive:      &specdata.Drive{Turn: "head", Head: "hex 16 mm"},
		Tightening: &specdata.Tightening{Stages: []specdata.Stage{{Torque: q("60 N.m")}}, State: specdata.StateAny, Drag: "not-applicable", Impact: "removal-only"},
		Reuse:      &specdata.Reuse{Rule: "reuse"},
	}
	if change != nil {
		change(f)
	}
	return f
}

func world(t testing.TB, records ...specdata.Record) *library.Memory {
	t.Helper()
	all := append([]specdata.Record{
		&specdata.Vehicle{Head: specdata.Head{Kind: specdata.KindVehicle, ID: "test-1", Title: "Test 1"}, Options: map[string][]string{"brake": {"disc", "drum"}}},
		fastener("wheel-nut", "Wheel nut", func(f *specdata.Fastener) {
			f.Joint, f.Count, f.Tightening.State = specdata.JointWheel, 4, specdata.StateOnGround
			f.FollowUps = []specdata.FollowUp{{Check: "recheck-torque", After: q("50 km")}}
		}),
		fastener("carrier-bolt", "Carrier bolt", func(f *specdata.Fastener) { f.Reuse.Rule = "replace" }),
		fastener("hub-nut", "Hub nut", func(f *specdata.Fastener) {
			f.Lock = &specdata.Lock{By: "stake"}
			f.Reuse.Rule = "replace"
			f.FollowUps = []specdata.FollowUp{{Check: "turns-freely"}}
		}),
		fastener("bush-bolt", "Bush bolt", func(f *specdata.Fastener) {
			f.Tightening.State = specdata.StateRideHeight
			f.Tightening.Stages = []specdata.Stage{{Torque: q("70 N.m")}, {Angle: q("90 deg")}}
		}),
		fastener("ball-nut", "Ball joint nut", nil),
		fastener("pin-nut", "Pin nut", nil),
		fastener("union", "Fuel union", nil),
		fastener("terminal", "Terminal nut", nil),
		fastener("face-bolt", "Face bolt", func(f *specdata.Fastener) {
			f.Count, f.Tightening.Stages = 2, []specdata.Stage{{Torque: q("20 N.m"), AllFirst: true}, {Angle: q("90 deg")}}
		}),
		&specdata.Assembly{
			Head: specdata.Head{Kind: specdata.KindAssembly, ID: "corner", Title: "Corner"}, AppliesTo: []specdata.Applies{{Vehicle: "test-1"}},
			Place: "corner", End: "rear", Handed: true,
			Parts: []specdata.Part{
				{ID: "wheel", Title: "Wheel", HeldBy: []string{"wheel-nut"}, Wheel: true},
				{ID: "caliper", Title: "Caliper", HeldBy: []string{"carrier-bolt"}, Behind: []string{"wheel"}, HangsOn: "brake hose"},
				{ID: "disc", Title: "Disc", Behind: []string{"wheel", "caliper"}, Friction: true},
				{ID: "hub", Title: "Hub", HeldBy: []string{"hub-nut"}, Behind: []string{"disc"}},
				{ID: "arm", Title: "Arm", HeldBy: []string{"bush-bolt"}, Behind: []string{"wheel"}},
				{ID: "gasket", Title: "Gasket", Renew: true},
				{ID: "housing", Title: "Housing", HeldBy: []string{"ball-nut"}},
				{ID: "bearing", Title: "Bearing"},
			},
			Joints: []specdata.Joint{{ID: "ball", Title: "Ball joint", Kind: "taper", Between: []string{"arm", "hub"}, HeldBy: []string{"ball-nut"}}, {ID: "pin", Title: "Pin", Kind: "taper", HeldBy: []string{"pin-nut"}, Aid: "taper-press"}, {ID: "seat", Title: "Bearing seat", Kind: "press", Between: []string{"housing", "bearing"}}},
			Connections: []specdata.Connection{{ID: "plug", Title: "Sensor plug", Kind: "plug", Holds: []string{"hub"}}, {ID: "hose", Title: "Brake hose", Kind: "hose", Circuit: "brake"}, {ID: "feed", Title: "Fuel line", Kind: "pipe", Circuit: "fuel"}, {ID: "starter", Title: "Starter cable", Kind: "cable", Electrics: "battery"},
				{ID: "return", Title: "Fuel return", Kind: "pipe", Circuit: "fuel", HeldBy: []string{"union"}}, {ID: "earth", Title: "Earth lead", Kind: "cable", Electrics: "battery", HeldBy: []string{"terminal"}},
				{ID: "hidden", Title: "Hidden plug", Kind: "plug", Behind: []string{"cover"}}},
			Clips:      []specdata.Clip{{ID: "cover", Title: "Cover clip"}, {ID: "lead", Title: "Lead clip", Holds: []string{"caliper"}}},
			Circuits:   []specdata.Circuit{{ID: "brake", Title: "Brake circuit", Fluid: "brake-fluid", Bleed: true}, {ID: "fuel", Title: "Fuel circuit", Fluid: "fuel", Pressurised: true}, {ID: "coolant", Title: "Cooling circuit", Fluid: "coolant", Bleed: true}},
			RideHeight: &specdata.RideHeight{Measure: "hub centre to arch lip"},
		},
	}, records...)
	entries := make([]*library.Entry, len(all))
	for i, r := range all {
		entries[i] = &library.Entry{Record: r}
	}
	lib, err := library.NewMemory(entries...)
	if err != nil {
		t.Fatal(err)
	}
	return lib
}

// job writes a procedure: one step a line, operations separated by ";", each
// "verb target[@side] [new] [stage=N] [pos=N,N] [until=STATE]". A line may begin with
// "id: " and with "where key=value: ". "repeat FROM TO SIDE" repeats steps.
func job(t testing.TB, sides, lines string) *specdata.Procedure {
	t.Helper()
	p := &specdata.Procedure{
		Head: specdata.Head{Kind: specdata.KindProcedure, ID: "job", Title: "Job"}, AppliesTo: []specdata.Applies{{Vehicle: "test-1"}},
		Assemblies: []string{"corner"}, Sides: sides,
	}
	for line := range strings.SplitSeq(strings.TrimSpace(lines), "\n") {
		line = strings.TrimSpace(line)
		s := specdata.Step{ID: "s" + strconv.Itoa(len(p.Steps)+1), Text: line}
		if head, rest, ok := strings.Cut(line, ": "); ok && strings.HasPrefix(head, "where ") {
			k, v, _ := strings.Cut(strings.TrimPrefix(head, "where "), "=")
			s.Where = map[string][]string{k: {v}}
			line = rest
		}
		if fields := strings.Fields(line); fields[0] == "repeat" {
			s.Repeat = &specdata.Repeat{From: fields[1], To: fields[2], Side: specdata.Side(fields[3])}
			p.Steps = append(p.Steps, s)
			continue
		}
		for text := range strings.SplitSeq(line, ";") {
			s.Operations = append(s.Operations, operation(t, strings.Fields(text)))
		}
		p.Steps = append(p.Steps, s)
	}
	return p
}

func operation(t testing.TB, fields []string) specdata.Operation {
	t.Helper()
	target, side, _ := strings.Cut(fields[1], "@")
	op := specdata.Operation{Do: specdata.Verb(fields[0]), Target: specdata.Target(target), Side: specdata.Side(side)}
	for _, f := range fields[2:] {
		key, value, _ := strings.Cut(f, "=")
		switch key {
		case "new":
			op.New = true
		case "stage":
			n, err := strconv.Atoi(value)
			if err != nil {
				t.Fatal(err)
			}
			op.Stage = n
		case "pos":
			for n := range strings.SplitSeq(value, ",") {
				i, err := strconv.Atoi(n)
				if err != nil {
					t.Fatal(err)
				}
				op.Positions = append(op.Positions, i)
			}
		case "tool":
			op.Tool = value
		case "accept":
			op.Accept = value
		case "chocks":
			op.Chocks = strings.Split(value, ",")
		case "brake":
			op.ParkingBrake = value
		case "gear":
			op.Gear = value
		case "for":
			op.For = q(value + " min")
		case "until":
			op.Until = specdata.VehicleState(value)
		default:
			t.Fatalf("operation %v has an unknown word %q", fields, f)
		}
	}
	return op
}

// say returns the problems as "cause thing" lines.
func say(r *dryrun.Result) []string {
	var out []string
	for _, p := range r.Problems() {
		out = append(out, string(p.Cause)+" "+p.Thing.String())
	}
	return out
}
