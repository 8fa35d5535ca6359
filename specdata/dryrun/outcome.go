package dryrun

import (
	"fmt"
	"iter"
	"slices"
	"strings"

	"proofload/specdata"
)

// Result is a procedure run once for every variant it covers.
type Result struct {
	Procedure *specdata.Procedure
	Outcomes  []*Outcome
	// Beyond counts the combinations of options that were not run.
	Beyond int
}

// Problems lists the problems of all variants, one of each place and cause, in
// order of step. A problem that only some variants have names the first of them;
// one that an operation has on both sides, or at several positions, names the
// first and lists the others in Also.
func (r *Result) Problems() []Problem {
	type key struct {
		cause   Cause
		pointer string
		thing   specdata.Target
		by      specdata.Target
		debt    Debt
	}
	seen := map[key]int{}
	var all []Problem
	if r.Beyond > 0 {
		all = append(all, uncovered("/steps", fmt.Sprintf("the steps ask about so many options that %d combinations of them are not run; %d are", r.Beyond, len(r.Outcomes)), "ask about fewer options, or split the procedure"))
	}
	for _, o := range r.Outcomes {
		for _, p := range o.Problems {
			k := key{p.Cause, p.Pointer, p.Target, p.By, p.Entry.Debt}
			if i, ok := seen[k]; ok {
				if p.Thing != all[i].Thing && !slices.Contains(all[i].Also, p.Thing) {
					all[i].Also = append(all[i].Also, p.Thing)
				}
				continue
			}
			seen[k] = len(all)
			if len(r.Outcomes) > 1 && len(o.Variant.Options) > 0 {
				p.Variant = o.Variant.String()
			}
			all = append(all, p)
		}
	}
	return all
}

// Outcome is one run of a procedure for one variant.
type Outcome struct {
	Variant Variant
	Acts    []*Act
	// Problems are failed preconditions in order of act, then ledger entries still open at the end.
	Problems []Problem
	// Timeline has one moment for every step that was run, in order.
	Timeline []Moment
	// Torques is every tightening in order of use.
	Torques []TorqueUse
	// Owed lists what is due after the job, by advice or by the records.
	Owed []Owed
	// Hazards is what the acts expose people to, the first act of each.
	Hazards []Hazard
	// Brakes lists the acts that open a brake circuit.
	Brakes []*Act
	// rideHeightKnown says whether some act brought or measured ride height, by end.
	rideHeightKnown map[string]bool
}

// Variant is one vehicle with one value for every option that the procedure asks about.
type Variant struct {
	Vehicle string
	Options []Option
}

// Option is one key and its value.
type Option struct{ Key, Value string }

// String returns the variant in words ("quill-1, rear_brake disc").
func (v Variant) String() string {
	var b strings.Builder
	b.WriteString(v.Vehicle)
	for _, o := range v.Options {
		fmt.Fprintf(&b, ", %s %s", o.Key, o.Value)
	}
	return b.String()
}

// clause returns the variant as an applicability clause of one value each.
func (v Variant) clause() specdata.Applies {
	a := specdata.Applies{Vehicle: v.Vehicle, Where: map[string][]string{}}
	for _, o := range v.Options {
		a.Where[o.Key] = []string{o.Value}
	}
	return a
}

// Act is one operation as it is executed: on one side, in one pass of a repeat.
type Act struct {
	*specdata.Operation
	// Number counts acts from 0.
	Number int
	// StepIndex and OpIndex say where the operation is written.
	StepIndex, OpIndex int
	Step               *specdata.Step
	Side               specdata.Side
	// Repeats is the index of the step that repeats this one, -1 where it is run as written.
	Repeats int
	// Before is the state of the act's surroundings just before it. Acts between which
	// nothing around them changed share it.
	Before *Surroundings
	// From is the state the target was in before the act.
	From State
	// End is the end of the vehicle the act works at, "" where none is known.
	End string
	// NewPiece tells for a tightening whether the fastener that went in was new.
	NewPiece bool

	typ, id string // of the target
}

// Pointer returns the JSON pointer of the operation in its procedure.
func (a *Act) Pointer() string {
	step := specdata.At("/steps", a.StepIndex, "")
	if a.OpIndex < 0 {
		return step
	}
	return specdata.At(step+"/operations", a.OpIndex, "")
}

// Where names the step for people: "step 12 (fit-disc), right side".
func (a *Act) Where() string {
	s := fmt.Sprintf("step %d (%s)", a.StepIndex+1, a.Step.ID)
	if a.Side == specdata.SideLeft || a.Side == specdata.SideRight {
		s += ", " + string(a.Side) + " side"
	}
	return s
}

// Surroundings is the state around an act that tightening and safety rules ask about.
type Surroundings struct {
	Secured bool
	// Ends holds the state of each end that was touched: ground, raised, supported.
	Front, Rear EndState
	// FrontLoaded and RearLoaded say that the suspension is held at ride height though the end is up.
	FrontLoaded, RearLoaded bool
	// Dead lists what is isolated.
	Dead []string
}

// End returns the state of an end by name.
func (s Surroundings) End(end string) EndState {
	if end == "rear" {
		return s.Rear
	}
	return s.Front
}

// AtRideHeight reports whether the suspension of an end carries its weight or is held as if.
func (s Surroundings) AtRideHeight(end string) bool {
	if end == "rear" {
		return s.Rear.WheelsCarry() || s.RearLoaded
	}
	return s.Front.WheelsCarry() || s.FrontLoaded
}

// Moment is what one step changed.
type Moment struct {
	StepIndex int
	Step      *specdata.Step
	Side      specdata.Side
	Repeats   int
	Opened    []Entry
	// Changed lists what was open before and is still, in another state: loose
	// before, out now.
	Changed []Entry
	Closed  []Entry
	// Open counts the entries open after the step.
	Open   int
	Around Surroundings
}

// Open returns, moment by moment, what is off, loose or open after it, in the order it
// was opened. The list is only good until the next moment.
func (o *Outcome) Open() iter.Seq2[int, []Entry] {
	return func(yield func(int, []Entry) bool) {
		var open []Entry
		for n, m := range o.Timeline {
			open = append(open, m.Opened...)
			at := func(e *Entry) int {
				return slices.IndexFunc(open, func(o Entry) bool { return o.Debt == e.Debt && o.Thing == e.Thing })
			}
			for i := range m.Changed {
				if j := at(&m.Changed[i]); j >= 0 {
					open[j] = m.Changed[i]
				}
			}
			for i := range m.Closed {
				if j := at(&m.Closed[i]); j >= 0 {
					open = slices.Delete(open, j, j+1)
				}
			}
			if !yield(n, open) {
				return
			}
		}
	}
}

// Words says what is open in shop words: "collar nut out".
func (e *Entry) Words() string { return e.Title() + " " + e.State }

// Words says how the vehicle stands: "rear end supported on stands, suspension at
// ride height; battery isolated". It is "" for one that stands as it came in.
func (s Surroundings) Words() string {
	var words []string
	for _, end := range []string{"front", "rear"} {
		if s.End(end) == Ground {
			continue
		}
		w := end + " end " + s.End(end).String()
		if s.AtRideHeight(end) {
			w += ", suspension at ride height"
		}
		words = append(words, w)
	}
	for _, d := range s.Dead {
		words = append(words, electrics(d)+" isolated")
	}
	return strings.Join(words, "; ")
}

// TorqueUse is one tightening in order of use.
type TorqueUse struct {
	Act *Act
	// Moment is the index of the step's moment in the timeline.
	Moment   int
	Fastener *specdata.Fastener
	// Stages lists the indices of the record's stages that the act performs.
	Stages []int
	// Final says that the fastener is final after it.
	Final bool
	// End is the end of the vehicle it belongs to, "" where none is known.
	End string
	// Around describes the vehicle at that moment.
	Around Surroundings
}

// Owed is something due after the job.
type Owed struct {
	What  string
	After specdata.Quantity
	For   Thing
	By    *Act
}

// Cause says why an act could not be carried out, or what is left at the end.
type Cause string

// The causes. Each has rules that speak about it.
const (
	// CauseTwice: the act was done already and nothing undid it.
	CauseTwice Cause = "twice"
	// CauseNeverUndone: the act puts back what this procedure never took off.
	CauseNeverUndone Cause = "never-undone"
	// CauseHeld: something still holds the thing.
	CauseHeld Cause = "held"
	// CauseBlocked: something that is already on is in the way.
	CauseBlocked Cause = "blocked"
	// CauseNotInPlace: what the act works on or fastens is not in place.
	CauseNotInPlace Cause = "not-in-place"
	// CauseLocked: the fastener's lock has not been undone.
	CauseLocked Cause = "locked"
	// CauseNotFinal: the act wants a fastener at its final value.
	CauseNotFinal Cause = "not-final"
	// CauseStage: a stage is out of order or does not exist.
	CauseStage Cause = "stage"
	// CauseOldPiece: a piece that must be new goes back.
	CauseOldPiece Cause = "old-piece"
	// CauseVehicleState: the vehicle is not in the state the record asks for.
	CauseVehicleState Cause = "vehicle-state"
	// CauseNotSecured: the vehicle can roll.
	CauseNotSecured Cause = "not-secured"
	// CauseUnsupported: work at an end that stands on a jack alone.
	CauseUnsupported Cause = "unsupported"
	// CauseEnd: the end is not raised, or not on the ground, as the act needs.
	CauseEnd Cause = "end"
	// CauseWheelLoose: an end is lowered on to a wheel that is not on or not run down.
	CauseWheelLoose Cause = "wheel-loose"
	// CauseHanging: a part is left to hang by its hose or lead.
	CauseHanging Cause = "hanging"
	// CauseHungUp: a part is fitted while it still hangs on its hook.
	CauseHungUp Cause = "hung-up"
	// CausePressure: a circuit is opened under pressure.
	CausePressure Cause = "pressure"
	// CauseCircuitOpen: a circuit is filled or bled while it is open.
	CauseCircuitOpen Cause = "circuit-open"
	// CauseLive: a connection is undone before the electrics are safe, or made live too early.
	CauseLive Cause = "live"
	// CauseAid: an aid is in the way or missing.
	CauseAid Cause = "aid"
	// CauseRoad: the road test comes before everything that matters on the road is closed.
	CauseRoad Cause = "road"
	// CauseSide: an act on a handed thing does not say which side.
	CauseSide Cause = "side"
	// CauseVerb: the verb does not act on that sort of target.
	CauseVerb Cause = "verb"
	// CauseAllFirst: a position starts a stage before all have passed the one before.
	CauseAllFirst Cause = "all-first"
	// CauseBrake: the brake is worked with something of it off or held.
	CauseBrake Cause = "brake"
	// CauseEngine: the engine is started with something in it or off it.
	CauseEngine Cause = "engine"
	// CauseNotProved: work on a system that is not locked off, waited for and proved dead.
	CauseNotProved Cause = "not-proved"
	// CauseTurn: something is turned that the gear or the parking brake holds.
	CauseTurn Cause = "turn"
	// CauseLevel: a level is read where it cannot be.
	CauseLevel Cause = "level"
	// CauseNoOpening: a circuit is drained with nothing of it open.
	CauseNoOpening Cause = "no-opening"
	// CauseHot: an act that wants it cold after the engine has run.
	CauseHot Cause = "hot"
	// CauseUncovered: the dry run does not cover something: combinations of options,
	// repeats. Such a problem has no act.
	CauseUncovered Cause = "uncovered"
	// CauseOpen: a ledger entry is open at the end.
	CauseOpen Cause = "open"
)

// Causes lists the causes in the order above.
var Causes = []Cause{
	CauseTwice, CauseNeverUndone, CauseHeld, CauseBlocked, CauseNotInPlace, CauseLocked, CauseNotFinal, CauseStage,
	CauseOldPiece, CauseVehicleState, CauseNotSecured, CauseUnsupported, CauseEnd, CauseWheelLoose, CauseHanging,
	CauseHungUp, CausePressure, CauseCircuitOpen, CauseLive, CauseAid, CauseRoad, CauseSide, CauseVerb, CauseAllFirst,
	CauseBrake, CauseEngine, CauseNotProved, CauseTurn, CauseLevel, CauseNoOpening, CauseHot, CauseUncovered, CauseOpen,
}

// Problem is a failed precondition or an entry left open.
type Problem struct {
	Cause Cause
	// Act is the act that failed; for an open entry the one that opened it; nil for CauseUncovered.
	Act     *Act
	Pointer string
	// Target is what it is about, Thing the same with its side and position.
	Target specdata.Target
	Thing  Thing
	// By is what holds or hides the target, where something does.
	By specdata.Target
	// Also lists further things that have the same problem at the same operation:
	// the other side of a repeat, other positions.
	Also []Thing
	// Title is the thing in shop words.
	Title string
	// Found is the state found, Need the state needed.
	Found, Need string
	// Changed is the act that last changed the thing, nil if none did.
	Changed *Act
	// Mend says what to write.
	Mend string
	// Entry is set for CauseOpen.
	Entry Entry
	// Variant names the variant where not all have the problem.
	Variant string
	// Fastener is set where the thing is one.
	Fastener *specdata.Fastener
	// Wheel says that the thing is a road wheel.
	Wheel bool
}

// HoldsSpring reports whether the aid that is missing holds a spring, which kills.
func (p Problem) HoldsSpring() bool {
	return p.Cause == CauseAid && specdata.HasWord(strings.ReplaceAll(string(p.By), "-", " "), "caging", "cage", "compressor", "clamp")
}

// Message says the problem in one sentence, with the mend.
func (p Problem) Message() string {
	var b strings.Builder
	if p.Variant != "" {
		fmt.Fprintf(&b, "for %s: ", p.Variant)
	}
	if p.Cause == CauseUncovered {
		fmt.Fprintf(&b, "not covered by the dry run: %s; %s", p.Found, p.Mend)
		return b.String()
	}
	if p.Cause == CauseOpen {
		fmt.Fprintf(&b, "%s is still %s at the end", p.Title, p.Entry.State)
		p.also(&b)
		fmt.Fprintf(&b, ": %s opened it", p.Act.Where())
		if last := p.Entry.Last; last != nil && last.Where() != p.Act.Where() {
			fmt.Fprintf(&b, ", %s worked on it last,", last.Where())
		}
		fmt.Fprintf(&b, " and nothing closes it; %s", p.Mend)
		return b.String()
	}
	fmt.Fprintf(&b, "%s: cannot %s %s, it is %s", p.Act.Where(), p.Act.Do, p.Title, p.Found)
	if p.By == "" && p.Changed != nil && p.Changed != p.Act { // else the state found is another thing's
		fmt.Fprintf(&b, " since %s", p.Changed.Where())
	}
	p.also(&b)
	if p.Need != "" {
		fmt.Fprintf(&b, "; needed: %s", p.Need)
	}
	if p.Mend != "" {
		fmt.Fprintf(&b, "; %s", p.Mend)
	}
	return b.String()
}

// also says on what sides or positions beside the first it is the same.
func (p *Problem) also(b *strings.Builder) {
	var places []string
	for _, t := range p.Also {
		places = append(places, t.Place())
	}
	if len(places) > 0 {
		fmt.Fprintf(b, " (the same: %s)", strings.Join(places, "; "))
	}
}
