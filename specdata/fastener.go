package specdata

import "slices"

// JointKind says what the fastener does there, which decides the physics that may judge it.
type JointKind string

// The joint kinds.
const (
	JointClamp    JointKind = "clamp"
	JointWheel    JointKind = "wheel"
	JointBearing  JointKind = "bearing"
	JointPlug     JointKind = "plug"
	JointUnion    JointKind = "union"
	JointBanjo    JointKind = "banjo"
	JointTaper    JointKind = "taper"
	JointJam      JointKind = "jam"
	JointSensor   JointKind = "sensor"
	JointPlastic  JointKind = "plastic"
	JointPinch    JointKind = "pinch"
	JointFriction JointKind = "friction"
	JointTension  JointKind = "tension"
	JointStud     JointKind = "stud"
	JointSpark    JointKind = "spark-plug"
	JointGlow     JointKind = "glow-plug"
)

// JointKinds lists them in document order.
var JointKinds = []JointKind{JointClamp, JointWheel, JointBearing, JointPlug, JointUnion, JointBanjo, JointTaper, JointJam, JointSensor, JointPlastic, JointPinch, JointFriction, JointTension, JointStud, JointSpark, JointGlow}

// Fastener is one fastening of a vehicle, or several alike at one place, with
// everything someone needs to undo and make it again.
type Fastener struct {
	Head
	AppliesTo []Applies `json:"applies_to"`
	// Place in shop words, lower case ("rear hub").
	Place string `json:"place"`
	// Count is how many are at the place, per side.
	Count      int         `json:"count"`
	Joint      JointKind   `json:"joint"`
	Thread     *Thread     `json:"thread,omitempty"`
	Stud       *Stud       `json:"stud,omitempty"`
	Strength   *Strength   `json:"strength,omitempty"`
	Drive      *Drive      `json:"drive"`
	Seat       *Seat       `json:"seat,omitempty"`
	Clamped    *Clamped    `json:"clamped,omitempty"`
	Surface    *Surface    `json:"surface,omitempty"`
	Tightening *Tightening `json:"tightening"`
	Reuse      *Reuse      `json:"reuse"`
	Lock       *Lock       `json:"lock,omitempty"`
	Fitting    *Fitting    `json:"fitting,omitempty"`
	Pairs      []Pair      `json:"pairs,omitempty"`
	FollowUps  []FollowUp  `json:"follow_ups,omitempty"`
	// Safety is why a wrong value can hurt someone: wheel, brake, steering,
	// suspension, restraint, seat, tow, fuel. Absent means no known way.
	Safety string    `json:"safety,omitempty"`
	Source *Citation `json:"source,omitempty"`
}

// Thread of the fastener and what it goes into.
type Thread struct {
	// Designation as its standard writes it, with the pitch: "M24x1.5", "7/16-20 UNF",
	// "G 1/4", "R 1/8", "1/4-18 NPT", "1-14 UNS", "3/8-20 BSF", "2 BA".
	Designation string `json:"designation"`
	// Hand is right or left.
	Hand string `json:"hand"`
	// Into is the material of the tapped hole or nut: steel, cast-iron, aluminium,
	// magnesium, brass, plastic, insert (a wire insert in light alloy), nut. Where a nut
	// is turned it is nut; what its stud is screwed into stands in Fastener.Stud.
	Into string `json:"into"`
	// Engagement is the length of thread engaged.
	Engagement Quantity `json:"engagement,omitzero"`
	// Grip is the clamped length, which the stretch of a torque-and-angle joint needs.
	Grip Quantity `json:"grip,omitzero"`
	// Length is the nominal length under the head.
	Length Quantity `json:"length,omitzero"`
	// Hole is the depth of full thread in a blind hole, from its mouth.
	Hole Quantity `json:"hole,omitzero"`
	// Bore is the bore through a hollow piece, Neck its least diameter outside the thread.
	Bore Quantity `json:"bore,omitzero"`
	Neck Quantity `json:"neck,omitzero"`
	// Captive says how a nut is kept from turning at its place: weld, cage, press, rivet or plate.
	Captive string `json:"captive,omitempty"`
	// Known is source (the document says so) or measured (someone put a gauge on it).
	Known string `json:"known,omitempty"`
}

// Stud says how the stud of a nut is held at its other end.
type Stud struct {
	// Held is screwed, pressed or welded.
	Held string `json:"held"`
	// Into is the material that it is screwed into, in the words of Thread.Into.
	Into string `json:"into,omitempty"`
	// Engagement is the length of thread engaged there.
	Engagement Quantity `json:"engagement,omitzero"`
}

// Seat is the face on which the part that turns sits.
type Seat struct {
	// Form is flat, flange, washer, cone or ball.
	Form string `json:"form"`
	// Angle is the whole angle of a cone.
	Angle Quantity `json:"angle,omitzero"`
	// Radius is the radius of a ball.
	Radius Quantity `json:"radius,omitzero"`
	// Mean is the mean diameter of contact of a cone or a ball.
	Mean Quantity `json:"mean,omitzero"`
	// Outer is the outer diameter of the face that presses on the part (of the washer,
	// where one lies between), Hole the hole under it.
	Outer Quantity `json:"outer,omitzero"`
	Hole  Quantity `json:"hole,omitzero"`
	// Against is the material it presses on: steel, cast-iron, aluminium, magnesium, brass, plastic.
	Against string `json:"against,omitempty"`
}

// Clamped is what lies between the seat and the thread.
type Clamped struct {
	// Of is its material, in the words of Seat.Against.
	Of string `json:"of,omitempty"`
	// Parts is how many parts lie on each other; absent means one.
	Parts int `json:"parts,omitempty"`
	// Painted says that paint lies in a joint face.
	Painted bool `json:"painted,omitempty"`
	// Width is the outer diameter of a sleeve or boss around the bolt.
	Width Quantity `json:"width,omitzero"`
	// Rise is how much warmer the joint runs than it is tightened.
	Rise Quantity `json:"rise,omitzero"`
}

// Strength classes as marked: ISO 898-1 ("8.8"), ISO 3506 ("A2-70"), SAE J429
// ("grade 5") for the bolt; ISO 898-2 ("8", "10") for the nut.
type Strength struct {
	Bolt   string `json:"bolt,omitempty"`
	Nut    string `json:"nut,omitempty"`
	Finish string `json:"finish,omitempty"`
}

// Drive says what the tool turns and what it must fit.
type Drive struct {
	// Turn is head or nut.
	Turn string `json:"turn"`
	// Head and Nut give form and size: "hex 18 mm", "hex 9/16 in", "hexalobular T30",
	// "external-hexalobular E12", "hex-key 5 mm", "12-point 14 mm", "slot", "cross", "knurled", "flats 17 mm",
	// "multi-spline M10", "square 3/8 in", "slotted-ring 58 mm" (its outer diameter),
	// "two-pin 40 mm" (the distance of the pins).
	Head string `json:"head,omitempty"`
	Nut  string `json:"nut,omitempty"`
	// Flange says that a flange or washer face is formed on the part that turns.
	Flange bool `json:"flange,omitempty"`
	// Special says that the size is not the standard one of the thread, on purpose.
	Special bool `json:"special,omitempty"`
	// Depth says what a socket has to reach over ("deep").
	Depth string `json:"depth,omitempty"`
}

// SurfaceConditions are the conditions of thread and seat that a record may state.
var SurfaceConditions = []string{"dry", "oiled", "greased", "threadlock", "precoated", "as-received", "compound", "zinc-flake", "zinc-flake-dry"}

// Surface is the condition of thread and seat that the value assumes.
type Surface struct {
	// Condition is one of SurfaceConditions: dry, oiled, greased, threadlock, precoated, as-received, compound,
	// zinc-flake (with the lubricant of its coat) or zinc-flake-dry (without).
	Condition string `json:"condition"`
	// Product names what is applied.
	Product string `json:"product,omitempty"`
	// Friction is the record's own friction band, "0.10..0.14"; it wins over the condition's.
	Friction string `json:"friction,omitempty"`
	// On is thread, seat or both; absent means both.
	On string `json:"on,omitempty"`
	// Cleaning says how the surfaces are brought to the condition.
	Cleaning string `json:"cleaning,omitempty"`
}

// Tightening is how the fastener is brought to its final state.
type Tightening struct {
	Stages []Stage `json:"stages"`
	// Tolerance is about each torque, as printed: "10 %" or "5 N.m".
	Tolerance Quantity `json:"tolerance,omitzero"`
	// AngleTolerance is about each angle.
	AngleTolerance Quantity `json:"angle_tolerance,omitzero"`
	// State is the vehicle state of the final tightening.
	State VehicleState `json:"state"`
	// And lists further states that hold at the same time ("cold" on the ground).
	And []VehicleState `json:"and,omitempty"`
	// Drag says how the prevailing torque counts: included, add or not-applicable.
	Drag string `json:"drag"`
	// DragTorque is the nominal prevailing torque.
	DragTorque Quantity `json:"drag_torque,omitzero"`
	// Impact says where an impact tool may be used: never, removal-only or allowed.
	Impact string `json:"impact"`
	Hold   *Hold  `json:"hold,omitempty"`
	// Pattern orders several fasteners of one record.
	Pattern *Pattern `json:"pattern,omitempty"`
}

// Needs reports whether a state is among those of the final tightening.
func (t *Tightening) Needs(s VehicleState) bool { return t.State == s || slices.Contains(t.And, s) }

// VehicleState is the state a vehicle is brought to for a tightening.
type VehicleState string

// The states.
const (
	StateAny        VehicleState = "any"
	StateOnGround   VehicleState = "on-ground"
	StateRideHeight VehicleState = "ride-height"
	StateDroop      VehicleState = "droop"
	StateCold       VehicleState = "cold"
	StateLoaded     VehicleState = "loaded"
)

// Stage is one act of a tightening: exactly one of torque, angle, rolling, slacken, wait and seat.
type Stage struct {
	Torque Quantity `json:"torque,omitzero"`
	// UpTo is the upper end where the source prints a range.
	UpTo Quantity `json:"up_to,omitzero"`
	// Also is the pair the source prints beside the torque; it is judged, never trusted.
	Also  Quantity `json:"also,omitzero"`
	Angle Quantity `json:"angle,omitzero"`
	// Rolling is the torque at which the bearing turns once the nut is tight enough,
	// RollingTo its upper end: the nut is tightened until it is reached.
	Rolling   Quantity `json:"rolling,omitzero"`
	RollingTo Quantity `json:"rolling_to,omitzero"`
	Slacken   bool     `json:"slacken,omitempty"`
	Wait      Quantity `json:"wait,omitzero"`
	// Seat is hand (run down by hand) or stop (until the stop is reached).
	Seat string `json:"seat,omitempty"`
	// AllFirst says that every fastener passes this stage before any starts the next.
	AllFirst bool `json:"all_first,omitempty"`
}

// Hold names what must not turn and what holds it.
type Hold struct {
	// Turns is the thing that would turn.
	Turns string `json:"turns"`
	// With is the tool or act that holds it.
	With string `json:"with"`
}

// Pattern is the order in which several fasteners are tightened.
type Pattern struct {
	// Order is cross, star, spiral, sequence, centre-out, circle or one.
	Order string `json:"order"`
	// Sequence gives the numbered positions in order, where Order is sequence.
	Sequence []int `json:"sequence,omitempty"`
	Passes   int   `json:"passes,omitempty"`
	// Loosen says how the fasteners are undone: reverse, any.
	Loosen string `json:"loosen,omitempty"`
}

// Reuse says whether the fastener may go back.
type Reuse struct {
	// Rule is replace, replace-if-loosened, reuse or measure.
	Rule string `json:"rule"`
	// Renew lists which pieces are replaced: bolt, nut, washer, pin, seal; absent means the fastener.
	Renew []string `json:"renew,omitempty"`
	// Times is how often it may be used in all, where Rule is reuse.
	Times int `json:"times,omitempty"`
	// Measure names what is measured where Rule is measure, and Limit the value at which it is scrap.
	Measure string   `json:"measure,omitempty"`
	Limit   Quantity `json:"limit,omitzero"`
}

// Lock is what keeps the fastener from turning by itself.
type Lock struct {
	// By is insert, deformed-thread, patch (of plastic on a bolt), micro-encapsulated
	// (compound in capsules on a bolt), pin, stake, tab, wire, compound or washer.
	By string `json:"by"`
	// Align says how a slotted nut is brought to its hole: advance, back-off, replace-washer, next-slot-within.
	Align string `json:"align,omitempty"`
	// Max is the most the nut may be moved to align.
	Max Quantity `json:"max,omitzero"`
}

// Fitting is how the pieces go together.
type Fitting struct {
	Direction string `json:"direction,omitempty"`
	Washers   string `json:"washers,omitempty"`
	Spacer    string `json:"spacer,omitempty"`
}

// Pair ties two records that must be kept together.
type Pair struct {
	// Fastener is a fastener's id.
	Fastener string `json:"fastener"`
	// As is left-right, bolt-nut, first-stage or same-joint.
	As string `json:"as"`
}

// FollowUp is what the fastener owes after it is made.
type FollowUp struct {
	// Check is turns-freely, alignment, recheck-torque, warning-lamp, relearn, leak, level or end-float.
	Check string `json:"check"`
	// After is the distance or time after which it is due.
	After Quantity `json:"after,omitzero"`
}

// Recheck returns the distance or time after which the torque is due for a recheck,
// nothing where the record names none.
func (f *Fastener) Recheck() Quantity {
	for _, u := range f.FollowUps {
		if u.Check == "recheck-torque" {
			return u.After
		}
	}
	return Quantity{}
}
