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
	// Bearing is the ring under the part that turns. Wide is the one that takes most of
	// the torque where it is not known which of two it is; zero means the same.
	Bearing, Wide Bearing
	// SeatForm is the form of the seat as records name it, SeatUnknown says that a wheel
	// may sit on a cone, a ball or a plane.
	SeatForm    string
	SeatUnknown bool
	// On is what the seat presses on with the ring Pressed, Stack what is clamped.
	On      Clamped
	Pressed Bearing
	Stack   Stack
	// ThreadBand and HeadBand are the friction in the thread and under the head.
	ThreadBand, HeadBand Band

	// Torque is the highest torque of any stage in N·m, Final the last one (the
	// low end where a range is printed); Final 0 means the same as Torque.
	Torque, Final float64
	// Tolerance is about the torque, as a fraction.
	Tolerance float64
	// DragLow and DragHigh are the prevailing torque in N·m contained in the reading.
	DragLow, DragHigh float64
	// AddLow and AddHigh are the prevailing torque in N·m that is added to the value at the wrench.
	AddLow, AddHigh float64
	// Rolling says that the nut is tightened to a rolling torque of its bearing.
	Rolling bool

	// Snug is the torque in N·m before the first angle stage, Angle the sum of the
	// angles in rad; Angle 0 means tightening by torque alone.
	Snug, Angle float64
	// Grip is the clamped length in m.
	Grip float64
	// Length is the nominal length under the head, Hole the depth of full thread of a
	// blind hole, in m.
	Length, Hole float64

	// Into is what the thread is tapped into, for a hole; Tapped says that it is a
	// hole and no nut; Plastic says that the thread is in plastic.
	Into    Material
	Tapped  bool
	Plastic bool
	// Engagement is the length of thread engaged, in m.
	Engagement float64
	// StudInto is what the stud of a nut is screwed into, StudEngagement how far, in m.
	StudInto       Material
	StudEngagement float64
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
	CheckSeat   Check = "seat"
	CheckPress  Check = "pressure under the head"
	CheckSettle Check = "settling"
	CheckLength Check = "length and hole"
	CheckPlug   Check = "usual torque of a plug"
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
	// ReachLow and ReachHigh are the clamp load in N over the friction and the scatter of
	// the tightening: the tolerance of the record, or that of a torque wrench; Scatter is it.
	ReachLow, ReachHigh, Scatter float64
	// YieldLow and YieldHigh are the combined stress over the yield at the mildest
	// and hardest friction, ProofLow and ProofHigh the clamp load over the proof load.
	YieldLow, YieldHigh float64
	ProofLow, ProofHigh float64
	// NutFactor is K in T = K·d·F at the usual friction.
	NutFactor float64
	Turn      Turn
	Stripping Stripping
	Nut       NutResult
	// StudEnd is how the stud of a nut holds at its other end.
	StudEnd Stripping
	// Pressure is what the seat presses with, Embedding what settling costs, WarmLow and
	// WarmHigh what warming adds to the clamp load in N.
	Pressure          Pressure
	Embedding         Embedding
	WarmLow, WarmHigh float64
	// Bottom is how far in m the bolt stops short of the end of the full thread; negative
	// means that it bottoms. BottomChecked says that it could be worked out.
	Bottom        float64
	BottomChecked bool
	// Plug is what a spark plug or glow plug usually gets, zero where no table has it.
	Plug PlugRange
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
	case p.Thread.Tapered():
		v.skip(CheckYield, "", "a tapered pipe thread is tight by wedging: no torque of it is a clamp load, and too much splits the part it is screwed into")
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
	v.judgeSeat()
	v.judgeLength()
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
	if p.Wide.IsZero() {
		p.Wide = p.Bearing
	}
	if p.Stack.Parts == 0 {
		p.Stack.Parts = 1
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
	if v.Against.IsZero() {
		v.skip(CheckYield, "strength.bolt", "the bolt's class is not stated and no class is defined for the diameter")
		return
	}
	v.Hardest, _ = Ends(p.Thread, p.Bearing, p.ThreadBand, p.HeadBand)
	_, v.Mildest = Ends(p.Thread, p.Wide, p.ThreadBand, p.HeadBand)
	low, high := Mu{p.ThreadBand.Low, p.HeadBand.Low}, Mu{p.ThreadBand.High, p.HeadBand.High}
	v.Window = window(p.Thread, p.Bearing, p.Wide, low, Mu{p.ThreadBand.Typical, p.HeadBand.Typical}, v.Hardest, v.Mildest, v.Against, p.DragLow, p.DragHigh, clamps)
	yieldsHard, yieldsMild := (v.Window.High.Torque-p.DragLow)/TableUtilisation, v.Window.OverYield.Torque-p.DragHigh
	if p.Bolt.IsZero() {
		// The window of a class that the bolt may not have is no window, but past
		// its last bounds nothing can be right.
		v.Window.High, v.Window.MayYield = Bound{}, Bound{}
	}
	if p.Torque <= 0 {
		if p.Rolling {
			v.skip(CheckYield, "", "the nut is tightened to the rolling torque of its bearing, which says nothing about the clamp load")
			return
		}
		v.skip(CheckYield, "tightening.stages", "no stage gives a torque")
		return
	}
	v.ClampHigh = Clamp(p.Thread, p.Bearing, low, max(p.Torque-p.DragLow, 0))
	v.ClampLow = Clamp(p.Thread, p.Wide, high, max(p.Torque-p.DragHigh, 0))
	if v.Scatter = p.Tolerance; v.Scatter == 0 {
		v.Scatter = Wrench{Max: p.Torque}.Tolerance()
	}
	v.ReachHigh = Clamp(p.Thread, p.Bearing, low, max((1+v.Scatter)*p.Torque-p.DragLow, 0))
	v.ReachLow = Clamp(p.Thread, p.Wide, high, max((1-v.Scatter)*p.Torque-p.DragHigh, 0))
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
	if v.hollow() {
		if v.Class < MayYield {
			v.Class = NotJudged
		}
		v.skip(CheckHollow, "thread.bore", "the bore is not recorded; only a torque that not even a solid section carries is found")
	}
}

// hollow reports whether the piece has a bore that nobody stated.
func (v *Verdict) hollow() bool {
	switch p := &v.Input; p.Kind {
	case specdata.JointBanjo, specdata.JointUnion, specdata.JointSensor, specdata.JointSpark, specdata.JointGlow:
		return p.Thread.Bore == 0
	}
	return false
}

// judgeSeat sets Pressure, Embedding, the warming and Plug, once the clamp load is known.
func (v *Verdict) judgeSeat() {
	p := &v.Input
	if p.SeatUnknown {
		v.skip(CheckSeat, "seat", "the form of the seat is not stated; a cone or a ball takes more of the torque than a plane, so the clamp load may be down to the low end, and bounds are judged at the kinder of the two")
	}
	if r, ok := PlugTorque(p.Kind, p.Thread, p.SeatForm, p.Into.Name); ok {
		v.Plug = r
	} else if p.Kind == specdata.JointSpark || p.Kind == specdata.JointGlow {
		v.skip(CheckPlug, "", "no table at hand has what a plug of "+p.Thread.String()+" usually gets")
	}
	low, high := v.ClampLow, v.ClampHigh
	usual := Clamp(p.Thread, p.Bearing, Mu{p.ThreadBand.Typical, p.HeadBand.Typical}, max(p.Torque-(p.DragLow+p.DragHigh)/2, 0))
	if v.Turn.Checked {
		low, high = v.Turn.ClampLow, v.Turn.ClampHigh
		usual = (low + high) / 2
	}
	if high <= 0 || p.Angle > 0 && !v.Turn.Checked {
		return
	}
	switch {
	case p.On.IsZero():
		v.skip(CheckPress, "seat.against", "what the head or nut presses on is not stated")
	case p.On.PressureLow == 0:
		v.skip(CheckPress, "", "what "+p.On.Name+" bears under a head is in no table at hand")
	case p.Pressed.IsZero():
		v.skip(CheckPress, "seat.outer", "the width of the face is not stated")
	default:
		v.Pressure = Press(p.Pressed, p.On, low, usual, high)
	}
	if p.Grip <= 0 {
		v.skip(CheckSettle, "thread.grip", "the clamped length is not stated, so what settling costs is not known")
		return
	}
	v.Embedding = Embed(p.Thread, p.Bearing, p.Stack, p.Bolt.Family, p.Grip, usual, p.Tapped)
	if p.Stack.Rise > 0 && !p.Stack.Of.IsZero() {
		v.WarmLow, v.WarmHigh = Thermal(p.Thread, p.Bearing, p.Stack, p.Bolt.Family, p.Grip, p.Tapped)
	}
}

// judgeLength sets Bottom.
func (v *Verdict) judgeLength() {
	p := &v.Input
	if p.Hole <= 0 {
		return
	}
	switch {
	case p.Length <= 0:
		v.skip(CheckLength, "thread.length", "the length of the bolt is not stated, so nobody can tell whether it bottoms")
	case p.Grip <= 0:
		v.skip(CheckLength, "thread.grip", "the clamped length is not stated, so nobody can tell whether the bolt bottoms")
	default:
		v.Bottom, v.BottomChecked = p.Hole-(p.Length-p.Grip), true
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
	snugLow := Clamp(p.Thread, p.Wide, high, max(p.Snug-p.DragHigh, 0))
	if p.Stack.Of.IsZero() {
		v.skip(CheckAngle, "clamped.of", "the clamped material is not stated; the low end of what the angle adds is for aluminium, the high end for steel")
	}
	v.Turn = TurnOn(p.Thread, p.Bearing, p.Bolt, p.ThreadBand, p.Stack, snugLow, snugHigh, p.Angle, p.Grip, p.Tapped)
}

// judgeThread sets Stripping and Nut: what the bolt's thread is screwed into.
func (v *Verdict) judgeThread() {
	p := &v.Input
	if !p.StudInto.IsZero() {
		switch {
		case p.Bolt.IsZero():
			v.skip(CheckStrip, "strength.bolt", "the stud's class is not stated")
		case p.StudEngagement <= 0:
			v.skip(CheckStrip, "stud.engagement", "how far the stud is screwed in is not stated")
		case p.Thread.Metric() || p.Thread.Unified():
			v.StudEnd = Strip(p.Thread, p.Bolt, p.StudInto, p.StudEngagement, v.ClampLow, v.ClampHigh)
		}
	}
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
	case !p.Thread.Metric() && !p.Thread.Unified():
		v.skip(CheckStrip, "", "the limits of size of "+p.Thread.Series.String()+" threads are in no table at hand")
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
