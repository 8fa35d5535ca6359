package dryrun

import (
	"proofload/specdata"
	"proofload/specdata/library"
)

// model is what the assemblies of a procedure say about how things hold each other.
type model struct {
	things    map[specdata.Target]*spec
	fasteners map[string]*specdata.Fastener
	circuits  map[string]*specdata.Circuit
	// circuitIDs lists the circuits in order.
	circuitIDs []string
	// holds lists, by fastener id, the things it holds.
	holds map[string][]*spec
	// joints lists, by part id, the joints the part is in.
	joints map[string][]*spec
	// carry lists, by part id, the connections and clips that hold it.
	carry map[string][]*spec
	// seals lists, by the id of what they seal, the gaskets and seals.
	seals map[string][]*spec
	// lines lists, by circuit id, the connections that open it.
	lines map[string][]*spec
	// wires lists, by electrics, the connections that need it dead.
	wires map[string][]*spec
	// brakes lists the parts that a brake piston bears on or sits in.
	brakes []*spec
	// runs lists the parts that turn with the engine or guard what does.
	runs []*spec
	// waits holds the least wait in seconds by what it is for, owes the calibrations by
	// the target that owes them.
	waits map[string]float64
	owes  map[specdata.Target][]*specdata.Owes
	ends  map[string]string // end of each assembly's fastener, by fastener id
	// wheelsAt lists the road wheels of an end.
	wheelsAt map[string][]*spec
	// rideHeight is the ride height of an end, nil where no assembly gives one.
	rideHeight map[string]*specdata.RideHeight
}

// spec is one thing of an assembly.
type spec struct {
	typ, id, title string
	key            specdata.Target
	assembly       *specdata.Assembly
	heldBy, behind []string
	part           *specdata.Part
	joint          *specdata.Joint
	connection     *specdata.Connection
	clip           *specdata.Clip
}

func newModel(l library.Library, p *specdata.Procedure, v Variant) *model {
	m := &model{
		things: map[specdata.Target]*spec{}, fasteners: map[string]*specdata.Fastener{}, circuits: map[string]*specdata.Circuit{},
		holds: map[string][]*spec{}, joints: map[string][]*spec{}, seals: map[string][]*spec{}, carry: map[string][]*spec{},
		lines: map[string][]*spec{}, wires: map[string][]*spec{}, ends: map[string]string{}, waits: map[string]float64{}, owes: map[specdata.Target][]*specdata.Owes{}, rideHeight: map[string]*specdata.RideHeight{}, wheelsAt: map[string][]*spec{},
	}
	clause := v.clause()
	for _, id := range p.Assemblies {
		a := library.Assembly(l, id)
		if a == nil || !appliesTo(a.AppliesTo, clause) {
			continue
		}
		m.add(l, a, clause)
	}
	return m
}

func appliesTo(as []specdata.Applies, clause specdata.Applies) bool {
	for _, a := range as {
		if a.Overlap(specdata.Applies{Vehicle: clause.Vehicle, Where: clause.Where, Side: a.Side}) {
			return true
		}
	}
	return false
}

func (m *model) add(l library.Library, a *specdata.Assembly, clause specdata.Applies) {
	specs := make([]spec, 0, len(a.Parts)+len(a.Joints)+len(a.Connections)+len(a.Clips))
	of := func(s spec) *spec {
		s.assembly, s.key = a, specdata.Target(s.typ+":"+s.id)
		specs = append(specs, s)
		return &specs[len(specs)-1]
	}
	for i := range a.Parts {
		x := &a.Parts[i]
		s := of(spec{typ: "part", id: x.ID, title: x.Title, heldBy: x.HeldBy, behind: x.Behind, part: x})
		m.put(l, s, clause)
		if m.things[s.key] != s {
			continue
		}
		if x.Wheel {
			m.wheelsAt[a.End] = append(m.wheelsAt[a.End], s)
		}
		if isBrake(x) {
			m.brakes = append(m.brakes, s)
		}
		for _, id := range x.Seals {
			m.seals[id] = append(m.seals[id], s)
		}
		if x.Runs {
			m.runs = append(m.runs, s)
		}
	}
	for i := range a.Joints {
		x := &a.Joints[i]
		s := of(spec{typ: "joint", id: x.ID, title: x.Title, heldBy: x.HeldBy, behind: x.Behind, joint: x})
		m.put(l, s, clause)
		for _, part := range x.Between {
			m.joints[part] = append(m.joints[part], s)
		}
	}
	for i := range a.Connections {
		x := &a.Connections[i]
		s := of(spec{typ: "connection", id: x.ID, title: x.Title, heldBy: x.HeldBy, behind: x.Behind, connection: x})
		m.put(l, s, clause)
		for _, part := range x.Holds {
			m.carry[part] = append(m.carry[part], s)
		}
		if x.Circuit != "" {
			m.lines[x.Circuit] = append(m.lines[x.Circuit], s)
		}
		if x.Electrics != "" {
			m.wires[x.Electrics] = append(m.wires[x.Electrics], s)
		}
	}
	for i := range a.Clips {
		x := &a.Clips[i]
		s := of(spec{typ: "clip", id: x.ID, title: x.Title, behind: x.Behind, clip: x})
		m.put(l, s, clause)
		for _, part := range x.Holds {
			m.carry[part] = append(m.carry[part], s)
		}
	}
	for i := range a.Circuits {
		c := &a.Circuits[i]
		if m.circuits[c.ID] == nil {
			m.circuitIDs = append(m.circuitIDs, c.ID)
		}
		m.circuits[c.ID] = c
	}
	for i := range a.Waits {
		m.waits[a.Waits[i].For] = max(m.waits[a.Waits[i].For], a.Waits[i].Least.SI())
	}
	for i := range a.Owes {
		if o := &a.Owes[i]; appliesTo([]specdata.Applies{{Vehicle: clause.Vehicle, Where: o.Where}}, clause) {
			for _, t := range o.After {
				m.owes[t] = append(m.owes[t], o)
			}
		}
	}
	if a.RideHeight != nil && a.End != "" {
		m.rideHeight[a.End] = a.RideHeight
	}
}

func (m *model) put(l library.Library, s *spec, clause specdata.Applies) {
	if _, ok := m.things[s.key]; ok {
		return // the first assembly that names it has it
	}
	m.things[s.key] = s
	// Only what applies to this variant holds anything on it.
	held := make([]string, 0, len(s.heldBy))
	for _, id := range s.heldBy {
		f := library.Fastener(l, id)
		if f == nil || !appliesTo(f.AppliesTo, clause) {
			continue
		}
		held = append(held, id)
		m.fasteners[id] = f
		m.holds[id] = append(m.holds[id], s)
		if s.assembly.End != "" {
			m.ends[id] = s.assembly.End
		}
	}
	s.heldBy = held
}

// byID finds a thing of any type by its bare id, as Behind names it.
func (m *model) byID(id string) *spec {
	for _, typ := range []string{"part", "joint", "connection", "clip"} {
		if s := m.things[specdata.Target(typ+":"+id)]; s != nil {
			return s
		}
	}
	return nil
}

// handedFastener reports whether there is one of the fastener on either side.
func (m *model) handedFastener(id string) bool {
	for _, s := range m.holds[id] {
		return s.assembly.Handed
	}
	return false
}

// between returns the parts that a joint joins or a connection holds.
func (s *spec) between() []string {
	switch {
	case s.joint != nil:
		return s.joint.Between
	case s.connection != nil:
		return s.connection.Holds
	}
	return nil
}

// isBrake reports whether a brake piston bears on a part or sits in it.
func isBrake(p *specdata.Part) bool {
	return p.Friction && !specdata.HasWord(p.Title, "clutch") || specdata.HasWord(p.Title, "caliper", "calliper", "pads", "shoes", "drum", "wheel cylinder")
}
