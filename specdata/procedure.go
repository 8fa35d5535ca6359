package specdata

import "strings"

// Procedure is a job as operations on assemblies: what a reader ticks, and what
// the dry run executes.
type Procedure struct {
	Head
	AppliesTo []Applies `json:"applies_to"`
	// Assemblies lists the ids of the assemblies it works on.
	Assemblies []string `json:"assemblies"`
	// Sides is one (the reader picks a side), both or none.
	Sides       string       `json:"sides"`
	Tools       []Tool       `json:"tools,omitempty"`
	Parts       []NewPart    `json:"parts,omitempty"`
	Consumables []Consumable `json:"consumables,omitempty"`
	// Protection is what people wear: eyes, face, gloves, high-voltage-gloves, mask,
	// hearing, shoes.
	Protection []string  `json:"protection,omitempty"`
	Cautions   []Caution `json:"cautions,omitempty"`
	Steps      []Step    `json:"steps"`
	// Proved says on what vehicle and day the whole was walked through; absent means it was not.
	Proved string    `json:"proved,omitempty"`
	Source *Citation `json:"source,omitempty"`
}

// Tool is one line of the set-up block.
type Tool struct {
	ID    string `json:"id"`
	Title string `json:"title"`
	// Kind is torque-wrench, socket, spanner, bit, hex-key, angle-gauge, puller, press,
	// jack, stand, lift, chock, holder, gauge, voltage-tester, scan-tool, adapter,
	// multiplier, impact or hand.
	Kind string `json:"kind"`
	// From and To are a torque tool's range.
	From Quantity `json:"from,omitzero"`
	To   Quantity `json:"to,omitzero"`
	// Size is what it fits, in the words of Drive.Head ("hex 18 mm").
	Size string `json:"size,omitempty"`
	// Square is the drive square: "1/4 in", "3/8 in", "1/2 in", "3/4 in", "1 in".
	Square   Quantity `json:"square,omitzero"`
	Quantity int      `json:"quantity,omitempty"`
	// Rating is the mass that a jack, a stand or a lift carries.
	Rating Quantity `json:"rating,omitzero"`
	// Resolution is the smallest step that a gauge shows.
	Resolution Quantity `json:"resolution,omitzero"`
	// Lever is, of a torque wrench, the length from the middle of its grip to its square.
	Lever Quantity `json:"lever,omitzero"`
	// Reach is, of an adapter, the length from the square to the middle of the fastener,
	// Angle how it stands to the wrench; absent means in line.
	Reach Quantity `json:"reach,omitzero"`
	Angle Quantity `json:"angle,omitzero"`
	// Gain is, of a multiplier, the torque it gives for 100 % put in, as its plate states it ("1850 %").
	Gain Quantity `json:"gain,omitzero"`
}

// NewPart is one line of the order list.
type NewPart struct {
	// Fastener is a fastener's id, or Part a part's id of one of the assemblies; exactly one.
	Fastener string `json:"fastener,omitempty"`
	Part     string `json:"part,omitempty"`
	Title    string `json:"title"`
	// Quantity is for the whole job as written.
	Quantity int `json:"quantity"`
}

// Consumable is used up by the job.
type Consumable struct {
	ID     string   `json:"id"`
	Title  string   `json:"title"`
	Amount Quantity `json:"amount,omitzero"`
	// Fluid is the fluid it is, in the words of Circuit.Fluid, Specification its grade.
	Fluid         string `json:"fluid,omitempty"`
	Specification string `json:"specification,omitempty"`
}

// Caution warns before a hazard. The signal words and their order are those of ANSI Z535.4.
type Caution struct {
	// Signal is danger, warning, caution or notice.
	Signal string `json:"signal"`
	Text   string `json:"text"`
	// Hazard names the hazard the rules look for: crushing, wheel-loss, brake-dust,
	// hot-fluid, hot-surface, exhaust-gas, moving-parts, pressure, electric-shock, airbag,
	// fire, spring, chemical, cut, damage.
	Hazard string `json:"hazard,omitempty"`
}

// Step is one thing a reader ticks.
type Step struct {
	ID string `json:"id"`
	// Text is a plain sentence that starts with an action verb. Values stand in it
	// only as placeholders: {torque:FASTENER}, {stage:FASTENER/N}, {recheck:FASTENER},
	// {tool:TOOL}, {amount:CONSUMABLE}, {wait}, {limit}.
	// A step without one gets a sentence that is composed from its operations.
	Text string `json:"text,omitempty"`
	// Cautions stand before the text.
	Cautions []Caution `json:"cautions,omitempty"`
	// Side is the side worked on; absent means the side the reader picked, or none.
	Side Side `json:"side,omitempty"`
	// Where restricts the step to option values.
	Where map[string][]string `json:"where,omitempty"`
	// Repeat runs a range of earlier steps again for the other side.
	Repeat     *Repeat     `json:"repeat,omitempty"`
	Operations []Operation `json:"operations,omitempty"`
}

// Repeat names a range of earlier steps, both ends included, and the side they are done on.
type Repeat struct {
	From string `json:"from"`
	To   string `json:"to"`
	Side Side   `json:"side"`
}

// Operation is one act in the vocabulary of the dry run.
type Operation struct {
	Do Verb `json:"do"`
	// Target is "<type>:<id>": fastener, part, joint, connection, clip, circuit, aid,
	// end (front or rear), suspension (front or rear), vehicle, electrics, place, job.
	Target Target `json:"target"`
	Side   Side   `json:"side,omitempty"`
	// Tool is the id of a tool of the set-up block.
	Tool string `json:"tool,omitempty"`
	// Through is the id of the adapter or multiplier between the tool and the fastener.
	Through string `json:"through,omitempty"`
	// New says that a new piece is used.
	New bool `json:"new,omitempty"`
	// Stage is the stage of the record, from 1, that a stage or turn operation performs.
	Stage int `json:"stage,omitempty"`
	// Positions restricts the act to numbered positions.
	Positions []int `json:"positions,omitempty"`
	// By is how far, for a slacken or a loosening ("180 deg").
	By Quantity `json:"by,omitzero"`
	// With names the consumable, aid or holding tool.
	With string `json:"with,omitempty"`
	// Accept is the acceptance criterion of an inspection, check or measurement, in words.
	Accept string `json:"accept,omitempty"`
	// Low and High bound a measured value.
	Low  Quantity `json:"low,omitzero"`
	High Quantity `json:"high,omitzero"`
	// Until says when a deferred act is due ("ride-height").
	Until VehicleState `json:"until,omitempty"`
	// Chocks lists the ends whose wheels are chocked, ParkingBrake is on or off, and Gear
	// is neutral or in, of a secure; absent means as it was.
	Chocks       []string `json:"chocks,omitempty"`
	ParkingBrake string   `json:"parking_brake,omitempty"`
	Gear         string   `json:"gear,omitempty"`
	// For is how long a wait lasts.
	For Quantity `json:"for,omitzero"`
	// Limit is the id of a limit of one of the assemblies that a measurement is held against.
	Limit string `json:"limit,omitempty"`
	Note  string `json:"note,omitempty"`
}

// Target names what an operation acts on.
type Target string

// Split returns the type and the id.
func (t Target) Split() (typ, id string) {
	typ, id, _ = strings.Cut(string(t), ":")
	return typ, id
}

// Verb is what an operation does.
type Verb string

// The vocabulary. Package dryrun says what each needs, does, opens and closes.
const (
	Secure           Verb = "secure"
	Raise            Verb = "raise"
	Support          Verb = "support"
	Lower            Verb = "lower"
	LoadSuspension   Verb = "load-suspension"
	UnloadSuspension Verb = "unload-suspension"
	Slacken          Verb = "slacken"
	Remove           Verb = "remove"
	Unlock           Verb = "unlock"
	LockVerb         Verb = "lock"
	Fit              Verb = "fit"
	Start            Verb = "start"
	Snug             Verb = "snug"
	Tighten          Verb = "tighten"
	StageVerb        Verb = "stage"
	Turn             Verb = "turn"
	Defer            Verb = "defer"
	Resolve          Verb = "resolve"
	Separate         Verb = "separate"
	Join             Verb = "join"
	Disconnect       Verb = "disconnect"
	Connect          Verb = "connect"
	Unclip           Verb = "unclip"
	ClipVerb         Verb = "clip"
	Hang             Verb = "hang"
	Unhang           Verb = "unhang"
	SetAid           Verb = "set-aid"
	ClearAid         Verb = "clear-aid"
	Drain            Verb = "drain"
	Depressurise     Verb = "depressurise"
	Fill             Verb = "fill"
	Bleed            Verb = "bleed"
	Cap              Verb = "cap"
	Uncap            Verb = "uncap"
	Isolate          Verb = "isolate"
	Restore          Verb = "restore"
	Retract          Verb = "retract"
	Pump             Verb = "pump"
	Mark             Verb = "mark"
	Measure          Verb = "measure"
	Inspect          Verb = "inspect"
	Check            Verb = "check"
	Clean            Verb = "clean"
	Apply            Verb = "apply"
	Align            Verb = "align"
	Relearn          Verb = "relearn"
	RoadTest         Verb = "road-test"
	Advise           Verb = "advise"
	RecordJob        Verb = "record"
	Discard          Verb = "discard"
	Wait             Verb = "wait"
	BackOff          Verb = "back-off"
	PressOut         Verb = "press-out"
	PressIn          Verb = "press-in"
	Reset            Verb = "reset"
	Count            Verb = "count"
	StopIf           Verb = "stop-if"
	Release          Verb = "release"
	RunEngine        Verb = "run-engine"
	Rotate           Verb = "rotate"
	LockOff          Verb = "lock-off"
	ProveDead        Verb = "prove-dead"
	Calibrate        Verb = "calibrate"
)

// Verbs lists the vocabulary in the order above.
var Verbs = []Verb{
	Secure, Raise, Support, Lower, LoadSuspension, UnloadSuspension,
	Slacken, Remove, Unlock, LockVerb, Fit, Start, Snug, Tighten, StageVerb, Turn, Defer, Resolve,
	Separate, Join, Disconnect, Connect, Unclip, ClipVerb, Hang, Unhang, SetAid, ClearAid,
	Drain, Depressurise, Fill, Bleed, Cap, Uncap, Isolate, Restore, Retract, Pump,
	Mark, Measure, Inspect, Check, Clean, Apply, Align, Relearn, RoadTest, Advise, RecordJob, Discard, Wait,
	BackOff, PressOut, PressIn, Reset, Count, StopIf, Release, RunEngine, Rotate, LockOff, ProveDead, Calibrate,
}
