package dryrun_test

import (
	"slices"
	"testing"

	"proofload/specdata"
	"proofload/specdata/dryrun"
)

// bay is an assembly with everything that closes a circuit, turns with the engine,
// carries high voltage or brakes. All values are invented.
func bay() []specdata.Record {
	own := func(f *specdata.Fastener) { f.AppliesTo = []specdata.Applies{{Vehicle: "test-1"}} }
	return []specdata.Record{
		fastener("drain-plug", "Drain plug", own),
		fastener("level-plug", "Level plug", own),
		fastener("cover-bolt", "Cover bolt", own),
		fastener("belt-bolt", "Tensioner bolt", own),
		fastener("head-bolt", "Head bolt", func(f *specdata.Fastener) { own(f); f.Tightening.State = specdata.StateCold }),
		&specdata.Assembly{
			Head: specdata.Head{Kind: specdata.KindAssembly, ID: "bay", Title: "Bay"}, AppliesTo: []specdata.Applies{{Vehicle: "test-1"}}, Place: "bay",
			Parts: []specdata.Part{
				{ID: "cover", Title: "Axle cover", HeldBy: []string{"cover-bolt"}},
				{ID: "belt", Title: "Drive belt", Runs: true},
				{ID: "tensioner", Title: "Tensioner", HeldBy: []string{"belt-bolt"}, Runs: true},
				{ID: "head", Title: "Head", HeldBy: []string{"head-bolt"}},
				{ID: "camera", Title: "Camera"},
			},
			Clips:       []specdata.Clip{{ID: "clamp", Title: "Hose clamp"}},
			Connections: []specdata.Connection{{ID: "hv-cable", Title: "High-voltage cable", Kind: "cable", Electrics: "high-voltage"}, {ID: "bag", Title: "Airbag plug", Kind: "plug", Electrics: "airbag"}},
			Circuits: []specdata.Circuit{
				{ID: "oil", Title: "Axle oil", Fluid: "gear-oil", Drain: []specdata.Target{"fastener:drain-plug"}, Fill: []specdata.Target{"fastener:level-plug"}, Level: []specdata.Target{"fastener:level-plug"}, ClosedBy: []specdata.Target{"part:cover", "clip:clamp"}},
				{ID: "water", Title: "Water", Fluid: "coolant", Pressurised: true},
			},
			Waits: []specdata.WaitTime{{For: "high-voltage", Least: q("10 min")}, {For: "airbag", Least: q("2 min")}},
			Owes:  []specdata.Owes{{ID: "front-camera", Title: "Front camera", After: []specdata.Target{"part:camera"}}},
		},
	}
}

func bayJob(t testing.TB, lines string) *dryrun.Result {
	p := job(t, "one", lines)
	p.Assemblies = []string{"bay", "corner"}
	p.Tools = []specdata.Tool{{ID: "tester", Title: "Voltage tester", Kind: "voltage-tester"}, {ID: "two-post", Title: "Two-post lift", Kind: "lift"}, {ID: "four-post", Title: "Four-post lift", Kind: "lift"}, {ID: "multimeter", Title: "Multimeter", Kind: "gauge"}}
	return dryrun.Run(world(t, bay()...), p)
}

const (
	drained   = "remove fastener:drain-plug; drain circuit:oil; start fastener:drain-plug; tighten fastener:drain-plug\n"
	dead      = "isolate electrics:high-voltage; lock-off electrics:high-voltage; wait electrics:high-voltage for=10; prove-dead electrics:high-voltage tool=tester\n"
	cable     = "disconnect connection:hv-cable; connect connection:hv-cable; restore electrics:high-voltage"
	wheelsOff = "remove fastener:wheel-nut; remove part:wheel; unclip clip:lead; remove fastener:carrier-bolt; remove part:caliper; hang part:caliper\n"
	wheelsOn  = "unhang part:caliper; fit part:caliper; start fastener:carrier-bolt new; tighten fastener:carrier-bolt; clip clip:lead\nfit part:wheel; start fastener:wheel-nut; snug fastener:wheel-nut\n"
	jacked    = "secure vehicle:whole chocks=front; raise end:rear; support end:rear\n"
	down      = "lower end:rear; tighten fastener:wheel-nut; advise fastener:wheel-nut\n"
)

func TestStatesThatKill(t *testing.T) {
	cases := []struct {
		name, lines string
		want        []string
	}{
		{"oil changed", drained + "remove fastener:level-plug; fill circuit:oil; check place:level accept=level; start fastener:level-plug; tighten fastener:level-plug; check place:leaks", nil},
		{"filled with the cover off", drained + "remove fastener:cover-bolt; remove part:cover; fill circuit:oil; fit part:cover; start fastener:cover-bolt; tighten fastener:cover-bolt; check place:leaks", []string{"circuit-open circuit:oil"}},
		{"filled with the drain plug only started", "remove fastener:drain-plug; drain circuit:oil; start fastener:drain-plug; fill circuit:oil; tighten fastener:drain-plug; check place:leaks", []string{"circuit-open circuit:oil"}},
		{"filled with a clamp open", drained + "unclip clip:clamp; fill circuit:oil; clip clip:clamp; check place:leaks", []string{"circuit-open circuit:oil"}},
		{"engine run with the filler open", drained + "remove fastener:level-plug; fill circuit:oil\nrun-engine vehicle:whole\nstart fastener:level-plug; tighten fastener:level-plug; check place:leaks", []string{"circuit-open vehicle:whole"}},
		{"drained through nothing", "drain circuit:oil; fill circuit:oil; check place:leaks", []string{"no-opening circuit:oil"}},
		{"level read with the plug in", "check circuit:oil accept=level", []string{"level circuit:oil"}},
		{"level read at a slant", "remove fastener:level-plug; secure vehicle:whole; raise end:rear; support end:rear; check circuit:oil accept=level; lower end:rear; start fastener:level-plug; tighten fastener:level-plug", []string{"level circuit:oil"}},
		{"level read on a lift", "raise vehicle:whole tool=two-post; remove fastener:level-plug; check circuit:oil accept=level; start fastener:level-plug; tighten fastener:level-plug; lower vehicle:whole", nil},
		{"leaks looked for with the plug in", "check circuit:oil accept=dry", nil},

		{"high voltage", dead + cable, nil},
		{"high voltage not proved dead", "isolate electrics:high-voltage\n" + cable, []string{"not-proved connection:hv-cable"}},
		{"proved too early", "isolate electrics:high-voltage; lock-off electrics:high-voltage; wait electrics:high-voltage for=5; prove-dead electrics:high-voltage tool=tester\n" + cable, []string{"not-proved electrics:high-voltage"}},
		{"proved without lock", "isolate electrics:high-voltage; wait electrics:high-voltage for=10; prove-dead electrics:high-voltage tool=tester\n" + cable, []string{"not-proved electrics:high-voltage"}},
		{"proved with a multimeter", "isolate electrics:high-voltage; lock-off electrics:high-voltage; wait electrics:high-voltage for=10; prove-dead electrics:high-voltage tool=multimeter\n" + cable, []string{"not-proved electrics:high-voltage"}},
		{"high voltage live", cable, []string{"live connection:hv-cable", "never-undone electrics:high-voltage"}},
		{"airbag waited for", "isolate electrics:airbag; wait electrics:airbag for=2; disconnect connection:bag; connect connection:bag; restore electrics:airbag", nil},
		{"airbag after a minute", "isolate electrics:airbag; wait electrics:airbag for=1; disconnect connection:bag; connect connection:bag; restore electrics:airbag", []string{"not-proved connection:bag"}},

		{"brake pumped when whole", jacked + wheelsOff + wheelsOn + down + "release vehicle:whole\npump place:brake-pedal", nil},
		{"pedal pumped with the caliper off", jacked + wheelsOff + "pump place:brake-pedal\n" + wheelsOn + down + "release vehicle:whole", []string{"brake place:brake-pedal"}},
		{"engine run with the caliper off", jacked + wheelsOff + "run-engine vehicle:whole\n" + wheelsOn + down + "release vehicle:whole", []string{"brake vehicle:whole"}},
		{"pumped with a piston clamp on", "set-aid aid:cylinder-clamp; pump place:brake-pedal; clear-aid aid:cylinder-clamp", []string{"brake place:brake-pedal"}},
		{"parking brake on under the caliper", "secure vehicle:whole chocks=front brake=on; raise end:rear; support end:rear\n" + wheelsOff + wheelsOn + down + "release vehicle:whole", []string{"brake part:caliper"}},
		{"chocks at the end that is raised", "secure vehicle:whole chocks=rear; raise end:rear; support end:rear; lower end:rear; release vehicle:whole", []string{"not-secured end:rear"}},
		{"chocks left for the road test", "secure vehicle:whole chocks=front; road-test vehicle:whole; release vehicle:whole", []string{"road vehicle:whole", "never-undone vehicle:whole"}},
		{"chocks left", "secure vehicle:whole chocks=front", []string{"open vehicle:whole"}},
		{"chocks away with an end up", "secure vehicle:whole chocks=front; raise end:rear; support end:rear; release vehicle:whole; lower end:rear", []string{"not-secured vehicle:whole"}},

		{"engine run", "secure vehicle:whole gear=neutral; run-engine vehicle:whole", nil},
		{"engine run in gear", "secure vehicle:whole gear=in; run-engine vehicle:whole", []string{"engine vehicle:whole"}},
		{"engine run on its timing pins", "set-aid aid:timing-pins; run-engine vehicle:whole; clear-aid aid:timing-pins", []string{"engine vehicle:whole"}},
		{"engine run without its belt", "remove part:belt; run-engine vehicle:whole; fit part:belt", []string{"engine vehicle:whole"}},
		{"engine run on a loose tensioner", "slacken fastener:belt-bolt; run-engine vehicle:whole; tighten fastener:belt-bolt", []string{"engine vehicle:whole"}},
		{"engine run without the battery", "isolate electrics:battery; run-engine vehicle:whole; restore electrics:battery", []string{"engine vehicle:whole"}},
		{"engine run with the sump drained", "remove fastener:drain-plug; drain circuit:oil; start fastener:drain-plug; tighten fastener:drain-plug; run-engine vehicle:whole; fill circuit:oil; check place:leaks", []string{"circuit-open vehicle:whole"}},
		{"turned in gear", "secure vehicle:whole gear=in; rotate place:crankshaft", []string{"turn place:crankshaft"}},
		{"turned in neutral", "secure vehicle:whole gear=in; secure vehicle:whole gear=neutral; rotate place:crankshaft", nil},
		{"cap opened hot", "run-engine vehicle:whole; depressurise circuit:water", []string{"hot circuit:water"}},
		{"cap opened after a wait", "run-engine vehicle:whole; wait place:engine; depressurise circuit:water", nil},
		{"head bolts tightened hot", "run-engine vehicle:whole; slacken fastener:head-bolt; tighten fastener:head-bolt", []string{"hot fastener:head-bolt"}},

		{"camera calibrated", "remove part:camera; fit part:camera; calibrate place:front-camera", nil},
		{"camera not calibrated", "remove part:camera; fit part:camera", []string{"open place:front-camera"}},

		{"wheel off on a two-post lift", "raise vehicle:whole tool=two-post; support vehicle:whole\n" + wheelsOff + wheelsOn + "lower vehicle:whole; tighten fastener:wheel-nut; advise fastener:wheel-nut", nil},
		{"wheel off on a four-post lift", "raise vehicle:whole tool=four-post\n" + wheelsOff + wheelsOn + "lower vehicle:whole; tighten fastener:wheel-nut; advise fastener:wheel-nut", []string{"end part:wheel"}},
		{"bush tightened on its wheels on the lift", "raise vehicle:whole tool=four-post; slacken fastener:bush-bolt; tighten fastener:bush-bolt; lower vehicle:whole", nil},
		{"bush tightened hanging on the lift", "raise vehicle:whole tool=two-post; slacken fastener:bush-bolt; tighten fastener:bush-bolt; lower vehicle:whole", []string{"vehicle-state fastener:bush-bolt"}},
		{"raised as a whole without a lift", "raise vehicle:whole; lower vehicle:whole", []string{"unsupported vehicle:whole"}},
		{"left on the lift", "raise vehicle:whole tool=two-post", []string{"open vehicle:whole"}},
		{"let down on a wheel that is off", "raise vehicle:whole tool=two-post\n" + wheelsOff + "lower vehicle:whole\n" + wheelsOn + "tighten fastener:wheel-nut; advise fastener:wheel-nut", []string{"wheel-loose vehicle:whole"}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			r := bayJob(t, c.lines)
			if got := say(r); !slices.Equal(got, c.want) {
				t.Errorf("problems %q, want %q", got, c.want)
				for _, p := range r.Problems() {
					t.Log(p.Message())
				}
			}
		})
	}
}
