package lint

import (
	"slices"

	"proofload/specdata"
	"proofload/specdata/library"
)

// Neighbour is a fastener whose torque may be compared with the record's own.
type Neighbour struct {
	Entry *library.Entry
	// Stage is the stage with the highest torque, and Torque that torque in N·m.
	Stage  int
	Torque float64
}

// Fastener returns the record.
func (n Neighbour) Fastener() *specdata.Fastener { return n.Entry.Record.(*specdata.Fastener) }

// TorqueNeighbours returns the neighbours of the same bolt class that are tightened by torque
// alone. It is empty where the record itself is not, or states no class. Rules do
// not change it.
func (p *Pass) TorqueNeighbours() []Neighbour {
	if !p.mechanics.compared {
		p.mechanics.compared, p.mechanics.byTorque = true, p.findTorqueNeighbours()
	}
	return p.mechanics.byTorque
}

func (p *Pass) findTorqueNeighbours() []Neighbour {
	f := p.Fastener()
	if f.Strength == nil || f.Strength.Bolt == "" || !byTorque(f.Tightening) {
		return nil
	}
	all := p.Neighbours()
	neighbours := make([]Neighbour, 0, len(all))
	for _, e := range all {
		o := e.Record.(*specdata.Fastener)
		if o.Strength == nil || o.Strength.Bolt != f.Strength.Bolt || !byTorque(o.Tightening) {
			continue
		}
		i := HighestStage(o.Tightening)
		neighbours = append(neighbours, Neighbour{e, i, o.Tightening.Stages[i].Torque.SI()})
	}
	return neighbours
}

// RelatedNeighbours points at the torques of at most three neighbours.
func RelatedNeighbours(neighbours []Neighbour) []specdata.Related {
	var out []specdata.Related
	for _, o := range neighbours[:min(3, len(neighbours))] {
		f := o.Fastener()
		out = append(out, Related(o.Entry, StageAt(o.Stage, "torque"), f.Title+": "+Torque(f.Tightening.Stages[o.Stage].Torque)))
	}
	return out
}

// byTorque reports whether a fastener is tightened by a torque and no angle.
func byTorque(t *specdata.Tightening) bool {
	torque := false
	for i := range t.Stages {
		s := &t.Stages[i]
		if !s.Angle.IsZero() {
			return false
		}
		torque = torque || s.Torque.SI() > 0
	}
	return torque
}

// Median returns the middle value; it sorts xs, which must not be empty.
func Median(xs []float64) float64 {
	slices.Sort(xs)
	n := len(xs)
	if n%2 == 1 {
		return xs[n/2]
	}
	return (xs[n/2-1] + xs[n/2]) / 2
}
