// Package dryrun executes a procedure's operations on a model of the vehicle
// corner and keeps a ledger: every disturbing act opens an entry that a named act
// must close. "Taken off and never refitted" is computed here, not hoped.
//
// The vocabulary and what each act needs are common practice, no source, except
// where the table says otherwise.
package dryrun

import "proofload/specdata"

// Word is one verb of the vocabulary in words, for people: what it may act on,
// what must be so before, what is so after, and what it opens and closes in the ledger.
type Word struct {
	Verb    specdata.Verb
	Targets []string
	Needs   string
	Does    string
	Opens   string
	Closes  string

	act    func(*machine, *Act)
	effect effect
}

// effect says what it means to do an act again.
type effect uint8

const (
	// alters: the act's own precondition tells whether it was done already.
	alters effect = iota
	// renews: worth doing again once anything else was done.
	renews
	// looks: worth doing again once anything was changed; looking changes nothing.
	looks
)

// Vocabulary lists every verb in the order of specdata.Verbs. A test holds the two together.
func Vocabulary() []Word {
	return []Word{
		{specdata.Secure, []string{"vehicle"}, "", "the vehicle cannot roll", "", "", (*machine).secure, renews},
		{specdata.Raise, []string{"end"}, "vehicle secured, end on the ground", "the end is up on the jack, its suspension hangs in droop", "end raised", "", (*machine).raise, alters},
		{specdata.Support, []string{"end"}, "end raised", "the end stands on stands (29 CFR 1910.244(a)(2): a jacked load is blocked at once)", "", "", (*machine).support, alters},
		{specdata.Lower, []string{"end"}, "end raised, road wheels of the end on and their fasteners run down, no loading jack in place", "the end is on the ground at ride height", "", "end raised", (*machine).lower, alters},
		{specdata.LoadSuspension, []string{"suspension"}, "end supported", "the suspension is held at ride height", "suspension loaded", "", (*machine).loadSuspension, alters},
		{specdata.UnloadSuspension, []string{"suspension"}, "suspension loaded", "the suspension hangs again", "", "suspension loaded", (*machine).unloadSuspension, alters},
		{specdata.Slacken, []string{"fastener"}, "fastener tight, its lock undone; what it opens without pressure and not live", "the fastener is slack", "fastener loose", "", (*machine).slacken, alters},
		{specdata.Remove, []string{"fastener", "part"}, "nothing holds it any more; what it opens without pressure and not live", "the thing is off", "fastener out or part off", "", (*machine).remove, alters},
		{specdata.Unlock, []string{"fastener"}, "fastener locked", "the pin is out, the stake relieved, the tab bent back", "", "", (*machine).unlock, alters},
		{specdata.LockVerb, []string{"fastener"}, "fastener at its final value", "the fastener cannot turn by itself", "", "lock owed", (*machine).lock, alters},
		{specdata.Fit, []string{"part", "joint"}, "thing off, not hung up, nothing in its way", "the thing is on", "", "part off or joint apart", (*machine).fit, alters},
		{specdata.Start, []string{"fastener"}, "fastener out, what it holds in place", "the thread is started by hand", "", "", (*machine).start, alters},
		{specdata.Snug, []string{"fastener"}, "fastener started or slack", "play is taken up, no torque", "", "", (*machine).snug, alters},
		{specdata.Tighten, []string{"fastener"}, "fastener started, snug, staged or slack; vehicle in the record's state", "every remaining stage is done, the fastener is final", "lock, follow-ups", "fastener loose", (*machine).tighten, alters},
		{specdata.StageVerb, []string{"fastener"}, "the stage before done", "one torque stage is done", "", "after the last stage: fastener loose", (*machine).stage, alters},
		{specdata.Turn, []string{"fastener"}, "the stage before done", "one angle stage is done", "", "after the last stage: fastener loose", (*machine).stage, alters},
		{specdata.Defer, []string{"fastener"}, "fastener snug, slack or part way through its stages", "its final tightening is owed in a later state", "deferred tightening", "", (*machine).deferAct, alters},
		{specdata.Resolve, []string{"fastener"}, "fastener deferred, now final", "the deferral is settled", "", "deferred tightening", (*machine).resolve, alters},
		{specdata.Separate, []string{"joint"}, "its fasteners out or on a few threads, nothing in front, its puller or wedge in place", "the joint is apart", "joint apart", "", (*machine).separate, alters},
		{specdata.Join, []string{"joint"}, "joint apart, its parts on, nothing in its way", "the joint is together", "", "joint apart", (*machine).join, alters},
		{specdata.Disconnect, []string{"connection"}, "circuit without pressure, electrics safe", "the connection is undone", "connection undone", "", (*machine).disconnect, alters},
		{specdata.Connect, []string{"connection"}, "connection undone, caps off, nothing in its way", "the connection is made", "", "connection undone", (*machine).connect, alters},
		{specdata.Unclip, []string{"clip"}, "clip closed", "the clip is open", "clip open", "", (*machine).unclip, alters},
		{specdata.ClipVerb, []string{"clip"}, "clip open", "the clip is closed", "", "clip open", (*machine).clip, alters},
		{specdata.Hang, []string{"part"}, "part off", "its weight is carried", "part hung up", "", (*machine).hang, alters},
		{specdata.Unhang, []string{"part"}, "part hung up", "it is in the hand again", "", "part hung up", (*machine).unhang, alters},
		{specdata.SetAid, []string{"aid"}, "aid not in place", "a pin, wedge or holder is in place", "aid in place", "", (*machine).setAid, alters},
		{specdata.ClearAid, []string{"aid"}, "aid in place", "the aid is away", "", "aid in place", (*machine).clearAid, alters},
		{specdata.Drain, []string{"circuit"}, "circuit without pressure", "the circuit is empty", "fill owed", "", (*machine).drain, alters},
		{specdata.Depressurise, []string{"circuit"}, "", "the circuit is without pressure", "", "", (*machine).depressurise, renews},
		{specdata.Fill, []string{"circuit"}, "circuit drained or opened; every connection of it made and tight", "the circuit is full", "bleed owed where the circuit wants it, leak check", "fill owed", (*machine).fill, alters},
		{specdata.Bleed, []string{"circuit"}, "circuit full, every connection made", "no air is left", "", "bleed owed", (*machine).bleed, renews},
		{specdata.Cap, []string{"connection"}, "connection undone", "the open ends are capped", "caps on", "", (*machine).cap, alters},
		{specdata.Uncap, []string{"connection"}, "caps on", "the caps are away", "", "caps on", (*machine).uncap, alters},
		{specdata.Isolate, []string{"electrics"}, "", "the circuit is dead and cannot come back by itself", "electrics isolated", "", (*machine).isolate, alters},
		{specdata.Restore, []string{"electrics"}, "electrics isolated, every connection that needs it made and tight", "the circuit is live", "", "electrics isolated", (*machine).restore, alters},
		{specdata.Retract, []string{"part", "place"}, "", "a brake piston is pushed back: the first pedal stroke will do nothing", "pedal owed", "", (*machine).retract, alters},
		{specdata.Pump, []string{"place"}, "", "the pedal is firm", "", "pedal owed", (*machine).pump, renews},
		{specdata.Mark, anyTarget, "", "positions are marked", "", "", (*machine).note, looks},
		{specdata.Measure, anyTarget, "", "a value is written down", "", "", (*machine).measure, looks},
		{specdata.Inspect, anyTarget, "", "a thing is compared with its criterion", "", "", (*machine).check, looks},
		{specdata.Check, anyTarget, "", "a thing is compared with its criterion; a final fastener is rechecked at its own value", "", "the follow-up it answers", (*machine).check, looks},
		{specdata.Clean, anyTarget, "", "", "", "", (*machine).note, renews},
		{specdata.Apply, anyTarget, "", "", "", "", (*machine).note, renews},
		{specdata.Align, anyTarget, "vehicle on the ground", "geometry is set", "", "alignment owed", (*machine).align, renews},
		{specdata.Relearn, anyTarget, "", "a control unit has learnt its zero", "", "relearn owed", (*machine).relearn, renews},
		{specdata.RoadTest, []string{"vehicle"}, "vehicle on the ground, everything that matters on the road closed", "", "", "", (*machine).roadTest, renews},
		{specdata.Advise, anyTarget, "", "the keeper knows what is due later", "", "recheck owed", (*machine).advise, looks},
		{specdata.RecordJob, []string{"job"}, "", "", "", "", (*machine).note, looks},
		{specdata.Discard, []string{"fastener", "part"}, "thing off", "the thing is scrap; a new one must go on", "", "", (*machine).discard, alters},
		{specdata.Wait, anyTarget, "", "", "", "", (*machine).note, renews},
		{specdata.BackOff, []string{"fastener"}, "fastener snug, part way through its stages or final", "the fastener is slack again, to settle the joint or to verify a value", "fastener loose", "", (*machine).backOff, alters},
		{specdata.PressOut, []string{"joint"}, "a pressed joint, one of its parts off and supported on the right ring", "the joint is apart", "joint apart", "", (*machine).pressOut, alters},
		{specdata.PressIn, []string{"joint"}, "a pressed joint that is apart", "the joint is together", "", "joint apart", (*machine).pressIn, alters},
		{specdata.Reset, anyTarget, "", "a service, sensor or angle is initialised", "", "relearn owed", (*machine).relearn, renews},
		{specdata.Count, anyTarget, "", "a number is written down", "", "", (*machine).measure, looks},
		{specdata.StopIf, anyTarget, "", "on the condition in accept the job is abandoned in the safe state that note names", "", "", (*machine).note, looks},
	}
}

var anyTarget = []string{"vehicle", "end", "suspension", "fastener", "part", "joint", "connection", "clip", "circuit", "aid", "electrics", "place", "job"}

var words = func() map[specdata.Verb]*Word {
	m := map[specdata.Verb]*Word{}
	for _, w := range Vocabulary() {
		m[w.Verb] = &w
	}
	return m
}()

// Describe gives the vocabulary's entry of a verb, nil for a verb it does not have.
func Describe(v specdata.Verb) *Word { return words[v] }
