package narration

import (
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/claim"
)

// evidence says by what it is known that an act was said.
type evidence struct {
	do specdata.Verb
	// words are single words of which one will do; phrases are words that follow each other.
	words, phrases []string
	// void are words that make a clause speak of the opposite: chocks that are taken away.
	void []string
	// but are phrases whose first word does not count: the fill plug fills nothing.
	but []string
	// thing also takes the words of what the act is on: "pins" of the locking pins.
	thing bool
	// early says that it may have been said at any time before.
	early    bool
	severity specdata.Severity
	what     string
}

// must are the acts that a narration has to say: anyone who leaves one out can be hurt or
// ruin something.
var must = []evidence{
	{do: specdata.Secure, words: strings.Fields("chock chocked blocked wedge wedged"), void: []string{"pull the chock", "pull chock", "chock away", "chock out", "chock off", "chock in the", "take the chock", "remove the chock", "chock from"}, early: true, severity: specdata.Error, what: "the vehicle is secured against rolling"},
	{do: specdata.Support, words: strings.Fields("stand ramp hoist lock"), phrases: []string{"on the lift", "vehicle lift", "on the post"}, void: []string{"off the lock", "off the stand"}, severity: specdata.Error, what: "the vehicle is set on stands"},
	{do: specdata.Lower, words: strings.Fields("lower ground lowered"), phrases: []string{"on the floor", "to the floor with", "on its wheel", "on the wheel", "on to its wheel", "onto its wheel", "drop it", "let it down", "let her down", "bring it down", "bring her down", "drop the", "back down", "come down", "put it down", "on the deck", "on four wheel"}, void: strings.Fields("suspension"), severity: specdata.Error, what: "the vehicle is lowered"},
	{do: specdata.Pump, words: strings.Fields("pump pumped pumping"), phrases: []string{"pedal until", "pedal till", "pedal is firm", "press the pedal", "brake pedal", "foot brake", "press the brake"}, severity: specdata.Error, what: "the brake pedal is pumped before the vehicle moves"},
	{do: specdata.LockVerb, words: strings.Fields("stake staking peen pin cotter tab lock wire"), severity: specdata.Error, what: "the fastener is locked"},
	{do: specdata.Bleed, words: strings.Fields("bleed bled bleeding bleeder"), phrases: []string{"air out", "no more bubble", "no bubble"}, severity: specdata.Error, what: "the circuit is bled"},
	{do: specdata.Fill, words: strings.Fields("fill filled refill top pour topped poured refilled"), phrases: []string{"oil in", "coolant in", "fluid in", "litre in", "quart in", "in go", "put the oil", "put the coolant"}, but: []string{"fill plug", "fill hole", "fill the card", "fill in the", "top bolt", "top nut", "top one", "top mount"}, severity: specdata.Error, what: "the circuit is filled"},
	{do: specdata.Drain, words: strings.Fields("drain drained draining catch tray bowl bucket"), phrases: []string{"run out", "let it out", "comes out"}, severity: specdata.Warning, what: "the circuit is drained"},
	{do: specdata.Isolate, words: strings.Fields("negative isolate isolated terminal"), phrases: []string{"service plug", "earth lead", "ground cable", "earth off", "ground strap", "battery off", "off the battery", "disconnect the battery", "battery disconnected", "unhook the battery", "disconnect battery", "clamp off", "battery lead off", "kill the power"}, early: true, severity: specdata.Error, what: "the battery is isolated"},
	{do: specdata.LockOff, words: strings.Fields("lock locked padlock key tag"), severity: specdata.Error, what: "the isolated system is locked off"},
	{do: specdata.ProveDead, words: strings.Fields("dead prove proved tester reading volt zero"), severity: specdata.Error, what: "the system is proved dead"},
	{do: specdata.Depressurise, words: strings.Fields("pressure hiss stall stalled relieve vent valve gauge empty fuse zero"), phrases: []string{"cap off", "open the cap", "crack the cap", "cap slowly", "cap to", "reservoir cap", "loosen the cap", "turn the cap"}, early: true, severity: specdata.Error, what: "the pressure is let off"},
	{do: specdata.Wait, words: strings.Fields("wait waited soak minute hour leave stand stood cold cool cooled overnight drip"), severity: specdata.Warning, what: "it has to wait"},
	{do: specdata.SetAid, thing: true, severity: specdata.Warning, what: "it is put in place"},
	{do: specdata.ClearAid, thing: true, severity: specdata.Error, what: "it is taken away again"},
	{do: specdata.Hang, words: strings.Fields("hang hung tie tied hook wire string bungee cable rest support hanger"), severity: specdata.Warning, what: "it is hung up and not left on its hose or lead"},
}

// unchockedWords say how a vehicle is made ready that no chock holds: one that a lift
// takes off its wheels.
var unchockedWords = strings.Fields("brake handbrake parking neutral gear park")

// unchocked reports whether an act of securing sets brake or gear and puts no chock.
func unchocked(op *specdata.Operation) bool {
	return len(op.Chocks) == 0 && op.With == "" && (op.ParkingBrake != "" || op.Gear != "")
}

// reach is how many steps from its own an act may be said.
const reach = 2

// mustLeftOut finds the acts that have to be said and that nobody says.
func (j *judge) mustLeftOut() {
	for _, m := range must {
		done := map[specdata.Target]bool{}
		for r := range j.rows {
			if j.rows[r].repeated {
				continue
			}
			for _, a := range j.rows[r].acts {
				if a.Op.Do != m.do || j.optional(a) || done[a.Op.Target] {
					continue
				}
				done[a.Op.Target] = true
				e := m
				if m.do == specdata.Secure && unchocked(a.Op) {
					e.words, e.what = unchockedWords, "the parking brake and the gear are set for the work"
				}
				if m.do == specdata.SetAid || m.do == specdata.ClearAid || m.do == specdata.Hang {
					e.what = "the " + specdata.InSentence(a.Thing.Title) + strings.TrimPrefix(m.what, "it")
				}
				if typ, _ := a.Op.Target.Split(); m.do == specdata.Wait && typ == "electrics" {
					e.severity = specdata.Error
				}
				if !j.saidNear(r, a, &e) {
					j.missing("left-out", e.severity, a, "nobody says that "+e.what)
				}
			}
		}
	}
}

// saidNear reports whether an act was said, near the place where it is done.
func (j *judge) saidNear(r int, a *claim.Act, e *evidence) bool {
	own := []string{}
	if e.thing {
		_, id := a.Op.Target.Split()
		for _, w := range j.wordsOf(id + " " + a.Op.With + " " + a.Thing.Title) {
			if !slices.Contains(own, w) && !j.shared(r, a, w) {
				own = append(own, w)
			}
		}
	}
	return slices.ContainsFunc(j.hs, func(h *heard) bool {
		return j.around(h, r, e.early) && j.speaks(h, e, own)
	})
}

// wordsOf lists the words of ids and titles, verbs without their -ing.
func (j *judge) wordsOf(text string) []string {
	var out []string
	for _, t := range j.lex.Tokens(strings.ReplaceAll(text, "-", " ")) {
		if len(t.Stem) > 2 {
			out = append(out, t.Stem, strings.TrimSuffix(t.Stem, "ing"))
		}
	}
	return out
}

// shared reports whether another aid in the same steps has a word too.
func (j *judge) shared(r int, a *claim.Act, word string) bool {
	for i := max(0, r-reach); i <= min(len(j.rows)-1, r+reach); i++ {
		for _, b := range j.rows[i].acts {
			if b.Op.Target != a.Op.Target && (b.Op.Do == specdata.SetAid || b.Op.Do == specdata.ClearAid) {
				if _, id := b.Op.Target.Split(); slices.Contains(j.wordsOf(id), word) {
					return true
				}
			}
		}
	}
	return false
}

// around reports whether a clause was said near a row or near a repeat of it.
func (j *judge) around(h *heard, r int, early bool) bool {
	for o := range j.rows {
		if j.rows[o].step == j.rows[r].step && h.done <= o+reach && (early || h.at >= o-reach) {
			return true
		}
	}
	return false
}

// speaks reports whether a clause says an act, by what is known of it.
func (j *judge) speaks(h *heard, e *evidence, own []string) bool {
	ts := h.tokens()
	found := false
	for i := range ts {
		w := ts[i].Stem
		if slices.ContainsFunc(e.void, func(p string) bool { return phraseAt(ts, i, p) }) {
			return false
		}
		if slices.ContainsFunc(e.but, func(p string) bool { return phraseAt(ts, i, p) }) {
			continue
		}
		found = found || slices.Contains(e.words, w) || slices.Contains(own, w)
		for _, p := range e.phrases {
			found = found || phraseAt(ts, i, p)
		}
	}
	return found
}
