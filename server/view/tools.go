package view

import (
	"cmp"
	"slices"

	pb "proofload/api/proofload/v1"
	"proofload/specdata"
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

// torqueTools groups the torques so that each group lies on one wrench of the usual set
// with its whole band, the same that a draft lists. What no wrench of the set shows
// stands alone.
func torqueTools(t *specdata.Tightening) []*pb.TorqueTool {
	type reach struct {
		from, to  specdata.Quantity
		low, high float64
	}
	var torques []reach
	for i := range t.Stages {
		s := &t.Stages[i]
		if s.Torque.Dimension() != specdata.Torque || s.Torque.Sign() <= 0 {
			continue
		}
		r := reach{from: s.Torque, to: s.Torque}
		if s.UpTo.Dimension() == specdata.Torque {
			r.to = s.UpTo
		}
		r.low, r.high = t.Bounds(s)
		torques = append(torques, r)
	}
	slices.SortStableFunc(torques, func(a, b reach) int { return cmp.Compare(a.to.SI(), b.to.SI()) })
	var out []*pb.TorqueTool
	for len(torques) > 0 {
		n := len(torques) - 1
		all := torques[n]
		wrench, ok := wording.WrenchFor(all.low, all.high)
		for ok && n > 0 {
			wider := all
			if below := torques[n-1]; below.from.SI() < all.from.SI() {
				wider.from, wider.low = below.from, below.low
			}
			w, fits := wording.WrenchFor(wider.low, wider.high)
			if !fits {
				break
			}
			wrench, all = w, wider
			n--
		}
		torques = torques[:n]
		tool := &pb.TorqueTool{From: Torque(all.from), To: Torque(all.to)}
		text := tool.To.Metric
		if all.from.SI() < all.to.SI() {
			text = wording.Between(tool.From.Metric, tool.To.Metric)
		}
		tool.Text = "torque wrench for " + text
		if ok {
			tool.Square = wrench.Square
			tool.Text = wrench.Square + " square " + tool.Text
		}
		out = append([]*pb.TorqueTool{tool}, out...)
	}
	return out
}
