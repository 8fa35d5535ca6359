package draft

import (
	"fmt"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
)

// Request says what to free.
type Request struct {
	// Assembly and Part are ids: the part is one of the assembly's.
	Assembly, Part string
	// Vehicle is a vehicle's id; Where fixes options of it.
	Vehicle string
	Where   map[string][]string
}

// Draft is a first procedure with what a person must still settle.
type Draft struct {
	Procedure *specdata.Procedure
	Order     Order
	// Missing lists what the records do not say and the job needs, in words.
	Missing []string
	// Problems is what the dry run finds in the draft; none when it passes.
	Problems []dryrun.Problem
}

// New drafts the procedure that frees a part and puts it back. It fails when the
// assembly, part or vehicle does not exist or does not go together, and with a
// *Blocked when no admissible order exists.
func New(l library.Library, r Request) (*Draft, error) {
	a := library.Assembly(l, r.Assembly)
	if a == nil {
		return nil, fmt.Errorf("assembly %q is not in the library", r.Assembly)
	}
	vehicle := library.Vehicle(l, r.Vehicle)
	if vehicle == nil {
		return nil, fmt.Errorf("vehicle %q is not in the library", r.Vehicle)
	}
	clause := specdata.Applies{Vehicle: r.Vehicle, Where: r.Where}
	if !applies(a.AppliesTo, clause) {
		return nil, fmt.Errorf("assembly %s does not apply to vehicle %s with these options", r.Assembly, r.Vehicle)
	}
	i := slices.IndexFunc(a.Parts, func(p specdata.Part) bool { return p.ID == r.Part })
	if i < 0 {
		var ids []string
		for _, p := range a.Parts {
			ids = append(ids, p.ID)
		}
		return nil, fmt.Errorf("part %q is not in assembly %s; its parts: %s", r.Part, r.Assembly, strings.Join(ids, ", "))
	}
	order, err := newGraph(l, a, clause).shortest(specdata.Target("part:" + r.Part))
	if err != nil {
		return nil, err
	}
	w := &writer{library: l, assembly: a, part: &a.Parts[i], vehicle: vehicle, order: order, seenTools: map[string]bool{}}
	w.procedure = &specdata.Procedure{
		Head: specdata.Head{
			Kind: specdata.KindProcedure, ID: clipID(r.Vehicle + "-" + r.Assembly + "-" + r.Part + "-draft"),
			Title: title(a.Parts[i].Title) + ", off and on (draft)",
			Note:  "Drafted from the assembly. A person checks every step against the vehicle maker's information before anyone follows it.",
		},
		AppliesTo: []specdata.Applies{clause}, Assemblies: []string{a.ID}, Sides: "none", Source: a.Source,
	}
	if a.Handed {
		w.procedure.Sides = "one"
	}
	w.write()
	d := &Draft{Procedure: w.procedure, Order: order, Missing: w.missing}
	d.Problems = dryrun.Run(l, w.procedure).Problems()
	return d, nil
}

func clipID(s string) string {
	if len(s) > specdata.MaxID {
		s = strings.TrimRight(s[:specdata.MaxID], "-")
	}
	return s
}

// writer writes the steps of a draft.
type writer struct {
	library   library.Library
	assembly  *specdata.Assembly
	part      *specdata.Part
	vehicle   *specdata.Vehicle
	order     Order
	procedure *specdata.Procedure
	missing   []string
	seenTools map[string]bool
	// later are steps that wait for the vehicle to be on the ground.
	later []specdata.Step
	// last are checks and advice at the very end.
	last []specdata.Step
}

func (w *writer) write() {
	w.prepare()
	w.dismantle()
	w.refit()
	w.finish()
}

func (w *writer) step(text string, ops ...specdata.Operation) *specdata.Step {
	w.procedure.Steps = append(w.procedure.Steps, newStep(text, ops...))
	return &w.procedure.Steps[len(w.procedure.Steps)-1]
}

func newStep(text string, ops ...specdata.Operation) specdata.Step {
	return specdata.Step{Text: text, Operations: ops}
}

func op(v specdata.Verb, t specdata.Target) specdata.Operation {
	return specdata.Operation{Do: v, Target: t}
}

// fasteners lists the fasteners of the order, in order.
func (w *writer) fasteners() []*specdata.Fastener {
	var fs []*specdata.Fastener
	for _, u := range w.order.Acts {
		if typ, id := u.Target.Split(); typ == "fastener" {
			fs = append(fs, library.Fastener(w.library, id))
		}
	}
	return fs
}

func (w *writer) partOf(t specdata.Target) *specdata.Part {
	typ, id := t.Split()
	if typ != "part" {
		return nil
	}
	i := slices.IndexFunc(w.assembly.Parts, func(p specdata.Part) bool { return p.ID == id })
	if i < 0 {
		return nil
	}
	return &w.assembly.Parts[i]
}

func (w *writer) connectionOf(t specdata.Target) *specdata.Connection {
	_, id := t.Split()
	i := slices.IndexFunc(w.assembly.Connections, func(c specdata.Connection) bool { return c.ID == id })
	if i < 0 {
		return nil
	}
	return &w.assembly.Connections[i]
}

func (w *writer) circuit(id string) *specdata.Circuit {
	i := slices.IndexFunc(w.assembly.Circuits, func(c specdata.Circuit) bool { return c.ID == id })
	if i < 0 {
		return nil
	}
	return &w.assembly.Circuits[i]
}

// raised reports whether the job needs an end off the ground: it takes a road wheel off.
func (w *writer) raised() bool {
	return w.assembly.End != "" && slices.ContainsFunc(w.order.Acts, func(u Undo) bool {
		p := w.partOf(u.Target)
		return p != nil && p.Wheel
	})
}

// holdsWheel reports whether the fastener holds the road wheel.
func (w *writer) holdsWheel(id string) bool {
	return slices.ContainsFunc(w.assembly.Parts, func(p specdata.Part) bool { return p.Wheel && slices.Contains(p.HeldBy, id) })
}

func (w *writer) prepare() {
	p := w.procedure
	p.Cautions = append(p.Cautions, specdata.Caution{Signal: "warning", Hazard: "damage", Text: "A draft: compare every step and value with the vehicle maker's information before work starts."})
	for _, e := range w.electrics() {
		s := w.step("Isolate the "+strings.ReplaceAll(e, "-", " ")+" and make sure that it cannot come back by itself.", op(specdata.Isolate, specdata.Target("electrics:"+e)))
		s.Cautions = []specdata.Caution{{Signal: "danger", Hazard: "electric-shock", Text: "Live parts can shock, burn or fire a restraint. Follow the vehicle maker's isolation procedure."}}
	}
	if !w.raised() {
		return
	}
	end := w.assembly.End
	w.step("Secure the vehicle on level floor, chocks at the other end.", op(specdata.Secure, "vehicle"))
	if w.needs(specdata.StateRideHeight) {
		if w.assembly.RideHeight == nil {
			w.missing = append(w.missing, "assembly "+w.assembly.ID+" does not say how ride height is measured")
		}
		o := op(specdata.Measure, specdata.Target("suspension:"+end))
		o.Accept = "written down"
		w.step("Measure the ride height"+w.rideHeightWords()+" and write it down.", o)
	}
	for _, f := range w.fasteners() {
		if w.holdsWheel(f.ID) {
			w.step("Slacken "+the(f)+" a quarter turn, wheels on the ground.", op(specdata.Slacken, target(f)))
		}
	}
	s := w.step("Raise the "+end+" end and set it on stands.", op(specdata.Raise, specdata.Target("end:"+end)), op(specdata.Support, specdata.Target("end:"+end)))
	s.Cautions = []specdata.Caution{{Signal: "danger", Hazard: "crushing", Text: "A vehicle on a jack alone can fall. Never reach under it before it stands on stands of sufficient rating."}}
	p.Tools = append(p.Tools,
		specdata.Tool{ID: "jack", Title: "Jack", Kind: "jack", Quantity: 1}, specdata.Tool{ID: "stands", Title: "Axle stands", Kind: "stand", Quantity: 2},
		specdata.Tool{ID: "chocks", Title: "Wheel chocks", Kind: "chock", Quantity: 2})
}

func (w *writer) rideHeightWords() string {
	if w.assembly.RideHeight == nil {
		return ""
	}
	return " (" + w.assembly.RideHeight.Measure + ")"
}

// needs reports whether some fastener of the job is tightened in a state.
func (w *writer) needs(s specdata.VehicleState) bool {
	return slices.ContainsFunc(w.fasteners(), func(f *specdata.Fastener) bool { return f.Tightening.State == s })
}

// electrics lists what must be dead for the connections of the job.
func (w *writer) electrics() []string {
	var es []string
	for _, u := range w.order.Acts {
		if c := w.connectionOf(u.Target); c != nil && c.Electrics != "" && !slices.Contains(es, c.Electrics) {
			es = append(es, c.Electrics)
		}
	}
	return es
}

func (w *writer) dismantle() {
	let := map[string]bool{}
	for _, u := range w.order.Acts {
		typ, id := u.Target.Split()
		name := specdata.InSentence(u.Title)
		switch typ {
		case "fastener":
			w.takeOut(library.Fastener(w.library, id))
		case "clip":
			w.step("Open "+name+".", op(specdata.Unclip, u.Target))
		case "connection":
			c := w.connectionOf(u.Target)
			if circuit := w.circuit(c.Circuit); circuit != nil && circuit.Pressurised && !let[circuit.ID] {
				let[circuit.ID] = true
				s := w.step("Let the pressure out of the "+specdata.InSentence(circuit.Title)+".", op(specdata.Depressurise, specdata.Target("circuit:"+circuit.ID)))
				s.Cautions = []specdata.Caution{{Signal: "warning", Hazard: "pressure", Text: "Fluid under pressure can burn, inject or ignite. Protect eyes and skin, keep flames away."}}
			}
			w.step("Disconnect "+name+".", op(specdata.Disconnect, u.Target))
		case "joint":
			w.step("Separate "+name+".", op(specdata.Separate, u.Target))
		case "part":
			p := w.partOf(u.Target)
			ops := []specdata.Operation{op(specdata.Remove, u.Target)}
			text := "Take " + name + " off."
			if p.HangsOn != "" {
				ops = append(ops, op(specdata.Hang, u.Target))
				text = "Take " + name + " off and hang it up, no weight on the " + p.HangsOn + "."
			}
			if p.Heavy {
				text = strings.TrimSuffix(text, ".") + "; two people or a lifting aid."
			}
			s := w.step(text, ops...)
			if p.Friction {
				s.Cautions = []specdata.Caution{{Signal: "warning", Hazard: "brake-dust", Text: "Brake dust harms the lungs. Never blow or brush it dry; wash it off or use a filtered vacuum."}}
			}
		}
	}
}

func (w *writer) takeOut(f *specdata.Fastener) {
	ops := []specdata.Operation{}
	text := "Remove " + the(f)
	if f.Lock != nil && slices.Contains([]string{"pin", "stake", "tab", "wire"}, f.Lock.By) {
		ops = append(ops, op(specdata.Unlock, target(f)))
		text = "Undo the " + f.Lock.By + " and remove " + the(f)
	}
	ops = append(ops, op(specdata.Remove, target(f)))
	if f.Reuse.Rule == "replace" || f.Reuse.Rule == "replace-if-loosened" {
		text += "; it is not used again"
	}
	w.step(text+".", ops...)
}

func target(f *specdata.Fastener) specdata.Target { return specdata.Target("fastener:" + f.ID) }

// the names a record's fasteners in a sentence: "the wheel nuts (4)".
func the(f *specdata.Fastener) string {
	if f.Count > 1 {
		return fmt.Sprintf("the %s (%d)", specdata.InSentence(f.Title), f.Count)
	}
	return "the " + specdata.InSentence(f.Title)
}

func title(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
