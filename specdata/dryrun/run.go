package dryrun

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
)

// Run executes a procedure for every variant it covers and reports what it does not
// cover. It takes time linear in the number of operations. Records that the library
// lacks are passed over: unresolved-reference reports those.
func Run(l library.Library, p *specdata.Procedure) *Result {
	r := &Result{Procedure: p}
	vs, beyond := cases(l, p)
	r.Beyond = beyond
	for _, v := range vs {
		r.Outcomes = append(r.Outcomes, RunVariant(l, p, v))
	}
	return r
}

// RunVariant executes a procedure for one variant.
func RunVariant(l library.Library, p *specdata.Procedure, v Variant) *Outcome {
	acts, cut := expand(p, v)
	m := newMachine(l, p, v, acts, cut)
	m.execute(acts)
	m.finish()
	return m.out
}

func newMachine(l library.Library, p *specdata.Procedure, v Variant, acts []*Act, cut []Problem) *machine {
	m := &machine{
		library: l, procedure: p, model: newModel(l, p, v), ledger: newLedger(len(acts)),
		states: make(map[string]*state, len(acts)/3), ends: map[string]EndState{}, loaded: map[string]bool{}, warned: map[string]bool{},
		dead: map[string]bool{}, retracted: map[string]bool{}, circuits: map[string]*circuit{}, done: map[saying]int{},
		positional: map[string]bool{}, raises: map[string]bool{},
		out: &Outcome{Variant: v, Acts: acts, Timeline: make([]Moment, 0, len(p.Steps)), Problems: cut, rideHeightKnown: map[string]bool{}},
	}
	m.lookAhead()
	return m
}

// execute carries acts out, moment by moment.
func (m *machine) execute(acts []*Act) {
	for i, a := range acts {
		a.Before = m.around()
		m.step(a)
		if i+1 == len(acts) || newMoment(a, acts[i+1]) {
			m.moment(a)
		}
	}
}

// newMoment reports whether an act belongs to another moment than the one before it.
func newMoment(before, a *Act) bool {
	return a.StepIndex != before.StepIndex || a.Repeats != before.Repeats || a.Side != before.Side
}

// machine executes acts.
type machine struct {
	library   library.Library
	procedure *specdata.Procedure
	model     *model
	ledger    *ledger
	states    map[string]*state
	// spare are states not yet given out: one allocation for many.
	spare     []state
	secured   bool
	ends      map[string]EndState
	loaded    map[string]bool
	warned    map[string]bool // unsupported end already reported
	dead      map[string]bool
	isolated  []string // what is dead, in order
	retracted map[string]bool
	circuits  map[string]*circuit
	// done remembers, by the whole of an act that changes nothing it works on, how
	// many changes there were when it was done last; changes counts them.
	done    map[saying]int
	changes int
	// positional tells the fasteners that some act works on by position, raises the
	// ends that some act raises; both are known before the run.
	positional, raises map[string]bool
	// position is the position the act is carried out on, 0 for the whole family.
	position int
	// hanging is a part just taken off whose weight something must carry before the next act on anything else.
	hanging *hangingPart
	// surroundings is what around gave last, nil since something changed it.
	surroundings *Surroundings
	out          *Outcome
}

type hangingPart struct {
	spec *spec
	key  string
	act  *Act
}

// state is one thing's state on one side.
type state struct {
	is status
	// touched says that this procedure changed the thing.
	touched bool
	last    *Act
	// stage counts the stages done of a fastener.
	stage    int
	locked   bool
	deferred bool
	newPiece bool
	scrap    bool
	hung     bool
	capped   bool
}

// status is how a thing stands. Fasteners use the first block, everything else on, off and apart.
type status string

const (
	final   status = "at its final value"
	slack   status = "slack"
	removed status = "out"
	started status = "started by hand"
	snugged status = "snug"
	staged  status = "part way through its stages"
	inPlace status = "in place"
	off     status = "off"
	apart   status = "apart"
	undone  status = "undone"
	open    status = "open"
)

// lookAhead notes what the run needs to know of acts still to come.
func (m *machine) lookAhead() {
	for _, a := range m.out.Acts {
		typ, id := a.typ, a.id
		if typ == "fastener" && len(a.Positions) > 0 {
			m.positional[id] = true
		}
		if a.Do == specdata.Raise {
			m.raises[id] = true
		}
	}
}

// step carries out one act: first what every act must respect, then the verb's own.
func (m *machine) step(a *Act) {
	w := words[a.Do]
	if w == nil {
		return
	}
	typ := a.typ
	if !contains(w.Targets, typ) {
		m.fail(a, CauseVerb, "a "+typ, "a target of type "+list(w.Targets), "name such a target or use the verb for a "+typ)
		return
	}
	if m.hanging != nil {
		if !(a.Do == specdata.Hang && m.key(a) == m.hanging.key) && a.StepIndex != m.hanging.act.StepIndex {
			m.leftHanging()
		} else if m.key(a) == m.hanging.key {
			m.hanging = nil
		}
	}
	a.End = m.endOf(a)
	m.safeToTouch(a, typ)
	m.hazards(a)
	m.repeated(a, w)
	if typ == "fastener" {
		for _, n := range m.positionsOf(a) {
			m.position = n
			w.act(m, a)
		}
		m.position = 0
		return
	}
	w.act(m, a)
}

// positionsOf lists the positions an act on a fastener is carried out on. A family
// that is never told apart is one thing, 0.
func (m *machine) positionsOf(a *Act) []int {
	id := a.id
	if !m.positional[id] {
		return family
	}
	if len(a.Positions) > 0 {
		return a.Positions
	}
	f := m.fastener(id)
	if f == nil {
		return family
	}
	return upTo(f.Count)
}

// family is the position of an act on all of a family at once.
var family = []int{0}

func upTo(n int) []int {
	all := make([]int, n)
	for i := range all {
		all[i] = i + 1
	}
	return all
}

// saying is the whole of what an act says.
type saying struct {
	do                                  specdata.Verb
	target                              specdata.Target
	side                                specdata.Side
	tool, with, accept, note, positions string
	low, high                           specdata.Quantity
}

// repeated reports an act that says the same as an earlier one though nothing was
// changed in between. What changes things has its own words for it.
func (m *machine) repeated(a *Act, w *Word) {
	if w.effect == alters {
		m.changes++
		return
	}
	key := saying{a.Do, a.Target, a.Side, a.Tool, a.With, a.Accept, a.Note, "", a.Low, a.High}
	if len(a.Positions) > 0 {
		key.positions = fmt.Sprint(a.Positions)
	}
	if at, ok := m.done[key]; ok && at == m.changes {
		m.fail(a, CauseTwice, "done already, and nothing has been changed since", "something changed in between, or another act", "remove the second "+string(a.Do)+", or say what differs")
	}
	if w.effect == renews {
		m.changes++
	}
	m.done[key] = m.changes
	a.From = m.found(a)
}

// found says in what state an act finds its target.
func (m *machine) found(a *Act) string {
	typ := a.typ
	s := m.states[m.key(a)]
	switch {
	case s != nil:
		return string(s.is)
	case typ == "fastener":
		return string(final)
	case typ == "part" || typ == "joint" || typ == "connection" || typ == "clip":
		return string(inPlace)
	}
	return ""
}

// safeToTouch reports work at an end that stands on a jack alone.
func (m *machine) safeToTouch(a *Act, typ string) {
	end := m.endOf(a)
	if end == "" || m.ends[end] != Raised {
		return
	}
	switch typ {
	case "fastener", "part", "joint", "connection", "clip":
		if m.warned[end] {
			return // one missing stand is one finding, however long the work goes on
		}
		m.warned[end] = true
		m.fail(a, CauseUnsupported, "at the "+end+" end, which stands on the jack alone", "stands under the "+end+" end",
			"add "+paste(specdata.Support, "end:"+end)+" right after the raise")
	}
}

func (m *machine) leftHanging() {
	h := m.hanging
	m.hanging = nil
	m.fail(h.act, CauseHanging, "left to hang by its "+h.spec.part.HangsOn, "its weight carried at once",
		"add "+m.op(h.act, specdata.Hang)+" in the same or the next step")
}

// around gives the surroundings, the same value until something changes them.
func (m *machine) around() *Surroundings {
	if m.surroundings == nil {
		m.surroundings = &Surroundings{Secured: m.secured, Front: m.end("front"), Rear: m.end("rear"), FrontLoaded: m.loaded["front"], RearLoaded: m.loaded["rear"], Dead: m.isolated}
	}
	return m.surroundings
}

// The setters below are the only ones that change what around gives.

func (m *machine) setSecured(yes bool) { m.secured, m.surroundings = yes, nil }

func (m *machine) setEnd(end string, to EndState) {
	m.ends[end] = to
	m.surroundings = nil
}

func (m *machine) setLoaded(end string, yes bool) {
	m.loaded[end] = yes
	m.surroundings = nil
}

func (m *machine) end(name string) EndState {
	if e, ok := m.ends[name]; ok {
		return e
	}
	return Ground
}

func (m *machine) moment(a *Act) {
	opened, changed, closed := m.ledger.take()
	m.out.Timeline = append(m.out.Timeline, Moment{
		StepIndex: a.StepIndex, Step: a.Step, Side: a.Side, Repeats: a.Repeats,
		Opened: opened, Changed: changed, Closed: closed, Open: len(m.ledger.open), Around: *m.around(),
	})
}

func (m *machine) finish() {
	if m.hanging != nil {
		m.leftHanging()
	}
	left := m.ledger.left()
	m.out.Problems = slices.Grow(m.out.Problems, len(left))
	for _, e := range left {
		m.out.Problems = append(m.out.Problems, Problem{
			Cause: CauseOpen, Act: e.Act, Pointer: e.Act.Pointer(), Target: e.target(), Thing: e.Thing, Title: e.Title(), Found: e.State,
			Mend: m.closing(e), Entry: *e, Fastener: m.fastenerOf(e.Act),
		})
	}
}

func (m *machine) fastenerOf(a *Act) *specdata.Fastener {
	typ, id := a.typ, a.id
	if typ != "fastener" {
		return nil
	}
	return m.fastener(id)
}

func (m *machine) fastener(id string) *specdata.Fastener {
	if f := m.model.fasteners[id]; f != nil {
		return f
	}
	f := library.Fastener(m.library, id)
	if f != nil {
		m.model.fasteners[id] = f
	}
	return f
}

// fail records a failed precondition. The act is carried out all the same, so
// that one slip is one finding and not an avalanche.
func (m *machine) fail(a *Act, c Cause, found, need, mend string) {
	m.failBy(a, "", c, found, need, mend)
}

// failBy is fail with the thing that is to blame.
func (m *machine) failBy(a *Act, by specdata.Target, c Cause, found, need, mend string) {
	p := Problem{
		Cause: c, Act: a, Pointer: a.Pointer(), Target: a.Target, By: by, Thing: m.key(a), Title: m.title(a),
		Found: found, Need: need, Mend: mend, Fastener: m.fastenerOf(a),
	}
	if sp := m.model.things[string(a.Target)]; sp != nil && sp.part != nil {
		p.Wheel = sp.part.Wheel
	}
	if s := m.states[p.Thing]; s != nil {
		p.Changed = s.last
	}
	m.out.Problems = append(m.out.Problems, p)
}

// key gives the target with its side where there is one of the thing on either, and
// with the position that the act is carried out on.
func (m *machine) key(a *Act) string {
	if a.key == "" {
		a.key = m.wholeKey(a)
	}
	if m.position > 0 {
		return atPosition(a.key, m.position)
	}
	return a.key
}

func (m *machine) wholeKey(a *Act) string {
	typ, id := a.typ, a.id
	handed := false
	switch typ {
	case "fastener":
		handed = m.model.handedFastener(id) || len(m.model.holds[id]) == 0 && a.Side != "" && a.Side != specdata.SideCentre
	case "part", "joint", "connection", "clip":
		s := m.model.things[string(a.Target)]
		handed = s != nil && s.assembly.Handed
	case "aid", "place":
		handed = a.Side != "" && a.Side != specdata.SideCentre
	}
	return sided(string(a.Target), a.Side, handed)
}

// positionMark stands before the number of a position.
const positionMark = "no. "

func atPosition(key string, n int) string { return key + ", " + positionMark + strconv.Itoa(n) }

func sided(target string, side specdata.Side, handed bool) string {
	if handed && (side == specdata.SideLeft || side == specdata.SideRight) {
		return target + ", " + string(side)
	}
	return target
}

// keyOf gives the key of another thing seen from an act.
func (m *machine) keyOf(s *spec, side specdata.Side) string {
	return sided(s.target(), side, s.assembly.Handed)
}

// fastenerKeys gives the key of a fastener seen from a side, or one for every
// position where the procedure tells them apart.
func (m *machine) fastenerKeys(id string, side specdata.Side) []string {
	key := sided("fastener:"+id, side, m.model.handedFastener(id))
	f := m.fastener(id)
	if !m.positional[id] || f == nil {
		return []string{key}
	}
	var keys []string
	for _, n := range upTo(f.Count) {
		keys = append(keys, atPosition(key, n))
	}
	return keys
}

// title gives the act's target in shop words.
func (m *machine) title(a *Act) string {
	e := Entry{Thing: m.key(a), name: m.name(a)}
	return e.Title()
}

// name gives the title that a record has for the act's target.
func (m *machine) name(a *Act) string {
	name := ""
	switch a.typ {
	case "fastener":
		if f := m.fastener(a.id); f != nil {
			name = f.Title
		}
	case "part", "joint", "connection", "clip":
		if s := m.model.things[string(a.Target)]; s != nil {
			name = s.title
		}
	case "circuit":
		if c := m.model.circuits[a.id]; c != nil {
			name = c.Title
		}
	case "end":
		name = a.id + " end"
	case "suspension":
		name = a.id + " suspension"
	case "vehicle", "job":
		name = "the " + a.typ
	case "aid":
		if t := m.procedure.ToolOf(a.id); t != nil {
			name = t.Title
		}
	}
	if name == "" {
		return strings.ReplaceAll(a.id, "-", " ")
	}
	return name
}

// at gives the state of a key, made on first use in the state things are in on a
// vehicle that nobody has touched.
func (m *machine) at(key string, initial status) *state {
	s, ok := m.states[key]
	if !ok {
		if len(m.spare) == 0 {
			m.spare = make([]state, 32)
		}
		s, m.spare = &m.spare[0], m.spare[1:]
		s.is = initial
		m.states[key] = s
	}
	return s
}

func (m *machine) set(s *state, a *Act, to status) {
	a.From = string(s.is)
	s.is, s.touched, s.last = to, true, a
}

// endOf gives the end of the vehicle that an act works at, "" where none is known.
func (m *machine) endOf(a *Act) string {
	typ, id := a.typ, a.id
	switch typ {
	case "end", "suspension":
		return id
	case "fastener":
		return m.model.ends[id]
	case "part", "joint", "connection", "clip":
		if s := m.model.things[string(a.Target)]; s != nil {
			return s.assembly.End
		}
	}
	return ""
}
