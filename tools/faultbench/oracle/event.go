package oracle

import (
	"fmt"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
)

// event is one act on one side.
type event struct {
	op   *specdata.Operation
	side specdata.Side
	step *specdata.Step
	// name is verb and thing, attrs what else tells two events apart.
	name, attrs string
	// marks says that it leaves a mark on the vehicle or answers for one.
	marks         bool
	reads, writes []string
	index         int // of its step in the run
}

func (e *event) signature() string { return e.name + "{" + e.attrs + "}" }

// run is a procedure carried out for one variant.
type run struct {
	events []event
	// settled lists what records ask for afterwards and some look answers, sorted.
	settled []string
}

// trace expands a procedure for a variant: branches, repeats, sides; then leaves out
// acts that another act includes.
func trace(l library.Library, p *specdata.Procedure, variant map[string]string) run {
	m := newModel(l, p)
	var es []event
	step := 0
	add := func(s *specdata.Step, side specdata.Side) {
		if !fits(s.Where, variant) {
			return
		}
		step++
		for j := range s.Operations {
			op := &s.Operations[j]
			e := event{op: op, step: s, side: s.Side, index: step}
			if side != "" {
				e.side = side
			} else if op.Side != "" {
				e.side = op.Side
			}
			es = append(es, e)
		}
	}
	for i := range p.Steps {
		s := &p.Steps[i]
		add(s, "")
		if s.Repeat == nil {
			continue
		}
		from := slices.IndexFunc(p.Steps, func(o specdata.Step) bool { return o.ID == s.Repeat.From })
		to := slices.IndexFunc(p.Steps, func(o specdata.Step) bool { return o.ID == s.Repeat.To })
		for k := from; from >= 0 && k <= to && k < i; k++ {
			if p.Steps[k].Repeat == nil {
				add(&p.Steps[k], s.Repeat.Side)
			}
		}
	}
	es = m.reduce(es)
	for i := range es {
		m.describe(&es[i])
	}
	m.carried(es)
	return run{es, m.settled(es)}
}

func fits(where map[string][]string, variant map[string]string) bool {
	for key, values := range where {
		if v, ok := variant[key]; ok && !slices.Contains(values, v) {
			return false
		}
	}
	return true
}

// reduce leaves out the discarding of what a new piece replaces, a slackening that the removal right after it on the same
// fastener includes, unless the vehicle was moved up or down between the two, and
// a snugging that the tightening after it includes, unless something waits for it.
func (m *model) reduce(es []event) []event {
	var out []event
	for i := range es {
		e := &es[i]
		if e.op.Do == specdata.Slacken || e.op.Do == specdata.Snug || e.op.Do == specdata.Discard {
			if next := m.next(es, i); next != nil && m.includes(es, i, next) {
				continue
			}
		}
		out = append(out, *e)
	}
	return out
}

// next is the following event on the same fastener and side.
func (m *model) next(es []event, i int) *event {
	for j := i + 1; j < len(es); j++ {
		if es[j].op.Target == es[i].op.Target && es[j].side == es[i].side && !looks[es[j].op.Do] {
			return &es[j]
		}
	}
	return nil
}

func (m *model) includes(es []event, i int, next *event) bool {
	switch {
	case es[i].op.Do == specdata.Discard:
		return next.op.New && m.removed(es, i) // said at the right time, it says what new says
	case es[i].op.Do == specdata.Slacken && next.op.Do != specdata.Remove:
		return false
	case es[i].op.Do == specdata.Snug && next.op.Do != specdata.Tighten && next.op.Do != specdata.StageVerb:
		return false
	}
	for j := i + 1; &es[j] != next; j++ {
		switch es[j].op.Do {
		case specdata.Raise, specdata.Lower, specdata.LoadSuspension, specdata.RoadTest:
			return false
		}
	}
	return true
}

// removed reports whether the last event before on the same thing took it off.
func (m *model) removed(es []event, i int) bool {
	for j := i - 1; j >= 0; j-- {
		if es[j].op.Target == es[i].op.Target && es[j].side == es[i].side && !looks[es[j].op.Do] {
			return es[j].op.Do == specdata.Remove
		}
	}
	return false
}

// looks are the acts that leave no mark.
var looks = map[specdata.Verb]bool{
	specdata.Inspect: true, specdata.Check: true, specdata.Measure: true, specdata.Clean: true, specdata.Apply: true, specdata.Mark: true,
	specdata.Wait: true, specdata.RecordJob: true, specdata.Advise: true, specdata.Align: true, specdata.Relearn: true,
	specdata.Reset: true, specdata.Count: true, specdata.StopIf: true,
}

// describe fills in what an event is and touches.
func (m *model) describe(e *event) {
	typ, id := e.op.Target.Split()
	thing := m.key(e.op.Target, e.side)
	e.name = string(e.op.Do) + " " + thing
	e.marks = !looks[e.op.Do]
	var attrs []string
	add := func(format string, args ...any) { attrs = append(attrs, fmt.Sprintf(format, args...)) }
	if e.op.Accept != "" || !e.op.Low.IsZero() || !e.op.High.IsZero() {
		add("criterion %s..%s", e.op.Low, e.op.High)
	}
	if e.op.New {
		add("new, %d ordered", m.ordered(e.op.Target))
	}
	if e.op.Stage > 0 {
		add("stage %d", e.op.Stage)
	}
	if e.op.Do == specdata.Defer {
		until := e.op.Until
		if until == specdata.StateOnGround {
			until = specdata.StateRideHeight // on its wheels a vehicle is at ride height
		}
		add("until %s", until)
	}
	if len(e.op.Positions) > 0 {
		add("positions %v", e.op.Positions)
	}
	switch {
	case e.op.Do == specdata.Apply || e.op.Do == specdata.Fill:
		add("with %s, listed %v", e.op.With, m.listed(e.op.With))
	case looks[e.op.Do] && !m.listed(e.op.With):
		add("not listed") // a cloth or a brush more or less is no other work
	}
	for _, h := range m.hazards(e) {
		add("%s", h)
	}
	if f := m.fasteners[id]; typ == "fastener" && f != nil {
		add("%s", m.tools(e, f))
	}
	if e.op.Do == specdata.Raise {
		add("stands %v, chocks %v", m.hasKind("stand"), m.hasKind("chock"))
	}
	e.attrs = strings.Join(attrs, ", ")
	m.touch(e, typ, id, thing)
	switch {
	case e.op.Do == specdata.RoadTest:
		e.writes = append(e.writes, "road")
	case e.marks:
		e.reads = append(e.reads, "road")
	}
}

// carried adds to the hanging up of a part whether that happens at once.
func (m *model) carried(es []event) {
	for i := range es {
		if es[i].op.Do != specdata.Remove || !m.hangs(es[i].op.Target) {
			continue
		}
		soon := false
		for j := i + 1; j < len(es) && es[j].index <= es[i].index+1; j++ {
			soon = soon || es[j].op.Do == specdata.Hang && es[j].op.Target == es[i].op.Target && es[j].side == es[i].side
		}
		es[i].attrs += fmt.Sprintf(", carried %v", soon)
	}
}
