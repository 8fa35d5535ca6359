package dryrun

import (
	"fmt"
	"slices"
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
		states: make(map[Thing]*state, len(acts)/3), ends: map[string]EndState{}, loaded: map[string]bool{}, warned: map[string]bool{},
		dead: map[string]bool{}, systems: map[string]*system{}, retracted: map[Thing]bool{}, circuits: map[string]*circuit{}, done: map[saying]int{},
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
	states    map[Thing]*state
	// spare and subjects are not yet given out: one allocation for many.
	spare    []state
	subjects []subject
	secured  bool
	// stands is how the vehicle is kept from rolling, as far as the procedure says it.
	stands stands
	// hot says that the engine has run and nothing has cooled since.
	hot bool
	// systems are the electrics by id.
	systems   map[string]*system
	ends      map[string]EndState
	loaded    map[string]bool
	warned    map[string]bool // unsupported end already reported
	dead      map[string]bool
	isolated  []string // what is dead, in order
	retracted map[Thing]bool
	circuits  map[string]*circuit
	// done remembers, by the whole of an act that changes nothing it works on, how
	// many changes there were when it was done last; changes counts them.
	done    map[saying]int
	changes int
	// positional tells the fasteners that some act works on by position, raises the
	// ends that some act raises; both are known before the run.
	positional, raises map[string]bool
	// hanging is a part just taken off whose weight something must carry before the next act on anything else.
	hanging *hangingPart
	// surroundings is what around gave last, nil since something changed it.
	surroundings *Surroundings
	out          *Outcome
}

// hangingPart is a part that hangs by what must not carry it.
type hangingPart struct{ *subject }

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

// step carries out one act: first what every act must respect, then its row of the table.
func (m *machine) step(a *Act) {
	rows := words[a.Do]
	if rows == nil {
		return // no verb of the vocabulary: the schema refuses it
	}
	w := row(a.Do, a.typ)
	if w == nil {
		m.fail(m.subjectAt(a, m.wholeKey(a)), CauseVerb, "a "+a.typ, "a target of type "+list(targetsOf(a.Do)), "name such a target or use the verb for a "+a.typ)
		return
	}
	a.End = m.endOf(a)
	key := m.wholeKey(a)
	m.mustHang(a, key)
	first := m.subject(a, key)
	m.safeToTouch(first)
	m.hazards(first)
	m.repeated(first, w)
	m.needSide(first)
	for _, n := range m.positionsOf(a) {
		x := first
		if n > 0 {
			x = m.subject(a, key.at(n))
		}
		m.carryOut(w, x)
	}
}

// carryOut runs a row: what it refuses or needs, then what it changes. An act that
// fails is carried out all the same, so that one slip is one finding and not an avalanche.
func (m *machine) carryOut(w *Word, x *subject) {
	if !m.refused(w, x) {
		for _, n := range w.needs {
			n.check(m, x)
		}
	}
	if x.s != nil {
		x.From = x.s.is
	}
	if w.to != Unknown {
		x.s.is = w.to
	}
	for _, d := range w.closes {
		m.ledger.close(d, x.key)
	}
	for _, o := range w.opens {
		m.owes(x, o.debt, o.words)
	}
	if w.then != nil {
		w.then(m, x)
	}
	if w.repeat == alters {
		m.calibrationOwed(x)
	}
	if x.s != nil && w.repeat == alters {
		x.s.touched, x.s.last = true, x.Act
	}
}

func (m *machine) refused(w *Word, x *subject) bool {
	for i := range w.refuses {
		r := &w.refuses[i]
		if !r.when(x) {
			continue
		}
		found := r.found
		if found == "" {
			found = x.s.is.String()
		}
		m.fail(x, r.cause, found, r.need, m.mend(x, r.mend))
		return true
	}
	return false
}

// mend puts the operation that a mend names in braces into words of a document.
func (m *machine) mend(x *subject, mend string) string {
	before, rest, ok := strings.Cut(mend, "{")
	if !ok {
		return mend
	}
	verb, after, _ := strings.Cut(rest, "}")
	return before + m.op(x, specdata.Verb(verb)) + after
}

// owes opens a ledger entry about the subject.
func (m *machine) owes(x *subject, d Debt, words string) {
	e := Entry{Debt: d, Thing: x.key, name: m.name(x.Act), State: words, Act: x.Act}
	if x.s != nil {
		e.Is = x.s.is
	}
	m.ledger.add(e)
}

// subject returns an act with the state, spec and record of the thing at a key.
func (m *machine) subject(a *Act, key Thing) *subject {
	x := m.subjectAt(a, key)
	initial := untouched(a.typ)
	if initial == Unknown {
		return x
	}
	s, ok := m.states[key]
	if !ok {
		s = m.at(key, initial)
		if a.typ == "fastener" {
			s.locked, s.stage = lockedBy(x.f), stagesOf(x.f)
		}
	}
	x.s = s
	return x
}

// subjectAt is subject without making the state of what nothing has touched.
func (m *machine) subjectAt(a *Act, key Thing) *subject {
	if len(m.subjects) == 0 {
		m.subjects = make([]subject, 64)
	}
	x := &m.subjects[0]
	m.subjects = m.subjects[1:]
	x.Act, x.key, x.s = a, key, m.states[key]
	if a.typ == "fastener" {
		x.f = m.fastener(a.id)
	} else {
		x.sp = m.model.things[a.Target]
	}
	return x
}

// positionsOf lists the positions an act on a fastener is carried out on. A family
// that is never told apart is one thing, 0.
func (m *machine) positionsOf(a *Act) []int {
	if a.typ != "fastener" || !m.positional[a.id] {
		return family
	}
	if len(a.Positions) > 0 {
		return a.Positions
	}
	f := m.fastener(a.id)
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
	stands, limit                       string
	low, high, wait                     specdata.Quantity
}

// repeated reports an act that says the same as an earlier one though nothing was
// changed in between. What changes things has refusals of its own.
func (m *machine) repeated(x *subject, w *Word) {
	if w.repeat == alters {
		m.changes++
		return
	}
	a := x.Act
	key := saying{a.Do, a.Target, a.Side, a.Tool, a.With, a.Accept, a.Note, "", a.ParkingBrake + a.Gear, a.Limit, a.Low, a.High, a.For}
	if len(a.Positions)+len(a.Chocks) > 0 {
		key.positions = fmt.Sprint(a.Positions, a.Chocks)
	}
	if at, ok := m.done[key]; ok && at == m.changes {
		m.fail(x, CauseTwice, "done already, and nothing has been changed since", "something changed in between, or another act", "remove the second "+string(a.Do)+", or say what differs")
	}
	if w.repeat == renews {
		m.changes++
	}
	m.done[key] = m.changes
}

// safeToTouch reports work at an end that stands on a jack alone.
func (m *machine) safeToTouch(x *subject) {
	end := x.End
	if end == "" || m.ends[end] != Raised {
		return
	}
	switch x.typ {
	case "fastener", "part", "joint", "connection", "clip":
		if m.warned[end] {
			return // one missing stand is one finding, however long the work goes on
		}
		m.warned[end] = true
		m.fail(x, CauseUnsupported, "at the "+end+" end, which stands on the jack alone", "stands under the "+end+" end",
			"add "+paste(specdata.Support, specdata.Target("end:"+end))+" right after the raise")
	}
}

// mustHang reports a part whose weight nothing carries when the next step begins.
func (m *machine) mustHang(a *Act, key Thing) {
	h := m.hanging
	switch {
	case h == nil:
	case key == h.key && (a.Do == specdata.Hang || a.StepIndex == h.StepIndex):
		m.hanging = nil
	case a.StepIndex != h.StepIndex:
		m.leftHanging()
	}
}

func (m *machine) leftHanging() {
	x := m.hanging.subject
	m.hanging = nil
	m.fail(x, CauseHanging, "left to hang by its "+x.sp.part.HangsOn, "its weight carried at once", "add "+m.op(x, specdata.Hang)+" in the same or the next step")
}

// around returns the surroundings, the same value until something changes them.
func (m *machine) around() *Surroundings {
	if m.surroundings == nil {
		m.surroundings = &Surroundings{Secured: m.secured, Front: m.end("front"), Rear: m.end("rear"), FrontLoaded: m.loaded["front"], RearLoaded: m.loaded["rear"], Dead: m.isolated}
	}
	return m.surroundings
}

// The setters below are the only ones that change what around returns.

func (m *machine) setSecured(yes bool) { m.secured, m.surroundings = yes, nil }

func (m *machine) setEnd(end string, to EndState) {
	m.ends[end] = to
	m.surroundings = nil
}

func (m *machine) setLoaded(end string, yes bool) {
	m.loaded[end] = yes
	m.surroundings = nil
}

// end returns the state of an end; one that nothing raised is on the ground.
func (m *machine) end(name string) EndState { return m.ends[name] }

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
			Cause: CauseOpen, Act: e.Act, Pointer: e.Act.Pointer(), Target: e.Thing.Target, Thing: e.Thing, Title: e.Title(), Found: e.State,
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

// fail records a failed precondition.
func (m *machine) fail(x *subject, c Cause, found, need, mend string) {
	m.failBy(x, "", c, found, need, mend)
}

// failBy is fail with the thing that is to blame.
func (m *machine) failBy(x *subject, by specdata.Target, c Cause, found, need, mend string) {
	e := Entry{Thing: x.key, name: m.name(x.Act)}
	p := Problem{
		Cause: c, Act: x.Act, Pointer: x.Pointer(), Target: x.Target, By: by, Thing: x.key, Title: e.Title(),
		Found: found, Need: need, Mend: mend, Fastener: x.f, Wheel: x.sp != nil && x.sp.part != nil && x.sp.part.Wheel,
	}
	if x.s != nil {
		p.Changed = x.s.last
	}
	m.out.Problems = append(m.out.Problems, p)
}

// wholeKey returns the target with its side where there is one of the thing on either.
func (m *machine) wholeKey(a *Act) Thing {
	handed := false
	switch a.typ {
	case "fastener":
		handed = m.model.handedFastener(a.id) || len(m.model.holds[a.id]) == 0 && a.Side != "" && a.Side != specdata.SideCentre
	case "part", "joint", "connection", "clip":
		s := m.model.things[a.Target]
		handed = s != nil && s.assembly.Handed
	case "aid", "place":
		handed = a.Side != "" && a.Side != specdata.SideCentre
	}
	return sided(a.Target, a.Side, handed)
}

// keyOf returns the key of another thing seen from an act.
func (m *machine) keyOf(s *spec, side specdata.Side) Thing {
	return sided(s.key, side, s.assembly.Handed)
}

// fastenerKeys returns the key of a fastener seen from a side, or one for every
// position where the procedure tells them apart.
func (m *machine) fastenerKeys(id string, side specdata.Side) []Thing {
	key := sided(specdata.Target("fastener:"+id), side, m.model.handedFastener(id))
	f := m.fastener(id)
	if !m.positional[id] || f == nil {
		return []Thing{key}
	}
	var keys []Thing
	for _, n := range upTo(f.Count) {
		keys = append(keys, key.at(n))
	}
	return keys
}

// name returns the title that a record has for the act's target.
func (m *machine) name(a *Act) string {
	name := ""
	switch a.typ {
	case "fastener":
		if f := m.fastener(a.id); f != nil {
			name = f.Title
		}
	case "part", "joint", "connection", "clip":
		if s := m.model.things[a.Target]; s != nil {
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

// at returns the state of a key, made on first use in the state things are in on a
// vehicle that nobody has touched.
func (m *machine) at(key Thing, initial State) *state {
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

// endOf returns the end of the vehicle that an act works at, "" where none is known.
func (m *machine) endOf(a *Act) string {
	typ, id := a.typ, a.id
	switch typ {
	case "end", "suspension":
		return id
	case "fastener":
		return m.model.ends[id]
	case "part", "joint", "connection", "clip":
		if s := m.model.things[a.Target]; s != nil {
			return s.assembly.End
		}
	}
	return ""
}
