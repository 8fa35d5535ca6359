package rules_test

import (
	"cmp"
	"context"
	"encoding/csv"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/library"
	"proofload/tools/lint"
	"proofload/tools/lint/rules"
	"proofload/tools/lint/ruletest"
)

// What published guidance asks for, held against the whole set of rules. Each row
// names its source; the procedures break the guidance or keep it, and the rules
// named must speak or be silent. The workshop lends vehicle and fasteners.
var guidance = []struct {
	name, source, procedure string
	want, silent            []string
}{
	{
		"a jacked load that is not blocked at once", "29 CFR 1910.244(a)(2)(i), read",
		secured + `
  - {id: up, text: Raise the rear., operations: [{do: raise, target: "end:rear", tool: jack}]}
  - {id: part-off, text: Remove the wheel bolts., operations: [{do: remove, target: "fastener:tansy-2-wheel-bolt"}]}`,
		[]string{"work-on-jack-alone"}, nil,
	},
	{
		"a jacked load that is blocked at once", "29 CFR 1910.244(a)(2)(i), read",
		secured + `
  - {id: up, text: Raise the rear and set it on stands., operations: [{do: raise, target: "end:rear", tool: jack}, {do: support, target: "end:rear", tool: stand}]}
  - {id: part-off, text: Remove the wheel bolts., operations: [{do: remove, target: "fastener:tansy-2-wheel-bolt"}]}`,
		nil, []string{"work-on-jack-alone", "raised-unsecured"},
	},
	{
		"raised without chocks", "HSE INDG434: wheels that stay down are chocked, read",
		`
steps:
  - {id: up, text: Raise the rear and set it on stands., operations: [{do: raise, target: "end:rear"}, {do: support, target: "end:rear"}]}`,
		[]string{"raised-unsecured", "no-chocks-listed", "no-stands-listed", "hazard-without-caution"}, nil,
	},
	{
		"brake dust laid open with no word of it", "29 CFR 1910.1001(f)(3) and appendix F, second-hand: friction dust is never blown or brushed dry",
		`
steps:
  - {id: part-off, text: Take the disc off., operations: [{do: remove, target: "part:disc"}]}`,
		[]string{"hazard-without-caution"}, nil,
	},
	{
		"brake dust warned of", "29 CFR 1910.1001, second-hand",
		`
cautions:
  - {signal: warning, hazard: brake-dust, text: "Brake dust harms the lungs. Wash it away wet, never blow it off."}
steps:
  - {id: part-off, text: Take the disc off., operations: [{do: remove, target: "part:disc"}]}`,
		nil, []string{"hazard-without-caution", "caution-after-hazard", "signal-word-too-weak"},
	},
	{
		"wheel nuts finished in the air and never looked at on the ground", "US Army TM 9-2330-238-14 §4-49, read: torqued, lowered, torqued again",
		secured + up + `
  - {id: part-on, text: "Tighten the wheel bolts in a star to {torque:tansy-2-wheel-bolt}.", operations: [{do: slacken, target: "fastener:tansy-2-wheel-bolt"}, {do: tighten, target: "fastener:tansy-2-wheel-bolt", tool: wrench}]}
  - {id: down, text: Lower the rear., operations: [{do: lower, target: "end:rear"}]}`,
		[]string{"wheel-tightened-in-air", "recheck-not-advised", "wheel-loosened-in-air"}, nil,
	},
	{
		"wheel nuts slackened and finished on the ground, recheck advised", "US Army TM 9-2330-238-14 §4-49 and TM 5-2330-378-14&P, read: checked again after 50 to 100 miles",
		secured + `
  - {id: crack, text: Slacken the wheel bolts., operations: [{do: slacken, target: "fastener:tansy-2-wheel-bolt"}]}` + up + `
  - {id: down, text: Lower the rear., operations: [{do: lower, target: "end:rear"}]}
  - {id: part-on, text: "Tighten the wheel bolts in a star to {torque:tansy-2-wheel-bolt}.", operations: [{do: tighten, target: "fastener:tansy-2-wheel-bolt", tool: wrench}]}
  - {id: tell, text: Advise the keeper., operations: [{do: advise, target: "fastener:tansy-2-wheel-bolt", note: after 50 km}]}`,
		nil, []string{"wheel-tightened-in-air", "recheck-not-advised", "wheel-loosened-in-air", "pattern-not-said"},
	},
	{
		"a second stage before all have had the first", "US Army TM 10-3930-669-20 appendix E and TM 5-3805-248-23-1, read: a first pass on all, then the final one",
		`
steps:
  - id: part-on
    text: "Tighten bolt one to both stages of {torque:tansy-2-pump-bolt}, then the others in order."
    operations:
      - {do: slacken, target: "fastener:tansy-2-pump-bolt"}
      - {do: stage, target: "fastener:tansy-2-pump-bolt", stage: 1, positions: [1], tool: wrench}
      - {do: stage, target: "fastener:tansy-2-pump-bolt", stage: 2, positions: [1], tool: wrench}`,
		[]string{"all-first-not-honoured"}, nil,
	},
	{
		"a locking device refitted", "US Army TB 43-0218, read: locking devices are discarded on removal",
		`
steps:
  - id: part-on
    text: "Tighten the nut to {torque:tansy-2-hub-nut} and stake it."
    operations:
      - {do: unlock, target: "fastener:tansy-2-hub-nut"}
      - {do: remove, target: "fastener:tansy-2-hub-nut"}
      - {do: start, target: "fastener:tansy-2-hub-nut"}
      - {do: tighten, target: "fastener:tansy-2-hub-nut"}
      - {do: lock, target: "fastener:tansy-2-hub-nut"}`,
		[]string{"old-piece-refitted"}, nil,
	},
	{
		"a torque wrench used to loosen", "US Navy NAVEDTRA 14001 and TB 43-0218, read: for tightening only",
		tools + `
steps:
  - {id: part-off, text: Slacken the nut., operations: [{do: slacken, target: "fastener:tansy-2-ball-joint-nut", tool: wrench}]}`,
		[]string{"torque-tool-used-to-loosen"}, nil,
	},
	{
		"a warning after its hazard", "MIL-STD-2106A(SH) appendix B, read: warnings stand before the step",
		secured + up + `
  - id: down
    text: Lower the rear.
    cautions: [{signal: warning, hazard: crushing, text: It can fall.}]
    operations: [{do: lower, target: "end:rear"}]`,
		[]string{"caution-after-hazard"}, nil,
	},
	{
		"an inspection with nothing to compare with", "US Army maintenance allocation chart, TM 10-5411-205-13 appendix B, read: inspect is to compare with a standard",
		`
steps:
  - {id: look, text: Inspect the stub axle., operations: [{do: inspect, target: "place:stub-axle"}]}`,
		[]string{"inspect-without-criterion"}, nil,
	},
	{
		"a rubber bush clamped in droop", "common practice, no source",
		secured + up + `
  - {id: part-on, text: "Tighten the bolt to {torque:tansy-2-arm-bush-bolt}.", operations: [{do: slacken, target: "fastener:tansy-2-arm-bush-bolt"}, {do: tighten, target: "fastener:tansy-2-arm-bush-bolt", tool: wrench}]}`,
		[]string{"bush-tightened-in-droop"}, nil,
	},
	{
		"an in-line adapter with the setting left alone", "US Army TM 9-254, read, and FAA AC 43.13-1B chapter 7, read: the setting is T·L/(L + E)",
		adapters + `
  - {id: part-on, text: "Tighten the nut to {torque:tansy-2-ball-joint-nut} with the crow-foot in line.", operations: [{do: slacken, target: "fastener:tansy-2-ball-joint-nut"}, {do: tighten, target: "fastener:tansy-2-ball-joint-nut", tool: wrench, with: crow}]}`,
		[]string{"off-axis-adapter-unset"}, nil,
	},
	{
		"an adapter at right angles", "US Army TM 9-254, read: at right angles the effective length is that of the wrench",
		adapters + `
  - {id: part-on, text: "Tighten the nut to {torque:tansy-2-ball-joint-nut} with the crow-foot at right angles to the wrench.", operations: [{do: slacken, target: "fastener:tansy-2-ball-joint-nut"}, {do: tighten, target: "fastener:tansy-2-ball-joint-nut", tool: wrench, with: crow}]}`,
		nil, []string{"off-axis-adapter-unset"},
	},
	{
		"a tight nut clicked again as proof", "US Navy NAVEDTRA 14001 and 14003, read: back off and retighten",
		tools + `
steps:
  - {id: part-on, text: "Tighten the nut to {torque:tansy-2-ball-joint-nut}.", operations: [{do: slacken, target: "fastener:tansy-2-ball-joint-nut"}, {do: tighten, target: "fastener:tansy-2-ball-joint-nut", tool: wrench}]}
  - {id: again, text: Click it again., operations: [{do: check, target: "fastener:tansy-2-ball-joint-nut", tool: wrench, accept: it clicks}]}`,
		[]string{"clicked-again"}, nil,
	},
	{
		"a brake sensor plugged in and no lamp looked at", "49 CFR 570.5, read: the brake failure lamp must work",
		`
steps:
  - {id: apart, text: Open the clip and pull the plug., operations: [{do: unclip, target: "clip:lead-clip"}, {do: disconnect, target: "connection:sensor-plug"}]}
  - {id: together, text: Push the plug home and close the clip., operations: [{do: connect, target: "connection:sensor-plug"}, {do: clip, target: "clip:lead-clip"}]}`,
		[]string{"sensor-work-without-lamp-check"}, nil,
	},
	{
		"wheel bolts in a circle though the record says a star", "US Army TM 5-3805-248-23-1, read: patterns",
		secured + `
  - {id: part-on, text: "Tighten the wheel bolts in a circle to {torque:tansy-2-wheel-bolt}.", operations: [{do: slacken, target: "fastener:tansy-2-wheel-bolt"}, {do: tighten, target: "fastener:tansy-2-wheel-bolt", tool: wrench}]}`,
		[]string{"sentence-contradicts-act"}, nil,
	},
	{
		"an impact tool for the last turn of a wheel", "NTSB SIR-92/04, read: wheel fasteners tightened wrongly are a first cause of lost wheels",
		tools + `
  - {id: gun, title: impact wrench, kind: impact}
steps:
  - {id: part-on, text: "Tighten the wheel bolts in a star to {torque:tansy-2-wheel-bolt}.", operations: [{do: slacken, target: "fastener:tansy-2-wheel-bolt"}, {do: tighten, target: "fastener:tansy-2-wheel-bolt", tool: gun}]}`,
		[]string{"impact-used-where-forbidden"}, nil,
	},
	{
		"240 N·m on a wrench to 210", "ISO 6789, second-hand: the range ends at the highest mark",
		tools + `
steps:
  - {id: part-on, text: "Tighten the nut to {torque:tansy-2-hub-nut}.", operations: [{do: unlock, target: "fastener:tansy-2-hub-nut"}, {do: slacken, target: "fastener:tansy-2-hub-nut"}, {do: tighten, target: "fastener:tansy-2-hub-nut", tool: wrench}]}`,
		[]string{"torque-outside-tool-range"}, nil,
	},
}

const (
	tools = `
tools:
  - {id: wrench, title: torque wrench, kind: torque-wrench, from: 40 N.m, to: 210 N.m, square: 1/2 in}
  - {id: jack, title: trolley jack, kind: jack}
  - {id: stand, title: axle stand, kind: stand, quantity: 2}
  - {id: chock, title: wheel chock, kind: chock, quantity: 2}`
	adapters = tools + `
  - {id: crow, title: Crow-foot adapter, kind: socket, size: hex 18 mm}
steps:`
	secured = tools + `
steps:
  - {id: secure, text: Chock the front wheels., operations: [{do: secure, target: "vehicle:tansy-2", tool: chock}]}`
	up = `
  - {id: up, text: Raise the rear and set it on stands., operations: [{do: raise, target: "end:rear", tool: jack}, {do: support, target: "end:rear", tool: stand}]}`
)

func TestGuidance(t *testing.T) {
	for _, g := range guidance {
		t.Run(g.name, func(t *testing.T) {
			spoke := speak(t, g.procedure)
			for _, want := range g.want {
				if !slices.Contains(spoke, want) {
					t.Errorf("%s is silent, but %s\nspoke: %v", want, g.source, spoke)
				}
			}
			for _, quiet := range g.silent {
				if slices.Contains(spoke, quiet) {
					t.Errorf("%s speaks, but this is as %s", quiet, g.source)
				}
			}
		})
	}
}

// TestSignalWords holds the signal words to the reference table of ANSI Z535.4: a
// hazard that can kill wants a word that the table gives for death or serious injury.
func TestSignalWords(t *testing.T) {
	f, err := os.Open(filepath.Join("..", "..", "..", "testdata", "reference", "signal_words.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	words := 0
	for _, row := range rows[1:] {
		word, meaning := strings.ToLower(row[0]), row[1]
		if word == "rule" {
			continue
		}
		words++
		spoke := speak(t, `
cautions:
  - {signal: `+word+`, hazard: crushing, text: It can fall on you.}
steps:
  - {id: up, text: Raise the rear and set it on stands., operations: [{do: raise, target: "end:rear"}, {do: support, target: "end:rear"}]}`)
		if fits := strings.Contains(meaning, "death"); fits == slices.Contains(spoke, "signal-word-too-weak") {
			t.Errorf("%s before a hazard that can kill: signal-word-too-weak speaks %v, but the table says %q (%s)", word, !fits, meaning, row[5])
		}
	}
	if words != 4 {
		t.Errorf("reference table has %d signal words, want 4", words)
	}
}

// speak returns the rules that speak about a procedure on the workshop's rear corner.
func speak(t *testing.T, body string) []string {
	t.Helper()
	assembly := "tansy-2-rear-corner"
	if strings.Contains(body, "pump-bolt") {
		assembly = "tansy-2-engine-bay"
	}
	doc, findings := document.Read("procedures/tansy-2-job.yaml", []byte(`kind: procedure
id: tansy-2-job
title: A job
applies_to: [{vehicle: tansy-2}]
assemblies: [`+assembly+`]
sides: one`+body+`
source: {document: tansy-2-chassis, at: sheet 9, read_on: "2026-09-14", entered_by: Maud Ibbot, checked_by: Piet Oram}
`))
	if doc == nil {
		t.Fatalf("%+v", findings)
	}
	workshop, err := ruletest.Workshop()
	if err != nil {
		t.Fatal(err)
	}
	lib := library.Overlay(workshop, library.NewEntry(doc))
	rep, err := lint.Run(context.Background(), lint.Options{Rules: rules.All, Library: lib, Only: []specdata.Name{"procedures/tansy-2-job"}, Date: ruletest.Date})
	if err != nil {
		t.Fatal(err)
	}
	var spoke []string
	for _, f := range rep.Findings {
		spoke = append(spoke, f.Rule)
	}
	slices.SortFunc(spoke, cmp.Compare[string])
	return slices.Compact(spoke)
}
