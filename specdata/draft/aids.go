package draft

import (
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
)

// sort is what an aid does, which decides when it comes away again.
type sort int

const (
	locking    sort = iota // holds a position: away when its part is tight
	tensioner              // holds a belt or chain slack: away when its part is on
	compressor             // holds a spring: away when everything else is on
	cage                   // holds the spring of a brake chamber: away with air in it
	prop                   // carries what would drop: away before the wheels go on
)

// aid is a pin, compressor, caging bolt or jack that holds something while a part is off.
type aid struct {
	id, name string
	sort     sort
	part     *specdata.Part
}

// aidsOf returns the aids of a part: those its assembly names, and those that the
// trade knows from its name. Common practice, no source.
func (w *writer) aidsOf(p *specdata.Part) []aid {
	var as []aid
	add := func(name string) {
		name = strings.ReplaceAll(name, "-", " ")
		a := aid{id: clipID(kebab(name)), name: name, part: p}
		switch {
		case says(name, "compressor", "spring clamp"):
			a.sort = compressor
		case says(name, "caging", "cage"):
			a.sort = cage
		case says(name, "jack", "support", "trestle", "prop"):
			a.sort = prop
		case says(name, "tensioner"):
			a.sort = tensioner
		}
		as = append(as, a)
	}
	for _, name := range p.Aids {
		add(name)
	}
	has := func(s sort) bool { return slices.ContainsFunc(as, func(a aid) bool { return a.sort == s }) }
	spring := says(p.Title, "coil spring") || isSpring(p) && !says(p.Title, "return", "shoe", "brake", "leaf", "gas", "clock", "air", "valve", "torsion")
	switch {
	case says(p.Title, "spring brake chamber", "spring brake", "spring chamber") && !has(cage):
		add("caging-bolt")
	case (spring || w.freesRod(p)) && !has(compressor):
		add("spring-compressor")
	}
	if w.raised() && !has(prop) && (spring || says(p.Title, "damper", "shock absorber", "strut", "leaf spring")) && !says(p.Title, "gas strut", "steering", "bonnet", "tailgate", "adjuster", "brace", "brake", "engine", "crankshaft") {
		add("suspension-jack")
	}
	return as
}

// freesRod reports whether a part is held by the nut of a strut's rod, which holds the
// spring as well.
func (w *writer) freesRod(p *specdata.Part) bool {
	return slices.ContainsFunc(p.HeldBy, func(id string) bool {
		f := library.Fastener(w.library, id)
		return f != nil && says(f.Title, "strut rod nut", "piston rod nut", "strut piston nut")
	})
}

// planAids notes, for each part that has aids and is loosened, the act before which
// they are set: the first that loosens anything of it.
func (w *writer) planAids() {
	w.aids = map[int][]aid{}
	for i := range w.assembly.Parts {
		p := &w.assembly.Parts[i]
		if first := w.loosens(p); first >= 0 {
			w.aids[first] = append(w.aids[first], w.aidsOf(p)...)
		}
	}
}

// loosens returns the first act that loosens or takes off a part, or undoes a joint or a
// fluid line of one that comes off; -1 if none does.
func (w *writer) loosens(p *specdata.Part) int {
	comesOff := w.undone(specdata.Target("part:" + p.ID))
	for i, u := range w.acts {
		typ, id := u.Target.Split()
		switch typ {
		case "fastener":
			if slices.Contains(p.HeldBy, id) {
				return i
			}
		case "part":
			if id == p.ID {
				return i
			}
		case "joint":
			if comesOff && slices.Contains(w.jointOf(u.Target).Between, p.ID) {
				return w.firstHolding(u.Target)
			}
		case "connection":
			if comesOff && slices.Contains(w.connectionOf(u.Target).Holds, p.ID) && w.circuitOf(u.Target) != nil {
				return w.firstHolding(u.Target)
			}
		}
	}
	return -1
}

// firstHolding returns the first act that undoes a fastener of a joint or connection.
func (w *writer) firstHolding(t specdata.Target) int {
	first := at(w.acts, t)
	for i, o := range w.acts[:first] {
		if typ, id := o.Target.Split(); typ == "fastener" && w.holds(t, id) {
			return i
		}
	}
	return first
}

// setAids sets what must be in place before an act, each aid once.
func (w *writer) setAids(b *words, act int) {
	for _, a := range w.aids[act] {
		if slices.ContainsFunc(w.inPlace, func(o aid) bool { return o.id == a.id }) {
			continue
		}
		b.flush()
		w.inPlace = append(w.inPlace, a)
		kind, part := "holder", the(a.part.Title)
		if a.sort == prop {
			kind = "jack"
		}
		id := w.tool(specdata.Tool{ID: a.id, Title: title(a.name), Kind: kind})
		o := with(op(specdata.SetAid, specdata.Target("aid:"+a.id)), id)
		switch a.sort {
		case compressor:
			w.protect("face")
			b.warn(specdata.Caution{Signal: "warning", Hazard: "spring", Text: "A spring under load flies off and maims. Seat both hooks of the compressor, turn it by hand and keep out of the spring's line."})
			b.add("compress "+w.springOf(a.part)+" with the "+a.name+" until it is free of its seats", o)
		case cage:
			w.protect("face")
			b.warn(specdata.Caution{Signal: "danger", Hazard: "spring", Text: "The spring inside kills if it gets free. Cage it before the chamber is touched and never open the chamber."})
			b.add("wind the "+a.name+" in until the spring of "+part+" is caged", o)
		case prop:
			b.warn(specdata.Caution{Signal: "warning", Hazard: "crushing", Text: "The suspension drops when " + part + " comes off. Keep hands and feet out from under it."})
			what := "suspension"
			if w.assembly.End != "" {
				what = w.assembly.End + " suspension"
			}
			b.add("take the weight of the "+what+" on the "+a.name, o)
		case tensioner:
			o.Tool = w.tool(specdata.Tool{ID: "tensioner-bar", Title: "Bar for the tensioner", Kind: "hand"})
			b.add("turn the tensioner back and hold it with the "+a.name, o)
		default:
			b.add("lock "+part+" with the "+a.name, o)
		}
		b.flush()
	}
}

// springOf names the spring that a part is, or that it holds.
func (w *writer) springOf(p *specdata.Part) string {
	if says(p.Title, "spring") {
		return the(p.Title)
	}
	return "the spring"
}

// clearAids takes away the aids of some sorts, of one part or, where part is nil, of all.
func (w *writer) clearAids(part *specdata.Part, sorts ...sort) {
	w.inPlace = slices.DeleteFunc(w.inPlace, func(a aid) bool {
		if part != nil && a.part.ID != part.ID || !slices.Contains(sorts, a.sort) {
			return false
		}
		o := op(specdata.ClearAid, specdata.Target("aid:"+a.id))
		switch a.sort {
		case compressor:
			w.step("Let the "+a.name+" off slowly, the spring seated at both ends, and take it away.", o)
		case cage:
			w.step("Wind the "+a.name+" out and stow it.", o)
		case prop:
			w.step("Let the "+a.name+" down and take it away.", o)
		case tensioner:
			w.step("Turn the tensioner back, draw the "+a.name+" and let the tensioner take up the slack.", o)
		default:
			w.step("Take the "+a.name+" away before anything is turned.", o)
			w.turnOver(a)
		}
		return true
	})
}

// times reports whether the aid locks a timing.
func (a aid) times() bool {
	return a.sort == locking && says(a.name+" "+a.part.Title, "timing", "camshaft", "cam", "crankshaft", "sprocket")
}

// turnOver checks a timing that was locked, by hand, before the engine runs.
func (w *writer) turnOver(a aid) {
	if !a.times() {
		return
	}
	bar := w.tool(specdata.Tool{ID: "crank-bar", Title: "Bar and socket for the crankshaft", Kind: "hand"})
	w.step("Turn the crankshaft two full turns by hand, the way it runs, and check that the "+a.name+" go in again by hand.",
		using(op(specdata.Rotate, "place:crankshaft"), bar),
		accepting(op(specdata.Check, "place:timing"), "no hard stop, and everything that locks the timing goes in again by hand; out again afterwards"))
}
