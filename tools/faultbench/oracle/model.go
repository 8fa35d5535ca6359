package oracle

import (
	"fmt"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
)

// model is what an assembly says about what touches what.
type model struct {
	procedure *specdata.Procedure
	fasteners map[string]*specdata.Fastener
	things    map[specdata.Target]*thing
	circuits  map[string]*specdata.Circuit
	handed    map[string]bool // fastener ids
	ends      map[string]string
}

type thing struct {
	assembly       *specdata.Assembly
	heldBy, behind []string
	// tied lists things that come and go with it: joints of a part, parts of a joint
	// or connection, connections and clips of a part.
	tied       []specdata.Target
	connection *specdata.Connection
	joint      *specdata.Joint
	part       *specdata.Part
}

func newModel(l library.Library, p *specdata.Procedure) *model {
	m := &model{p, map[string]*specdata.Fastener{}, map[specdata.Target]*thing{}, map[string]*specdata.Circuit{}, map[string]bool{}, map[string]string{}}
	for _, id := range p.Assemblies {
		if a := library.Assembly(l, id); a != nil {
			m.add(a)
		}
	}
	for i := range p.Steps {
		for _, op := range p.Steps[i].Operations {
			if typ, id := op.Target.Split(); typ == "fastener" {
				if f := library.Fastener(l, id); f != nil {
					m.fasteners[id] = f
				}
			}
		}
	}
	return m
}

func (m *model) add(a *specdata.Assembly) {
	put := func(typ, id string, t *thing) {
		t.assembly = a
		target := specdata.Target(typ + ":" + id)
		if m.things[target] != nil {
			return
		}
		m.things[target] = t
		for _, f := range t.heldBy {
			m.handed[f], m.ends[f] = a.Handed, a.End
		}
	}
	for i := range a.Parts {
		x := &a.Parts[i]
		put("part", x.ID, &thing{heldBy: x.HeldBy, behind: x.Behind, part: x})
	}
	tie := func(parts []string, to specdata.Target, t *thing) {
		for _, id := range parts {
			part := specdata.Target("part:" + id)
			t.tied = append(t.tied, part)
			if pt := m.things[part]; pt != nil {
				pt.tied = append(pt.tied, to)
			}
		}
	}
	for i := range a.Joints {
		x := &a.Joints[i]
		t := &thing{heldBy: x.HeldBy, behind: x.Behind, joint: x}
		tie(x.Between, specdata.Target("joint:"+x.ID), t)
		put("joint", x.ID, t)
	}
	for i := range a.Connections {
		x := &a.Connections[i]
		t := &thing{heldBy: x.HeldBy, behind: x.Behind, connection: x}
		tie(x.Holds, specdata.Target("connection:"+x.ID), t)
		put("connection", x.ID, t)
	}
	for i := range a.Clips {
		x := &a.Clips[i]
		t := &thing{behind: x.Behind}
		tie(x.Holds, specdata.Target("clip:"+x.ID), t)
		put("clip", x.ID, t)
	}
	for i := range a.Circuits {
		m.circuits[a.Circuits[i].ID] = &a.Circuits[i]
	}
}

func (m *model) key(t specdata.Target, side specdata.Side) string {
	typ, id := t.Split()
	sided := typ == "fastener" && m.handed[id] || typ == "aid" || typ == "place"
	if th := m.things[t]; th != nil {
		sided = th.assembly.Handed
	}
	if sided && side != "" {
		return string(t) + " " + string(side)
	}
	return string(t)
}

func (m *model) hangs(t specdata.Target) bool {
	th := m.things[t]
	return th != nil && th.part != nil && th.part.HangsOn != ""
}

// touch lists what an event changes and what it depends on.
func (m *model) touch(e *event, typ, id, own string) {
	if e.marks {
		e.writes = append(e.writes, own)
	}
	reads := func(ts ...string) { e.reads = append(e.reads, ts...) }
	switch typ {
	case "fastener":
		m.touchFastener(e, id)
	case "part", "joint", "connection", "clip":
		if th := m.things[e.op.Target]; th != nil && e.marks {
			m.touchThing(e, th)
		}
	case "circuit":
		if c := m.circuits[id]; c != nil {
			for _, t := range slices.Concat(c.ClosedBy, c.Drain, c.Fill, c.Level) {
				m.readBoth(e, t)
			}
		}
		for t, th := range m.things {
			if th.connection != nil && th.connection.Circuit == id {
				m.readBoth(e, t)
				for _, f := range th.heldBy {
					m.readBoth(e, specdata.Target("fastener:"+f))
				}
			}
		}
	case "electrics":
		for t, th := range m.things {
			if th.connection != nil && th.connection.Electrics == id {
				m.readBoth(e, t)
				for _, f := range th.heldBy {
					m.readBoth(e, specdata.Target("fastener:"+f))
				}
			}
		}
	case "vehicle":
		if e.op.Do == specdata.Secure {
			e.writes = append(e.writes, "secured")
		}
	case "end":
		m.touchEnd(e, id)
	case "suspension":
		reads("end:" + id)
	}
	switch e.op.Do {
	case specdata.Retract:
		e.writes = append(e.writes, "pedal")
	case specdata.Pump:
		e.writes = append(e.writes, "pedal")
	}
	slices.Sort(e.reads)
}

// readBoth reads a thing on either side.
func (m *model) readBoth(e *event, t specdata.Target) {
	for _, side := range []specdata.Side{"", specdata.SideLeft, specdata.SideRight} {
		if k := m.key(t, side); !slices.Contains(e.reads, k) {
			e.reads = append(e.reads, k)
		}
	}
}

func (m *model) touchFastener(e *event, id string) {
	f := m.fasteners[id]
	if f == nil || !e.marks {
		return
	}
	end := m.ends[id]
	loosens := e.op.Do == specdata.Slacken || e.op.Do == specdata.Remove
	for t, th := range m.things {
		if !slices.Contains(th.heldBy, id) {
			continue
		}
		if e.op.Do == specdata.Start {
			e.reads = append(e.reads, m.key(t, e.side))
		}
		if th.connection != nil && loosens {
			m.readSystems(e, th.connection)
		}
	}
	if end == "" {
		return
	}
	final := e.op.Do == specdata.Tighten || e.op.Do == specdata.StageVerb || e.op.Do == specdata.Turn
	switch {
	case e.op.Do == specdata.Remove || e.op.Do == specdata.Start:
		e.reads = append(e.reads, "end:"+end)
	case final && f.Tightening.State != specdata.StateAny && f.Tightening.State != specdata.StateCold:
		e.reads = append(e.reads, "end:"+end, "suspension:"+end)
	case e.op.Do == specdata.Slacken && f.Joint == specdata.JointWheel:
		e.reads = append(e.reads, "end:"+end)
	}
}

func (m *model) readSystems(e *event, c *specdata.Connection) {
	if c.Circuit != "" {
		e.reads = append(e.reads, "circuit:"+c.Circuit)
	}
	if c.Electrics != "" {
		e.reads = append(e.reads, "electrics:"+c.Electrics)
	}
}

func (m *model) touchThing(e *event, th *thing) {
	if e.op.Do == specdata.Hang || e.op.Do == specdata.Unhang || e.op.Do == specdata.Cap || e.op.Do == specdata.Uncap {
		return // its own state alone
	}
	for _, f := range th.heldBy {
		e.reads = append(e.reads, m.key(specdata.Target("fastener:"+f), e.side))
	}
	for _, id := range th.behind {
		for _, typ := range []string{"part", "joint", "connection", "clip"} {
			if t := specdata.Target(typ + ":" + id); m.things[t] != nil {
				e.reads = append(e.reads, m.key(t, e.side))
			}
		}
	}
	for _, t := range th.tied {
		e.reads = append(e.reads, m.key(t, e.side))
	}
	if th.connection != nil {
		m.readSystems(e, th.connection)
	}
	if th.joint != nil && th.joint.Aid != "" && e.op.Do == specdata.Separate {
		m.readBoth(e, specdata.Target("aid:"+th.joint.Aid))
	}
	if _, isClip := strings.CutPrefix(string(e.op.Target), "clip:"); !isClip && th.assembly.End != "" {
		e.reads = append(e.reads, "end:"+th.assembly.End)
	}
}

func (m *model) touchEnd(e *event, end string) {
	if !e.marks {
		return
	}
	e.reads = append(e.reads, "suspension:"+end)
	if e.op.Do == specdata.Raise {
		e.reads = append(e.reads, "secured")
	}
	for t, th := range m.things {
		if th.part == nil || !th.part.Wheel || th.assembly.End != end || e.op.Do == specdata.Support {
			continue
		}
		m.readBoth(e, t)
		for _, f := range th.heldBy {
			m.readBoth(e, specdata.Target("fastener:"+f))
		}
	}
}

func (m *model) ordered(t specdata.Target) int {
	typ, id := t.Split()
	n := 0
	for _, line := range m.procedure.Parts {
		if typ == "fastener" && line.Fastener == id || typ == "part" && line.Part == id {
			n += line.Quantity
		}
	}
	return n
}

func (m *model) listed(id string) bool {
	if id == "" || m.procedure.HasTool(id) {
		return true
	}
	return slices.ContainsFunc(m.procedure.Consumables, func(c specdata.Consumable) bool { return c.ID == id })
}

func (m *model) hasKind(kind string) bool {
	return slices.ContainsFunc(m.procedure.Tools, func(t specdata.Tool) bool { return t.Kind == kind })
}

// tools says what matters of the tools of an act on a fastener: whether a torque
// can be set, a socket fits, and the value is shown.
func (m *model) tools(e *event, f *specdata.Fastener) string {
	var out []string
	t := m.procedure.ToolOf(e.op.Tool)
	torque := e.op.Do == specdata.Tighten || e.op.Do == specdata.StageVerb || e.op.Do == specdata.Turn
	switch {
	case torque:
		out = append(out, m.setting(e, f, t), "shown "+shown(e, f))
	case t == nil && e.op.Tool != "":
		out = append(out, "tool not listed")
	case t != nil && (t.Kind == "torque-wrench" || t.Kind == "impact"):
		out = append(out, "with "+t.Kind)
	}
	if e.op.With != "" && specdata.ValidID(e.op.With) && !m.listed(e.op.With) {
		out = append(out, "holding tool not listed")
	}
	if f.Tightening.Hold != nil && e.op.With == "" && !strings.Contains(strings.ToLower(e.step.Text), "hold") {
		out = append(out, "nothing holds")
	}
	turned := f.Drive.Head
	if f.Drive.Turn == "nut" {
		turned = f.Drive.Nut
	}
	if t != nil && t.Size != "" && !sameMeasure(t.Size, turned) {
		out = append(out, "tool does not fit")
	}
	if turned != "" && turned != "knurled" && turned != "slot" && turned != "cross" && !looks[e.op.Do] {
		out = append(out, fmt.Sprintf("fits %v", slices.ContainsFunc(m.procedure.Tools, func(t specdata.Tool) bool { return sameMeasure(t.Size, turned) })))
	}
	return strings.Join(out, ", ")
}

// shown says which values of a fastener the sentence of an act shows.
func shown(e *event, f *specdata.Fastener) string {
	var stages []string
	for _, v := range specdata.ValuesShown(e.step.Text) {
		if v.Fastener == f.ID {
			stages = append(stages, fmt.Sprint(v.Stage))
		}
	}
	return strings.Join(stages, " ")
}

// setting says whether the tool can bring the fastener to its value.
func (m *model) setting(e *event, f *specdata.Fastener, t *specdata.Tool) string {
	gauge := m.hasKind("angle-gauge")
	if e.op.Do == specdata.Turn && gauge && (t == nil || t.Kind == "angle-gauge") {
		return "can be set"
	}
	if t == nil {
		return "no tool"
	}
	if t.Kind != "torque-wrench" {
		return t.Kind
	}
	for i := range f.Tightening.Stages {
		s := &f.Tightening.Stages[i]
		if e.op.Stage > 0 && e.op.Stage != i+1 {
			continue
		}
		if s.Torque.Sign() > 0 && (t.From.IsZero() || s.Torque.SI() < t.From.SI() || s.Torque.SI() > t.To.SI()) {
			return "off scale"
		}
		if !s.Angle.IsZero() && !gauge {
			return "no angle gauge"
		}
	}
	return "can be set"
}

// sameMeasure compares the sizes of a tool and a drive by their words: forms of a
// hexagon are one.
func sameMeasure(a, b string) bool {
	strip := func(s string) string {
		for _, form := range []string{"hex ", "flats ", "12-point "} {
			if rest, ok := strings.CutPrefix(s, form); ok {
				return rest
			}
		}
		return s
	}
	return a != "" && strip(a) == strip(b)
}

// hazards says, for the acts that the trade warns of, how strongly it is warned before.
func (m *model) hazards(e *event) []string {
	var out []string
	want := func(hazard string, most int) {
		out = append(out, fmt.Sprintf("%s warned %d", hazard, min(most, m.warned(e, hazard))))
	}
	typ, id := e.op.Target.Split()
	th := m.things[e.op.Target]
	fluid := func(id string) {
		if c := m.circuits[id]; c != nil {
			switch {
			case c.Fluid == "fuel":
				want("fire", 3)
			case c.Fluid == "coolant":
				want("hot-fluid", 3)
			case c.Pressurised:
				want("pressure", 3)
			}
		}
	}
	switch {
	case e.op.Do == specdata.Raise:
		want("crushing", 3)
	case e.op.Do == specdata.Remove && th != nil && th.part != nil && th.part.Friction:
		want("brake-dust", 3)
	case e.op.Do == specdata.Isolate:
		want("electric-shock", 2)
	case typ == "circuit" && (e.op.Do == specdata.Drain || e.op.Do == specdata.Depressurise):
		fluid(id)
	case e.op.Do == specdata.Disconnect && th != nil && th.connection != nil:
		fluid(th.connection.Circuit)
	}
	return out
}

var strength = map[string]int{"danger": 4, "warning": 3, "caution": 2, "notice": 1}

func (m *model) warned(e *event, hazard string) int {
	most := 0
	look := func(cs []specdata.Caution) {
		for _, c := range cs {
			if c.Hazard == hazard {
				most = max(most, strength[c.Signal])
			}
		}
	}
	look(m.procedure.Cautions)
	for i := range m.procedure.Steps {
		s := &m.procedure.Steps[i]
		look(s.Cautions)
		if s == e.step {
			break
		}
	}
	return most
}
