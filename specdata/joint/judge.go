package joint

import "proofload/specdata"

// Input is a joint to judge, in SI. The zero value of a field means that nobody
// stated it: a friction band or a bearing is then assumed and marked so, anything
// else ends up in Verdict.NotChecked.
type Input struct {
	// Kind decides which limits apply; empty counts as a plain clamp joint.
	Kind   specdata.JointKind
	Thread Thread
	Bolt   Grade
	Nut    NutClass
	// Bearing is the ring under the part that turns.
	Bearing Bearing
	// ThreadBand and HeadBand are the friction in the thread and under the head.
	ThreadBand, HeadBand Band

	// Torque is the highest torque of any stage in N·m, Final the last one (the
	// low end where a range is printed); Final 0 means the same as Torque.
	Torque, Final float64
	// Tolerance is about the torque, as a fraction.
	Tolerance float64
	// DragLow and DragHigh are the prevailing torque in N·m contained in the reading.
	DragLow, DragHigh float64

	// Snug is the torque in N·m before the first angle stage, Angle the sum of the
	// angles in rad; Angle 0 means tightening by torque alone.
	Snug, Angle float64
	// Grip is the clamped length in m.
	Grip float64

	// Into is what the thread is tapped into, for a hole; Tapped says that it is a
	// hole and no nut; Plastic says that the thread is in plastic.
	Into    Material
	Tapped  bool
	Plastic bool
	// Engagement is the length of thread engaged, in m.
	Engagement float64
}

// Check names one thing a judgement covers.
type Check string

// The checks.
const (
	CheckYield  Check = "torque against yield"
	CheckClamp  Check = "torque against clamp"
	CheckAngle  Check = "torque and angle"
	CheckStrip  Check = "tapped thread"
	CheckNut    Check = "nut against bolt"
	CheckDrag   Check = "prevailing torque"
	CheckHollow Check = "hollow section"
)

// NotChecked says what a judgement could not cover, which field would be needed,
// and why.
type NotChecked struct {
	Check   Check
	Missing string // the field as records name it, "" where no field would help
	Why     string
}

// NutResult is how a nut stands against its bolt.
type NutResult struct {
	// Checked says that both classes are known and paired by ISO 898-2.
	Checked bool
	// Pairs says that the nut carries the bolt; Least is the lowest class that does.
	Pairs bool
	Least NutClass
	// ProofLoad is the nut's proof load in N.
	ProofLoad float64
}

// Verdict is a judged joint with its arithmetic. Everything is a value; text is
// made on demand by Lines and Text.
type Verdict struct {
	// Input is what was judged, with what was assumed filled in.
	Input Input
	// Class is where the torque lies in the window.
	Class Class
	// Against is the bolt class the bounds are for. It is the strongest that exists
	// where the bolt's own is not known; only OverYield and Breaks are judged then.
	Against Grade
	// Window is where the torque may lie.
	Window Window
	// ClampLow and ClampHigh are the clamp load in N from the highest torque at
	// the highest and lowest friction, not limited by yield; they are 0 without a torque.
	ClampLow, ClampHigh float64
	// Hardest and Mildest are the frictions of the bands that load the bolt most and
	// least: lowest and highest but for very rough pairs; see Ends.
	Hardest, Mildest Mu
	// YieldLow and YieldHigh are the combined stress over the yield at the mildest
	// and hardest friction, ProofLow and ProofHigh the clamp load over the proof load.
	YieldLow, YieldHigh float64
	ProofLow, ProofHigh float64
	// NutFactor is K in T = K·d·F at the usual friction.
	NutFactor float64
	Turn      Turn
	Stripping Stripping
	Nut       NutResult
	// NotChecked lists what could not be judged, in the order of the checks.
	NotChecked []NotChecked
}

func (v *Verdict) skip(c Check, missing, why string) {
	v.NotChecked = append(v.NotChecked, NotChecked{c, missing, why})
}

// Judge works out the verdict. It reads no clock, no file and no table outside
// this package, and makes no text.
//
// What a class means depends on the joint: under-clamp is judged on clamp and
// wheel joints alone, since plugs, unions, tapers, bearing adjusters, jam nuts
// and sensors are tight for other reasons; over-yield is judged on every metal
// thread. With an angle stage the torque is only the start, so it is judged for
// yield but not for clamp, and the angle has its own answer in Turn, where
// passing yield is a design and no fault.
func Judge(in Input) Verdict {
	if in.Kind == "" {
		in.Kind = specdata.JointClamp
	}
	if in.Final == 0 {
		in.Final = in.Torque
	}
	v := Verdict{Input: in}
	p := &v.Input
	switch {
	case p.Thread.IsZero():
		v.skip(CheckYield, "thread.designation", "without a thread there is no area to load")
		return v
	case p.Kind == specdata.JointPlastic || p.Plastic:
		v.skip(CheckYield, "", "a thread in plastic is not judged: its strength is in no standard")
		return v
	}
	v.assume()
	p = &v.Input
	v.NutFactor = NutFactor(p.Thread, p.Bearing, Mu{p.ThreadBand.Typical, p.HeadBand.Typical})
	v.judgeTorque()
	v.judgeAngle()
	v.judgeThread()
	return v
}

// assume fills in the friction and the bearing where they are not stated.
func (v *Verdict) assume() {
	p := &v.Input
	if p.ThreadBand.IsZero() {
		p.ThreadBand = widest(p.Bolt.Family)
	}
	if p.HeadBand.IsZero() {
		p.HeadBand = p.ThreadBand
	}
	if p.Bearing.IsZero() {
		p.Bearing = StandardBearing(p.Thread)
	}
}

// judgeTorque sets the class, the window and the loads from torque.
func (v *Verdict) judgeTorque() {
	p := &v.Input
	v.Against = p.Bolt
	if p.Bolt.IsZero() {
		v.Against = strongest(p.Thread)
	}
	clamps := !p.Bolt.IsZero() && p.Angle == 0 && !p.Nut.Thin && (p.Kind == specdata.JointClamp || p.Kind == specdata.JointWheel)
	v.Hardest, v.Mildest = Ends(p.Thread, p.Bearing, p.ThreadBand, p.HeadBand)
	low, high := Mu{p.ThreadBand.Low, p.HeadBand.Low}, Mu{p.ThreadBand.High, p.HeadBand.High}
	v.Window = window(p.Thread, p.Bearing, low, Mu{p.ThreadBand.Typical, p.HeadBand.Typical}, v.Hardest, v.Mildest, v.Against, p.DragLow, p.DragHigh, clamps)
	yieldsHard, yieldsMild := (v.Window.High.Torque-p.DragLow)/TableUtilisation, v.Window.OverYield.Torque-p.DragHigh
	if p.Bolt.IsZero() {
		// The window of a class that the bolt may not have is no window, but past
		// its last bounds nothing can be right.
		v.Window.High, v.Window.MayYield = Bound{}, Bound{}
	}
	if p.Torque <= 0 {
		v.skip(CheckYield, "tightening.stages", "no stage gives a torque")
		return
	}
	v.ClampHigh = Clamp(p.Thread, p.Bearing, low, max(p.Torque-p.DragLow, 0))
	v.ClampLow = Clamp(p.Thread, p.Bearing, high, max(p.Torque-p.DragHigh, 0))
	v.YieldHigh = max(p.Torque-p.DragLow, 0) / yieldsHard
	v.YieldLow = max(p.Torque-p.DragHigh, 0) / yieldsMild
	proof := v.Against.ProofOrYield() * p.Thread.StressArea()
	v.ProofLow, v.ProofHigh = v.ClampLow/proof, v.ClampHigh/proof
	v.Class = v.Window.classify(p.Torque, p.Final)
	if p.Bolt.IsZero() {
		if !v.Class.Impossible() {
			v.Class = NotJudged
		}
		v.skip(CheckYield, "strength.bolt", "the bolt's class is not stated; only a torque that not even the strongest class carries is found")
		if p.Angle == 0 && (p.Kind == specdata.JointClamp || p.Kind == specdata.JointWheel) {
			v.skip(CheckClamp, "strength.bolt", "the bolt's class is not stated, so there is no proof load to compare with")
		}
	}
	switch p.Kind {
	case specdata.JointBanjo, specdata.JointUnion, specdata.JointSensor:
		v.skip(CheckHollow, "", "the bore is not recorded; the torque is judged on a solid section, which carries more")
	}
}

// judgeAngle sets Turn.
func (v *Verdict) judgeAngle() {
	p := &v.Input
	switch {
	case p.Angle <= 0:
		return
	case p.Snug <= 0:
		v.skip(CheckAngle, "tightening.stages", "no torque comes before the angle, so the angle has no start")
		return
	case p.Bolt.IsZero():
		v.skip(CheckAngle, "strength.bolt", "the bolt's class is not stated, so its yield is not known")
		return
	case p.Grip <= 0:
		v.skip(CheckAngle, "thread.grip", "the clamped length is not stated, so the stretch is not known")
		return
	}
	low, high := Mu{p.ThreadBand.Low, p.HeadBand.Low}, Mu{p.ThreadBand.High, p.HeadBand.High}
	snugHigh := Clamp(p.Thread, p.Bearing, low, max(p.Snug-p.DragLow, 0))
	snugLow := Clamp(p.Thread, p.Bearing, high, max(p.Snug-p.DragHigh, 0))
	v.Turn = TurnOn(p.Thread, p.Bearing, p.Bolt, p.ThreadBand, snugLow, snugHigh, p.Angle, p.Grip, p.Tapped)
}

// judgeThread sets Stripping and Nut: what the bolt's thread is screwed into.
func (v *Verdict) judgeThread() {
	p := &v.Input
	if !p.Tapped {
		carries, ok := p.Nut.Carries(p.Bolt)
		switch {
		case ok:
			least, _ := NutFor(p.Bolt)
			v.Nut = NutResult{Checked: true, Pairs: carries, Least: least, ProofLoad: p.Nut.ProofLoad(p.Thread)}
		case p.Nut.IsZero():
			v.skip(CheckNut, "strength.nut", "the nut's class is not stated")
		case p.Bolt.IsZero():
			v.skip(CheckNut, "strength.bolt", "the bolt's class is not stated")
		default:
			v.skip(CheckNut, "", "no standard here pairs a nut class with this bolt class")
		}
		return
	}
	switch {
	case p.Into.IsZero():
		v.skip(CheckStrip, "thread.into", "the tapped material is not stated")
	case p.Bolt.IsZero():
		v.skip(CheckStrip, "strength.bolt", "the bolt's class is not stated")
	case p.Engagement <= 0:
		v.skip(CheckStrip, "thread.engagement", "the length of engaged thread is not stated")
	default:
		low, high := v.ClampLow, v.ClampHigh
		if v.Turn.Checked {
			low, high = max(low, v.Turn.ClampLow), max(high, v.Turn.ClampHigh)
		}
		v.Stripping = Strip(p.Thread, p.Bolt, p.Into, p.Engagement, low, high)
	}
}
