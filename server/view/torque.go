package view

import (
	"math/big"

	pb "proofload/api/proofload/v1"
	"proofload/specdata"
	"proofload/specdata/wording"
)

// siUnits names the unit of Quantity.SI by dimension.
var siUnits = map[specdata.Dimension]string{
	specdata.Torque: "N·m", specdata.Length: "m", specdata.Angle: "rad", specdata.Force: "N", specdata.Pressure: "Pa",
	specdata.Volume: "m³", specdata.Fraction: "1", specdata.Duration: "s", specdata.Mass: "kg", specdata.Distance: "m",
}

func quantity(q specdata.Quantity) *pb.Quantity {
	if q.IsZero() {
		return nil
	}
	return &pb.Quantity{AsPrinted: q.String(), Text: specdata.Display(q), Si: q.SI(), SiUnit: siUnits[q.Dimension()]}
}

// Quantity returns a quantity as printed and in SI, nil for an absent one.
func Quantity(q specdata.Quantity) *pb.Quantity { return quantity(q) }

// Torque returns a torque in both unit systems, nil for an absent one.
func Torque(q specdata.Quantity) *pb.Torque {
	if q.IsZero() {
		return nil
	}
	t := &pb.Torque{AsPrinted: q.String()}
	if q.Dimension() == specdata.Torque {
		t.NewtonMetres, t.Metric, t.Imperial = q.SI(), specdata.Metric(q), specdata.Imperial(q)
	}
	return t
}

// TorqueOf returns a torque worked out in N·m, which was printed nowhere.
func TorqueOf(newtonMetres float64) *pb.Torque {
	exact := new(big.Rat).SetFloat64(newtonMetres)
	if exact == nil {
		return nil
	}
	return &pb.Torque{NewtonMetres: newtonMetres, Metric: specdata.RoundMetric(exact), Imperial: specdata.RoundImperial(exact)}
}

// band works out what counts as tightened to a stage's torque.
func band(s *specdata.Stage, tolerance specdata.Quantity) *pb.TorqueBand {
	b, ok := wording.BandOf(s, tolerance)
	if !ok {
		return nil
	}
	out := &pb.TorqueBand{Metric: b.Metric(), Imperial: b.Imperial(), Assumed: b.Assumed, Text: b.Text}
	out.LowNewtonMetres, _ = b.Low.Float64()
	out.HighNewtonMetres, _ = b.High.Float64()
	return out
}

// Stages returns some stages of a fastener's tightening, counted from 0, with torques in
// both unit systems and bands.
func Stages(f *specdata.Fastener, stages []int) []*pb.Stage {
	t := tightening(f)
	var out []*pb.Stage
	for _, i := range stages {
		if i >= 0 && i < len(t.GetStages()) {
			out = append(out, t.Stages[i])
		}
	}
	return out
}
