package claim

import (
	"slices"
	"strings"
	"sync"

	"proofload/specdata"
	"proofload/specdata/lexicon"
)

// does says what operations an act of the lexicon may be: every plausible reading.
var does = map[string][]specdata.Verb{
	"tighten":      {specdata.Tighten, specdata.StageVerb, specdata.Turn, specdata.Resolve},
	"turn":         {specdata.Turn, specdata.Rotate, specdata.Tighten, specdata.StageVerb, specdata.Check, specdata.Slacken},
	"slacken":      {specdata.Slacken, specdata.BackOff, specdata.Unlock},
	"remove":       {specdata.Remove, specdata.Disconnect, specdata.Unclip, specdata.Separate, specdata.Isolate, specdata.Unhang, specdata.ClearAid, specdata.Uncap, specdata.UnloadSuspension, specdata.Depressurise},
	"discard":      {specdata.Discard},
	"fit":          {specdata.Fit, specdata.Join, specdata.Connect, specdata.Start, specdata.ClipVerb, specdata.Restore, specdata.SetAid, specdata.Unhang, specdata.PressIn},
	"start":        {specdata.Start, specdata.RunEngine},
	"snug":         {specdata.Snug, specdata.Start},
	"connect":      {specdata.Connect, specdata.Join, specdata.Restore},
	"disconnect":   {specdata.Disconnect, specdata.Separate, specdata.Isolate},
	"clip":         {specdata.ClipVerb, specdata.Connect},
	"unclip":       {specdata.Unclip, specdata.Disconnect},
	"hang":         {specdata.Hang},
	"raise":        {specdata.Raise, specdata.LoadSuspension},
	"support":      {specdata.Support, specdata.Hang},
	"lower":        {specdata.Lower, specdata.UnloadSuspension, specdata.ClearAid},
	"secure":       {specdata.Secure},
	"check":        {specdata.Check, specdata.Inspect, specdata.Measure, specdata.Align, specdata.RoadTest},
	"inspect":      {specdata.Inspect, specdata.Check, specdata.Measure},
	"measure":      {specdata.Measure, specdata.Check, specdata.Inspect},
	"clean":        {specdata.Clean},
	"apply":        {specdata.Apply},
	"drain":        {specdata.Drain},
	"fill":         {specdata.Fill},
	"depressurise": {specdata.Depressurise},
	"release":      {specdata.Release, specdata.Remove, specdata.Unclip},
	"run-engine":   {specdata.RunEngine, specdata.Check},
	"lock-off":     {specdata.LockOff, specdata.Secure},
	"prove-dead":   {specdata.ProveDead},
	"calibrate":    {specdata.Calibrate},
	"bleed":        {specdata.Bleed},
	"pump":         {specdata.Pump},
	"wait":         {specdata.Wait, specdata.Check},
	"mark":         {specdata.Mark, specdata.Measure, specdata.Count, specdata.RecordJob},
	"record":       {specdata.RecordJob, specdata.Measure, specdata.Mark},
	"advise":       {specdata.Advise},
	"road-test":    {specdata.RoadTest},
	"align":        {specdata.Align},
	"relearn":      {specdata.Relearn, specdata.Reset},
	"stake":        {specdata.LockVerb},
	"press-in":     {specdata.PressIn},
	"press-out":    {specdata.PressOut, specdata.Separate},
	"cap":          {specdata.Cap, specdata.Isolate},
}

// pattern is one way of saying an act: a verb, and the words that follow it at once or,
// where it is split, some words later.
type pattern struct {
	class string
	split bool
	rest  []string
}

// inflected holds the patterns by every form of their verb.
var inflected = sync.OnceValue(func() map[string][]pattern {
	out := map[string][]pattern{}
	l := lexicon.Default()
	for _, c := range l.Concepts() {
		if c.Kind != lexicon.Act {
			continue
		}
		for _, w := range c.Words {
			head, tail, split := strings.Cut(w.Text, "…")
			fields := strings.Fields(strings.ReplaceAll(head, "-", " "))
			p := pattern{class: strings.TrimPrefix(c.ID, lexicon.ActID("")), split: split, rest: append(slices.Clone(fields[1:]), strings.Fields(tail)...)}
			for _, form := range forms(fields[0]) {
				out[form] = append(out[form], p)
			}
		}
	}
	for _, ps := range out { // the longest first
		slices.SortStableFunc(ps, func(a, b pattern) int { return len(b.rest) - len(a.rest) })
	}
	return out
})

var strong = map[string][]string{
	"take": {"took", "taken", "taking"}, "put": {"putting"}, "get": {"got", "getting", "gotten"}, "go": {"goes", "went", "gone", "going"}, "come": {"came", "coming"},
	"do": {"does", "done", "doing"}, "undo": {"undoes", "undone", "undoing"}, "hold": {"held", "holding"}, "hang": {"hung", "hanging"}, "throw": {"threw", "thrown"},
	"draw": {"drew", "drawn"}, "run": {"ran", "running"}, "spin": {"spun", "spinning"}, "set": {"setting"}, "break": {"broke", "broken"}, "bring": {"brought"},
	"let": {"letting"}, "tie": {"tied", "tying"}, "write": {"wrote", "written", "writing"}, "wind": {"wound"}, "keep": {"kept"}, "drive": {"drove", "driven"}, "teach": {"taught"},
	"be": {"is", "are", "was", "be", "that's", "it's"}, "leave": {"left"}, "make": {"made", "making"}, "see": {"seen", "saw"}, "tell": {"told"}, "slide": {"slid"}, "lay": {"laid"}, "feel": {"felt"},
}

// forms lists the inflected forms of a verb.
func forms(v string) []string {
	out := append([]string{v}, strong[v]...)
	switch {
	case strings.HasSuffix(v, "e"):
		out = append(out, v+"s", v+"d", v[:len(v)-1]+"ing")
	case strings.HasSuffix(v, "y"):
		out = append(out, v[:len(v)-1]+"ied", v[:len(v)-1]+"ies", v+"ing", v+"s")
	case strings.HasSuffix(v, "ch"), strings.HasSuffix(v, "sh"), strings.HasSuffix(v, "ss"):
		out = append(out, v+"es", v+"ed", v+"ing")
	default:
		out = append(out, v+"s", v+"ed", v+"ing")
		if n := len(v); n >= 3 && !strings.ContainsRune("aeiouwxy", rune(v[n-1])) && strings.ContainsRune("aeiou", rune(v[n-2])) && !strings.ContainsRune("aeiou", rune(v[n-3])) {
			out = append(out, v+v[n-1:]+"ed", v+v[n-1:]+"ing")
		}
	}
	return out
}

// nouns are forms that are a verb only where the words beside them allow it.
func verbHere(ts []lexicon.Token, i int) bool {
	w := strings.ToLower(ts[i].Text)
	next, before := "", ""
	if i+1 < len(ts) && joined(ts[i+1]) {
		next = ts[i+1].Stem
	}
	if i > 0 && joined(ts[i]) {
		before = ts[i-1].Stem
	}
	article := before == "the" || before == "a" || before == "an" || before == "its" || before == "this" || before == "that" || before == "of" || before == "your" || before == "final" || before == "short" || before == "each" || before == "no"
	if (w == "turn" || w == "turns") && slices.Contains([]string{"half", "quarter", "full", "whole", "complete", "more", "another"}, before) {
		return false
	}
	switch w {
	case "do":
		return next != "not"
	case "torques", "oil", "jacks", "oils", "chocks", "drives", "clips", "plugs", "caps", "jack":
		if w == "jack" || w == "oil" {
			return !article && before != "trolley" && before != "padded" && before != "floor" && before != "engine" && before != "with" && before != "on" && (next != "stand")
		}
		return false
	case "torque":
		return !article && next != "wrench" && next != "recheck" && next != "meter" && next != "angle" && next != "tool" && next != "is" && next != "value" && next != "spec" && before != "wheel"
	case "clean", "free", "open", "dry", "cold":
		return !article && before != "is" && before != "are" && before != "run" && before != "stay"
	case "press", "clip", "plug", "cap", "stake", "grease", "pump", "drain", "start", "turn", "drive", "brush", "check", "hook", "block", "lock", "bin", "cover", "seat", "mount", "place", "spin", "catch", "release", "record", "note", "mark", "part", "set", "nip", "torqued", "support", "leave", "left", "try", "feel", "look", "watch":
		if w == "left" {
			return before == "be" || before == "is" || before == "are"
		}
		return !article && before != "new" && before != "old" && before != "drain" && before != "sump" && before != "filler" && before != "wheel" && before != "centre" && before != "taper" && before != "coolant" && before != "fuel" && before != "water" && before != "with" &&
			next != "cap" && next != "plug" && next != "bolt" && next != "nut" && next != "screw" && next != "flange" && next != "recheck" || i == 0 || ts[i].Before != "" && !article
	case "secured", "fitting", "bearing", "housing", "reading", "pressing", "setting":
		return w == "pressing" || w == "fitting" && i == 0
	}
	return !article || strings.HasSuffix(w, "ing")
}

// act is an act that a phrase names.
type act struct {
	class string
	// at is the token of the verb, to the one behind its last word.
	at, to int
}

// acts lists the acts that some tokens name, in order: at each verb the pattern with
// most words, others only where they are of other classes with as many words.
func acts(ts []lexicon.Token) [][]act {
	var out [][]act
	for i := range ts {
		ps := inflected()[strings.ToLower(ts[i].Text)]
		if len(ps) == 0 || !verbHere(ts, i) {
			continue
		}
		var found []act
		size := -1
		for _, p := range ps {
			to, ok := p.match(ts, i)
			if !ok || len(p.rest) < size {
				continue
			}
			size = len(p.rest)
			found = append(found, act{p.class, i, to})
		}
		if len(found) > 0 {
			out = append(out, found)
		}
	}
	return out
}

// reach is how many words later the rest of a split verb may stand.
const reach = 12

func (p pattern) match(ts []lexicon.Token, i int) (to int, ok bool) {
	if len(p.rest) == 0 {
		return i + 1, true
	}
	follows := func(j int) bool {
		for k, w := range p.rest {
			if j+k >= len(ts) || ts[j+k].Stem != w && strings.ToLower(ts[j+k].Text) != w || k > 0 && !joined(ts[j+k]) {
				return false
			}
		}
		return true
	}
	if !p.split {
		return i + 1 + len(p.rest), joinedAll(ts, i+1, len(p.rest)) && follows(i+1)
	}
	for j := i + 1; j < len(ts) && j <= i+reach; j++ {
		if strings.ContainsAny(ts[j].Before, ".;:!?") {
			return 0, false
		}
		if follows(j) {
			return i + 1, true
		}
		if j > i+1 && (ts[j].Stem == "then" || ts[j].Stem == "while" || ts[j].Stem == "until") {
			return 0, false
		}
	}
	return 0, false
}

func joinedAll(ts []lexicon.Token, from, n int) bool {
	for j := from; j < from+n; j++ {
		if j >= len(ts) || !joined(ts[j]) {
			return false
		}
	}
	return true
}
