package dryrun

import "proofload/specdata"

// is returns a condition on the state of the target.
func is(states ...State) func(*subject) bool {
	return func(x *subject) bool {
		for _, s := range states {
			if x.s.is == s {
				return true
			}
		}
		return false
	}
}

// twice refuses an act whose outcome is there already.
func twice(s State, found, need, mend string) refusal {
	return refusal{is(s), CauseTwice, found, need, mend}
}

// never refuses putting back what this procedure has not taken away.
func never(s State, found, need, mend string) refusal {
	return refusal{func(x *subject) bool { return x.s.is == s && !x.s.touched }, CauseNeverUndone, found, need, mend}
}

func absent(cause Cause, need, mend string, states ...State) refusal {
	return refusal{is(states...), cause, "", need, mend}
}

const (
	removeStep = "remove the step"
	fromStart  = "a fastener that is out"
)

var (
	fasteners = []string{"fastener"}
	parts     = []string{"part"}
	joints    = []string{"joint"}
	lines     = []string{"connection"}
	clips     = []string{"clip"}
	aids      = []string{"aid"}
	circuits  = []string{"circuit"}
	systems   = []string{"electrics"}
	anyTarget = []string{"vehicle", "end", "suspension", "fastener", "part", "joint", "connection", "clip", "circuit", "aid", "electrics", "place", "job"}
)

// slackening is a row by name because back-off does it too.
var slackening = Word{Verb: specdata.Slacken, Targets: fasteners, Does: "the fastener is slack",
	refuses: []refusal{twice(Slack, "slack already", "a tight fastener", "remove the second slacken"), twice(Out, "out already", "a tight fastener", "remove the step")},
	needs:   []need{unlocked, safeLines, aidsSet}, to: Slack, opens: []opening{{DebtFastener, "loose"}}, then: (*machine).loosened}

// table is the vocabulary. A new verb is a row here and a constant in specdata.
var table = []Word{
	// The vehicle.
	{Verb: specdata.Secure, Targets: []string{"vehicle"}, Does: "the vehicle cannot roll; chocks, parking brake and gear are as it says", then: (*machine).secure, repeat: renews},
	{Verb: specdata.Raise, Targets: []string{"end"}, Does: "the end is up on the jack, its suspension hangs in droop",
		needs: []need{vehicleSecured, chockedElsewhere, endIs(Ground, "end on the ground", "an end on the ground", "remove the second raise")},
		opens: []opening{{DebtRaised, Raised.String()}}, then: (*machine).raise},
	{Verb: specdata.Raise, Targets: []string{"vehicle"}, Does: "the vehicle is up on the lift: on its arms the suspension hangs, on a platform the wheels carry",
		needs: []need{liftNamed}, opens: []opening{{DebtRaised, OnLift.String()}}, then: (*machine).lift},
	{Verb: specdata.Support, Targets: []string{"vehicle"}, Does: "the lift stands in its locks", needs: []need{onLift}},
	{Verb: specdata.Support, Targets: []string{"end"}, Does: "the end stands on stands (29 CFR 1910.244(a)(2): a jacked load is blocked at once)",
		needs: []need{endRaised}, then: func(m *machine, x *subject) { m.setEnd(x.id, Supported) }},
	{Verb: specdata.Lower, Targets: []string{"end"}, Does: "the end is on the ground at ride height",
		needs: []need{endUp, suspensionFree, wheelsRunDown}, closes: []Debt{DebtRaised}, then: func(m *machine, x *subject) { m.setEnd(x.id, Ground) }},
	{Verb: specdata.Lower, Targets: []string{"vehicle"}, Does: "the vehicle is on the ground at ride height",
		needs: []need{onLift, bothWheelsRunDown}, closes: []Debt{DebtRaised}, then: (*machine).liftDown},
	{Verb: specdata.LoadSuspension, Targets: []string{"suspension"}, Does: "the suspension is held at ride height",
		needs: []need{endSupported, suspensionHangs, rideHeightKnown}, opens: []opening{{DebtLoaded, "held up by the jack"}}, then: func(m *machine, x *subject) { m.setLoaded(x.id, true) }},
	{Verb: specdata.UnloadSuspension, Targets: []string{"suspension"}, Does: "the suspension hangs again",
		needs: []need{suspensionLoaded}, closes: []Debt{DebtLoaded}, then: func(m *machine, x *subject) { m.setLoaded(x.id, false) }},

	// Fasteners.
	slackening,
	{Verb: specdata.Remove, Targets: fasteners, Does: "the fastener is out",
		refuses: []refusal{twice(Out, "out already", "a fastener that is in", "remove the second remove")},
		needs:   []need{unlocked, safeLines, aidsSet, endUpForIt}, to: Out, opens: []opening{{DebtFastener, "out"}}, then: (*machine).loosened},
	{Verb: specdata.Remove, Targets: parts, Does: "the part is off",
		refuses: []refusal{twice(Off, "off already", "a part that is on", "remove the second remove")},
		needs:   []need{nothingHolds, aidsSet, endUpForPart, brakeReleased}, to: Off, opens: []opening{{DebtPart, "off"}}, then: (*machine).hangs},
	{Verb: specdata.Unlock, Targets: fasteners, Does: "the pin is out, the stake relieved, the tab bent back",
		refuses: []refusal{{func(x *subject) bool { return !x.s.locked }, CauseTwice, "not locked", "a lock in place", "remove the step"}},
		then:    (*machine).unlock},
	{Verb: specdata.LockVerb, Targets: fasteners, Does: "the fastener cannot turn by itself",
		refuses: []refusal{
			{func(x *subject) bool { return x.f != nil && !lockedBy(x.f) }, CauseNeverUndone, "without a lock of its own by its record", "a pin, stake, tab or wire in the record", "remove the step, or give the record its lock"},
			{func(x *subject) bool { return x.s.locked && x.s.touched }, CauseTwice, "locked already", "a lock undone", "remove the second lock"},
			{func(x *subject) bool { return x.s.locked }, CauseNeverUndone, "locked and was not touched", "a lock undone by this procedure", "remove the step or undo the lock first"},
			{func(x *subject) bool { return x.s.is != AtFinal }, CauseNotFinal, "", "the fastener at its final value before it is locked", "add {tighten} before it"},
		},
		closes: []Debt{DebtLock}, then: func(_ *machine, x *subject) { x.s.locked = true }},
	{Verb: specdata.Fit, Targets: parts, Does: "the part is on",
		refuses: []refusal{
			never(InPlace, "on, and nothing took it off", "a part that is off", "take it off first or remove the step"),
			twice(InPlace, "on already", "a part that is off", "remove the second fit"),
			{func(x *subject) bool { return x.s.hung }, CauseHungUp, "still hung up", "the hook away", "add {unhang} before it"},
			{func(x *subject) bool { return !x.New && (x.s.scrap || x.sp != nil && x.sp.part.Renew) }, CauseOldPiece, "the old part", "a new one", "write new: true and list the part"},
		},
		needs: []need{nothingInTheWay, onNewSeals, endUpForIt}, to: InPlace, closes: []Debt{DebtPart}, then: (*machine).fitted},
	{Verb: specdata.Fit, Targets: joints, Does: "the joint is together", refuses: together("join"),
		needs: []need{partsOn, nothingInTheWay, onNewSeals, endUpForIt}, to: InPlace, closes: []Debt{DebtJoint}},
	{Verb: specdata.Start, Targets: fasteners, Does: "the thread is started by hand",
		refuses: []refusal{
			never(AtFinal, "in and at its final value, and nothing took it out", fromStart, "take it out first or remove the step"),
			{is(AtFinal, Started, Snug, Staged), CauseTwice, "", fromStart, "remove the second start"},
			{is(Slack), CauseNeverUndone, "only slack, its thread still on", fromStart, "add {remove} before it, or remove the start"},
		},
		needs: []need{heldInPlace, endUpForIt}, to: Started, opens: []opening{{DebtFastener, "only started by hand"}}, then: (*machine).started},
	{Verb: specdata.Snug, Targets: fasteners, Does: "play is taken up, no torque",
		refuses: []refusal{
			absent(CauseNotInPlace, "the thread started by hand", "add {start} before it", Out),
			never(AtFinal, "at its final value, and nothing loosened it", "a fastener started or slack", removeStep),
			absent(CauseTwice, "a fastener started or slack", "remove the second snug", AtFinal, Snug),
		},
		to: Snug, opens: []opening{{DebtFastener, "only snug"}}},
	{Verb: specdata.Tighten, Targets: fasteners, Does: "every remaining stage is done, the fastener is final; its lock and follow-ups are owed",
		refuses: []refusal{
			absent(CauseNotInPlace, "the thread started by hand", "add {start} before it", Out),
			never(AtFinal, "at its final value, and nothing loosened it", "a fastener that this procedure loosened", "remove the step, or write {check} for a recheck"),
			twice(AtFinal, "", "a fastener that is not final", "remove the second tighten, or write {check} for a recheck"),
		},
		needs: []need{inItsState}, closes: []Debt{DebtFastener}, then: (*machine).tighten},
	{Verb: specdata.StageVerb, Targets: fasteners, Does: "one torque stage is done, after the last the fastener is final",
		needs: []need{stageBefore}, then: (*machine).stage},
	{Verb: specdata.Turn, Targets: fasteners, Does: "one angle stage is done, after the last the fastener is final",
		needs: []need{stageBefore}, then: (*machine).stage},
	{Verb: specdata.Defer, Targets: fasteners, Does: "the final tightening is owed in a later state",
		refuses: []refusal{
			twice(AtFinal, "", "a fastener that is not final yet", "remove the defer"),
			absent(CauseNotInPlace, "a fastener that is at least snug while it waits", "add {snug} before it", Out, Started),
			{func(x *subject) bool { return x.s.deferred }, CauseTwice, "deferred already", "one deferral", "remove the second defer"},
		},
		then: (*machine).deferred},
	{Verb: specdata.Resolve, Targets: fasteners, Does: "the deferral is settled",
		refuses: []refusal{
			{func(x *subject) bool { return !x.s.deferred }, CauseNeverUndone, "not deferred", "a deferral to settle", "remove the resolve, or defer it where it is left snug"},
			{func(x *subject) bool { return x.s.is != AtFinal }, CauseNotFinal, "", "the fastener at its final value", "add {tighten} before it"},
		},
		closes: []Debt{DebtDeferred}, then: func(_ *machine, x *subject) { x.s.deferred = false }},

	// Joints, connections, clips, hooks and aids.
	{Verb: specdata.Separate, Targets: joints, Does: "the joint is apart",
		refuses: []refusal{twice(Apart, "apart already", "a joint that is together", "remove the second separate")},
		needs:   []need{nothingHolds, endUpForIt, aidSet}, to: Apart, opens: []opening{{DebtJoint, "apart"}}},
	{Verb: specdata.Join, Targets: joints, Does: "the joint is together", refuses: together("join"),
		needs: []need{partsOn, nothingInTheWay, onNewSeals, endUpForIt}, to: InPlace, closes: []Debt{DebtJoint}},
	{Verb: specdata.Disconnect, Targets: lines, Does: "the connection is undone; a leak check is owed, and bleeding where the circuit wants it",
		refuses: []refusal{twice(Undone, "undone already", "a connection that is made", "remove the second disconnect")},
		needs:   []need{nothingHolds, safeLine, endUpForIt}, to: Undone, opens: []opening{{DebtConnection, "undone"}}, then: (*machine).opened},
	{Verb: specdata.Connect, Targets: lines, Does: "the connection is made",
		refuses: []refusal{
			never(InPlace, "made, and nothing undid it", "a connection that is undone", removeStep),
			twice(InPlace, "made already", "a connection that is undone", "remove the second connect"),
			{func(x *subject) bool { return x.s.capped }, CauseAid, "still capped", "the caps away", "add {uncap} before it"},
		},
		needs: []need{partsOn, nothingInTheWay, onNewSeals, endUpForIt}, to: InPlace, closes: []Debt{DebtConnection}},
	{Verb: specdata.Unclip, Targets: clips, Does: "the clip is open",
		refuses: []refusal{twice(Open, "open already", "a clip that is closed", "remove the second unclip")},
		needs:   []need{nothingHolds}, to: Open, opens: []opening{{DebtClip, "open"}}},
	{Verb: specdata.ClipVerb, Targets: clips, Does: "the clip is closed",
		refuses: []refusal{
			never(InPlace, "closed, and nothing opened it", "a clip that is open", removeStep),
			twice(InPlace, "closed already", "a clip that is open", "remove the second clip"),
		},
		needs: []need{nothingInTheWay}, to: InPlace, closes: []Debt{DebtClip}},
	{Verb: specdata.Hang, Targets: parts, Does: "its weight is carried",
		refuses: []refusal{
			{func(x *subject) bool { return x.s.hung }, CauseTwice, "hung up already", "a part in the hand", "remove the second hang"},
			{func(x *subject) bool { return x.s.is != Off }, CauseNotInPlace, "", "a part that is off", "add {remove} before it"},
		},
		opens: []opening{{DebtHung, "on its hook"}}, then: func(_ *machine, x *subject) { x.s.hung = true }},
	{Verb: specdata.Unhang, Targets: parts, Does: "it is in the hand again",
		refuses: []refusal{{func(x *subject) bool { return !x.s.hung }, CauseNeverUndone, "not hung up", "a part on its hook", removeStep}},
		closes:  []Debt{DebtHung}, then: func(_ *machine, x *subject) { x.s.hung = false }},
	{Verb: specdata.SetAid, Targets: aids, Does: "a pin, wedge or holder is in place",
		refuses: []refusal{twice(InPlace, "in place already", "an aid that is away", "remove the second set-aid")},
		to:      InPlace, opens: []opening{{DebtAid, "in place"}}},
	{Verb: specdata.ClearAid, Targets: aids, Does: "the aid is away",
		refuses: []refusal{
			never(Off, "not in place", "an aid in place", "remove the step, or set the aid where it is used"),
			twice(Off, "away already", "an aid in place", "remove the second clear-aid"),
		},
		to: Off, closes: []Debt{DebtAid}},

	// Circuits and electrics.
	{Verb: specdata.Drain, Targets: circuits, Does: "the circuit is empty",
		needs: []need{notDrained, withoutPressure, coldCircuit, somethingOpen}, opens: []opening{{DebtFill, "drained"}}, then: func(m *machine, x *subject) { m.circuit(x.id).drained = true }},
	{Verb: specdata.Depressurise, Targets: circuits, Does: "the circuit is without pressure", needs: []need{coldCircuit},
		then: func(m *machine, x *subject) { m.circuit(x.id).relieved = true }, repeat: renews},
	{Verb: specdata.Fill, Targets: circuits, Does: "the circuit is full; a leak check is owed, and bleeding where the circuit wants it",
		needs: []need{wantsFilling, linesMade, openingsClosed}, closes: []Debt{DebtFill}, then: (*machine).fill},
	{Verb: specdata.Bleed, Targets: circuits, Does: "no air is left",
		needs: []need{linesMade, openingsClosed, circuitFull}, closes: []Debt{DebtBleed}, then: func(m *machine, x *subject) { m.circuit(x.id).lost = true }, repeat: renews},
	{Verb: specdata.Cap, Targets: lines, Does: "the open ends are capped",
		refuses: []refusal{
			{func(x *subject) bool { return x.s.capped }, CauseTwice, "capped already", "open ends", "remove the second cap"},
			{func(x *subject) bool { return x.s.is != Undone }, CauseNotInPlace, "", "a connection that is undone", "add {disconnect} before it"},
		},
		opens: []opening{{DebtCaps, "capped"}}, then: func(_ *machine, x *subject) { x.s.capped = true }},
	{Verb: specdata.Uncap, Targets: lines, Does: "the caps are away",
		refuses: []refusal{{func(x *subject) bool { return !x.s.capped }, CauseNeverUndone, "not capped", "caps on the open ends", removeStep}},
		closes:  []Debt{DebtCaps}, then: func(_ *machine, x *subject) { x.s.capped = false }},
	{Verb: specdata.Isolate, Targets: systems, Does: "the circuit is dead and cannot come back by itself",
		needs: []need{live}, opens: []opening{{DebtElectrics, "isolated"}}, then: func(m *machine, x *subject) { m.setDead(x.id, true) }},
	{Verb: specdata.Restore, Targets: systems, Does: "the circuit is live",
		needs: []need{isolated, wiresMade}, closes: []Debt{DebtElectrics}, then: func(m *machine, x *subject) { m.setDead(x.id, false) }},
	{Verb: specdata.Retract, Targets: []string{"part", "place"}, Does: "a brake piston is pushed back: the first pedal stroke will do nothing",
		needs: []need{pistonOut}, then: (*machine).retract},
	{Verb: specdata.Pump, Targets: []string{"place"}, Does: "the pedal is firm", needs: []need{brakesWhole}, then: (*machine).pump, repeat: renews},

	// Looking, noting and handing over.
	{Verb: specdata.Mark, Targets: anyTarget, Does: "positions are marked", repeat: looks},
	{Verb: specdata.Measure, Targets: anyTarget, Does: "a value is written down; it answers what a check answers", then: (*machine).measure, repeat: looks},
	{Verb: specdata.Inspect, Targets: anyTarget, Does: "a thing is compared with its criterion", then: (*machine).check, repeat: looks},
	{Verb: specdata.Check, Targets: anyTarget, Does: "a thing is compared with its criterion, a final fastener with its own value; the follow-up that it answers is settled",
		needs: []need{finalToCheck, levelReadable}, then: (*machine).check, repeat: looks},
	{Verb: specdata.Clean, Targets: anyTarget, Does: "a surface is clean", repeat: renews},
	{Verb: specdata.Apply, Targets: anyTarget, Does: "a product is on a surface", repeat: renews},
	{Verb: specdata.Align, Targets: anyTarget, Does: "geometry is set; every alignment owed is settled",
		needs: []need{wheelsOnGround}, then: settles(DebtAlignment), repeat: renews},
	{Verb: specdata.Relearn, Targets: anyTarget, Does: "a control unit has learnt its zero; every relearn owed is settled", then: settles(DebtRelearn), repeat: renews},
	{Verb: specdata.RoadTest, Targets: []string{"vehicle"}, Does: "the vehicle has been driven", needs: []need{fitForTheRoad}, then: (*machine).driven, repeat: renews},
	{Verb: specdata.Advise, Targets: anyTarget, Does: "the customer knows what is due later; the recheck owed is settled", then: (*machine).advise, repeat: looks},
	{Verb: specdata.RecordJob, Targets: []string{"job"}, Does: "the job is written down", repeat: looks},
	{Verb: specdata.Discard, Targets: fasteners, Does: "the piece is scrap; a new one must go in", refuses: scrapped(Out, "fastener"), then: (*machine).discard},
	{Verb: specdata.Discard, Targets: parts, Does: "the piece is scrap; a new one must go on", refuses: scrapped(Off, "part"), then: (*machine).discard},
	{Verb: specdata.Wait, Targets: anyTarget, Does: "time has passed; what was hot is cold", then: (*machine).wait, repeat: renews},
	{Verb: specdata.BackOff, Targets: fasteners, Does: "the fastener is slack again, to settle the joint or to verify a value",
		needs: []need{stageBefore}, then: (*machine).backOff},
	{Verb: specdata.PressOut, Targets: joints, Does: "the joint is apart",
		refuses: []refusal{twice(Apart, "apart already", "a joint that is together", "remove the second press-out")},
		needs:   []need{pressed, onBench, nothingHolds, endUpForIt, aidSet}, to: Apart, opens: []opening{{DebtJoint, "apart"}}},
	{Verb: specdata.PressIn, Targets: joints, Does: "the joint is together", refuses: together("press-in"),
		needs: []need{pressed}, to: InPlace, closes: []Debt{DebtJoint}},
	{Verb: specdata.Reset, Targets: anyTarget, Does: "a service, sensor or angle is initialised; every relearn owed is settled", then: settles(DebtRelearn), repeat: renews},
	{Verb: specdata.Count, Targets: anyTarget, Does: "a number is written down; it answers what a check answers", then: (*machine).measure, repeat: looks},
	{Verb: specdata.StopIf, Targets: anyTarget, Does: "on the condition in accept the job is abandoned in the safe state that note names", repeat: looks},
	{Verb: specdata.Release, Targets: []string{"vehicle"}, Does: "the chocks are away",
		needs: []need{chocksSet, standsOnWheels}, then: (*machine).release},
	{Verb: specdata.RunEngine, Targets: []string{"vehicle"}, Does: "the engine has run: it is hot, and its circuits are under pressure again",
		needs: []need{noAids, everythingRuns, allClosed, gearNeutral, brakesWhole, batteryOn}, then: (*machine).ran, repeat: renews},
	{Verb: specdata.Rotate, Targets: []string{"part", "place", "fastener"}, Does: "a shaft, wheel or crank is turned by hand", needs: []need{freeToTurn}, repeat: looks},
	{Verb: specdata.LockOff, Targets: systems, Does: "nobody else can make it live", needs: []need{isolated}, then: func(m *machine, x *subject) { m.system(x.id).locked = true }, repeat: renews},
	{Verb: specdata.ProveDead, Targets: systems, Does: "it is proved dead with a tester that was proved before and after",
		needs: []need{isolated, lockedOff, waitedFor, withTester}, then: func(m *machine, x *subject) { m.system(x.id).proved = true }, repeat: renews},
	{Verb: specdata.Calibrate, Targets: []string{"place", "electrics", "vehicle"}, Does: "what it names is calibrated with a scan tool or target board", then: (*machine).calibrate, repeat: renews},
}

// together refuses joining what is not apart.
func together(verb string) []refusal {
	return []refusal{
		never(InPlace, "together, and nothing parted it", "a joint that is apart", removeStep),
		twice(InPlace, "together already", "a joint that is apart", "remove the second "+verb),
	}
}

// scrapped refuses discarding what is still on the vehicle or discarded already.
func scrapped(gone State, what string) []refusal {
	return []refusal{
		{func(x *subject) bool { return x.s.is != gone }, CauseNotInPlace, "", "a " + what + " that is " + gone.String(), "add {remove} before it"},
		{func(x *subject) bool { return x.s.scrap }, CauseTwice, "discarded already", "an old piece", "remove the second discard"},
	}
}

// settles returns an act that closes every entry of a debt, whatever it is about.
func settles(d Debt) func(*machine, *subject) {
	return func(m *machine, _ *subject) { m.ledger.closeAll(d) }
}
