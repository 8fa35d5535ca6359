package lint

import (
	"slices"

	"proofload/specdata"
	"proofload/specdata/library"
)

// Peer is a sibling whose torque may be compared with the record's own.
type Peer struct {
	Entry *library.Entry
	// Stage is the stage with the highest torque, and Torque that torque in N·m.
	Stage  int
	Torque float64
}

// Fastener returns the sibling.
func (p Peer) Fastener() *specdata.Fastener { return p.Entry.Record.(*specdata.Fastener) }

// Peers returns the siblings of the same bolt class that are tightened by torque
// alone. It is empty where the record itself is not, or states no class. Rules do
// not change it.
func (p *Pass) Peers() []Peer {
	if !p.mechanics.compared {
		p.mechanics.compared, p.mechanics.peers = true, p.findPeers()
	}
	return p.mechanics.peers
}

func (p *Pass) findPeers() []Peer {
	f := p.Fastener()
	if f.Strength == nil || f.Strength.Bolt == "" || !byTorque(f.Tightening) {
		return nil
	}
	siblings := p.Siblings()
	peers := make([]Peer, 0, len(siblings))
	for _, e := range siblings {
		o := e.Record.(*specdata.Fastener)
		if o.Strength == nil || o.Strength.Bolt != f.Strength.Bolt || !byTorque(o.Tightening) {
			continue
		}
		i := HighestStage(o.Tightening)
		peers = append(peers, Peer{e, i, o.Tightening.Stages[i].Torque.SI()})
	}
	return peers
}

// RelatedPeers points at the torques of at most three peers.
func RelatedPeers(peers []Peer) []specdata.Related {
	var out []specdata.Related
	for _, o := range peers[:min(3, len(peers))] {
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
