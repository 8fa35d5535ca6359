// Package textpromiseswhatnothingdoes reports: the sentence names an act that no operation of the step does.
package textpromiseswhatnothingdoes

import (
	_ "embed"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "text-promises-what-nothing-does",
	Title:     "the sentence names an act that no operation of the step does",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Words,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

// meanings holds, for verbs that mean one thing in this trade, the operations that do it.
var meanings = map[string][]specdata.Verb{
	"advise": {specdata.Advise}, "tell": {specdata.Advise, specdata.RecordJob},
	"align": {specdata.Align},
	"bleed": {specdata.Bleed},
	"cap":   {specdata.Cap},
	"check": {specdata.Check, specdata.Inspect, specdata.Measure, specdata.Align},
	"chock": {specdata.Secure},
	"clean": {specdata.Clean, specdata.Apply}, "wash": {specdata.Clean}, "wipe": {specdata.Clean}, "degrease": {specdata.Clean},
	"clip":       {specdata.ClipVerb},
	"connect":    {specdata.Connect, specdata.Restore, specdata.Join, specdata.Fit},
	"disconnect": {specdata.Disconnect, specdata.Isolate, specdata.Remove},
	"count":      {specdata.Count, specdata.Mark, specdata.Measure, specdata.Check},
	"discard":    {specdata.Discard},
	"drain":      {specdata.Drain},
	"fill":       {specdata.Fill, specdata.Apply},
	"hang":       {specdata.Hang},
	"inspect":    {specdata.Inspect, specdata.Check, specdata.Measure},
	"isolate":    {specdata.Isolate},
	"lower":      {specdata.Lower, specdata.UnloadSuspension, specdata.Remove, specdata.Fit},
	"mark":       {specdata.Mark},
	"measure":    {specdata.Measure, specdata.Check, specdata.Inspect, specdata.Apply},
	"pump":       {specdata.Pump},
	"raise":      {specdata.Raise, specdata.LoadSuspension},
	"record":     {specdata.RecordJob, specdata.Measure, specdata.Mark},
	"slacken":    {specdata.Slacken},
	"snug":       {specdata.Snug},
	"stake":      {specdata.LockVerb},
	"tighten":    {specdata.Tighten, specdata.StageVerb, specdata.Turn},
	"unclip":     {specdata.Unclip},
	"unplug":     {specdata.Disconnect},
	"wait":       {specdata.Wait, specdata.Check},
}

func check(p *lint.Pass) {
	for at, s := range p.Steps() {
		if len(s.Operations) == 0 {
			continue // another rule's word
		}
		for _, verb := range acts(s.Text) {
			does := func(op specdata.Operation) bool { return slices.Contains(meanings[verb], op.Do) }
			if !slices.ContainsFunc(s.Operations, does) {
				p.Reportf(at+"/text", "sentence says %q and no operation of the step does that; add {do: %s, …}, or take the word out", verb, meanings[verb][0])
			}
		}
	}
}

// acts lists the known verbs that start a clause: at the start, after a comma, a
// semicolon, a colon or a full stop, and after "and" or "then".
func acts(text string) []string {
	var found []string
	starts := true
	for _, w := range strings.Fields(text) {
		word := strings.ToLower(strings.TrimRight(w, ".,;:!"))
		switch {
		case starts && meanings[word] != nil && !slices.Contains(found, word):
			found = append(found, word)
			starts = false
		case word == "and" || word == "then":
			starts = true
			continue
		default:
			starts = false
		}
		if len(w) > len(word) {
			starts = true
		}
	}
	return found
}
