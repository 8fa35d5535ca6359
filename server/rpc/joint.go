package rpc

import (
	"context"
	"fmt"
	"math"

	pb "proofload/api/proofload/v1"
	"proofload/server/ask"
	"proofload/server/fault"
	"proofload/server/view"
	"proofload/specdata"
	"proofload/specdata/joint"
)

func (c *Checks) EvaluateJoint(ctx context.Context, r *pb.EvaluateJointRequest) (*pb.EvaluateJointResponse, error) {
	f := &specdata.Fastener{Tightening: &specdata.Tightening{}}
	if r.Fastener == "" && r.Thread == "" {
		return nil, fault.Field("thread", "neither thread nor fastener is given; write a designation like M10x1.25, or name a fastener")
	}
	if r.Fastener != "" {
		recorded, err := c.fastener(ctx, r)
		if err != nil {
			return nil, err
		}
		f = recorded
	}
	if err := instead(f, r); err != nil {
		return nil, err
	}
	in, unread := joint.FromFastener(f)
	v := joint.Judge(in)
	out := &pb.EvaluateJointResponse{
		Verdict: v.Class.String(), Summary: v.Summary(), Caution: view.Caution, Outside: joint.Outside,
		ClampLowKilonewtons: v.ClampLow / 1e3, ClampHighKilonewtons: v.ClampHigh / 1e3, YieldLow: v.YieldLow, YieldHigh: v.YieldHigh,
	}
	for _, l := range v.Lines() {
		line := &pb.ArithmeticLine{Name: l.Name, Text: l.Text, From: l.From, Unit: l.Unit}
		if !math.IsNaN(l.Value) {
			line.Value = &l.Value
		}
		out.Arithmetic = append(out.Arithmetic, line)
	}
	for _, n := range append(unread, v.NotChecked...) {
		out.NotChecked = append(out.NotChecked, &pb.JointNotChecked{Check: string(n.Check), Missing: n.Missing, Why: n.Why})
	}
	for _, b := range []struct {
		name  string
		bound joint.Bound
	}{
		{"slack below", v.Window.Slack}, {"low below", v.Window.Low}, {"high above", v.Window.High},
		{"may yield above", v.Window.MayYield}, {"over yield above", v.Window.OverYield}, {"breaks above", v.Window.Breaks},
	} {
		if b.bound.Torque > 0 {
			out.Window = append(out.Window, &pb.WindowBound{Name: b.name, Torque: view.TorqueOf(b.bound.Torque), Friction: b.bound.Mu.String()})
		}
	}
	return out, nil
}

// fastener reads the recorded joint. The copy is the caller's to change.
func (c *Checks) fastener(ctx context.Context, r *pb.EvaluateJointRequest) (*specdata.Fastener, error) {
	name, err := ask.Name("fastener", r.Fastener, specdata.KindFastener)
	if err != nil {
		return nil, err
	}
	m, err := moment(r)
	if err != nil {
		return nil, err
	}
	rec, position, err := c.catalog.Record(ctx, name, m)
	if err != nil {
		return nil, err
	}
	f := *rec.Entry.Record.(*specdata.Fastener)
	t := specdata.Tightening{}
	if f.Tightening != nil {
		t = *f.Tightening
	}
	f.Tightening = &t
	return &f, tell(ctx, position)
}

// instead puts what the request gives in place of what is recorded.
func instead(f *specdata.Fastener, r *pb.EvaluateJointRequest) error {
	if r.Joint != "" {
		f.Joint = specdata.JointKind(r.Joint)
		known := false
		for _, k := range specdata.JointKinds {
			known = known || k == f.Joint
		}
		if !known {
			return fault.Field("joint", "joint %q does not exist; allowed: %v", ask.Clip(r.Joint), specdata.JointKinds)
		}
	}
	thread := specdata.Thread{}
	if f.Thread != nil {
		thread = *f.Thread
	}
	if r.Thread != "" {
		if _, err := joint.ParseThread(r.Thread); err != nil {
			return fault.Field("thread", "%v", err)
		}
		thread.Designation = r.Thread
	}
	if r.Into != "" {
		thread.Into = r.Into
	}
	strength := specdata.Strength{}
	if f.Strength != nil {
		strength = *f.Strength
	}
	if r.Bolt != "" {
		strength.Bolt = r.Bolt
	}
	if r.Nut != "" {
		strength.Nut = r.Nut
	}
	f.Strength = &strength
	if r.Drive != "" {
		f.Drive = &specdata.Drive{Turn: "head", Head: r.Drive, Flange: r.Flange}
	}
	if r.Surface != "" || r.Friction != "" {
		f.Surface = &specdata.Surface{Condition: r.Surface, Friction: r.Friction}
	}
	var torque, angle specdata.Quantity
	for _, q := range []struct {
		field, text string
		dimensions  []specdata.Dimension
		to          *specdata.Quantity
	}{
		{"engagement", r.Engagement, []specdata.Dimension{specdata.Length}, &thread.Engagement},
		{"grip", r.Grip, []specdata.Dimension{specdata.Length}, &thread.Grip},
		{"torque", r.Torque, []specdata.Dimension{specdata.Torque}, &torque},
		{"angle", r.Angle, []specdata.Dimension{specdata.Angle}, &angle},
		{"tolerance", r.Tolerance, []specdata.Dimension{specdata.Fraction, specdata.Torque}, &f.Tightening.Tolerance},
		{"drag", r.Drag, []specdata.Dimension{specdata.Torque}, &f.Tightening.DragTorque},
	} {
		if q.text == "" {
			continue
		}
		read, err := specdata.ParseQuantity(q.text)
		if err != nil {
			return fault.Field(q.field, "%v", err)
		}
		if err := measures(q.field, read, q.dimensions); err != nil {
			return err
		}
		*q.to = read
	}
	if r.Drag != "" {
		f.Tightening.Drag = "included"
	}
	f.Thread = &thread
	if !torque.IsZero() || !angle.IsZero() {
		f.Tightening.Stages = nil
		if !torque.IsZero() {
			f.Tightening.Stages = append(f.Tightening.Stages, specdata.Stage{Torque: torque})
		}
		if !angle.IsZero() {
			f.Tightening.Stages = append(f.Tightening.Stages, specdata.Stage{Angle: angle})
		}
	}
	return nil
}

func measures(field string, q specdata.Quantity, allowed []specdata.Dimension) error {
	units := ""
	for _, d := range allowed {
		if q.Dimension() == d && q.Sign() >= 0 {
			return nil
		}
		units += fmt.Sprintf(" %v", specdata.UnitsOf(d))
	}
	return fault.Field(field, "%s %q is not a positive number of:%s", field, q, units)
}
