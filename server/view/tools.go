package view

import (
	"cmp"
	"slices"

	pb "proofload/api/proofload/v1"
	"proofload/specdata"
	"proofload/specdata/joint"
	"proofload/specdata/wording"
)

// tools works out what to fetch from what turns, what is held and the torques.
func tools(f *specdata.Fastener) *pb.ToolChoice {
	t := &pb.ToolChoice{}
	if d := f.Drive; d != nil {
		held, where := wording.Held(d), "nut"
		if d.Turn == "nut" {
			where = "head"
		}
		t.Socket = wording.DriverFor(f)
		if t.Socket != "" && d.Depth != "" {
			t.Socket += ", " + d.Depth
		}
		if held != "" {
			t.Counter = wording.Driver(held) + " to hold the " + where
		}
	}
	if f.Tightening != nil {
		t.TorqueTools = torqueTools(f.Tightening)
		for i := range f.Tightening.Stages {
			t.AngleGauge = t.AngleGauge || !f.Tightening.Stages[i].Angle.IsZero()
		}
	}
	return t
}

// torqueTools groups the torques so that each group lies on one tool: its highest
// torque at 80 % of full scale, its lowest not under 20 %, where ISO 6789 has the
// tool proved.
func torqueTools(t *specdata.Tightening) []*pb.TorqueTool {
	var torques []specdata.Quantity
	for i := range t.Stages {
		for _, q := range []specdata.Quantity{t.Stages[i].Torque, t.Stages[i].UpTo} {
			if q.Dimension() == specdata.Torque && q.Sign() > 0 {
				torques = append(torques, q)
			}
		}
	}
	slices.SortFunc(torques, func(a, b specdata.Quantity) int { return cmp.Compare(a.SI(), b.SI()) })
	var out []*pb.TorqueTool
	for len(torques) > 0 {
		n := len(torques)
		high := torques[n-1]
		for n > 0 && torques[n-1].SI() >= 0.25*high.SI() {
			n--
		}
		low := torques[n]
		torques = torques[:n]
		tool := &pb.TorqueTool{From: Torque(low), To: Torque(high)}
		reach := tool.To.Metric
		if low.SI() < high.SI() {
			reach = wording.Between(tool.From.Metric, tool.To.Metric)
		}
		tool.Text = "torque wrench for " + reach
		if square, ok := joint.SquareFor(high.SI()); ok {
			tool.Square = square.Name
			tool.Text = square.Name + " square " + tool.Text
		}
		out = append([]*pb.TorqueTool{tool}, out...)
	}
	return out
}
