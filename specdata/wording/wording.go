// Package wording puts records into the language of a workshop. Screens, sheets and
// the command line all take their words from here, so that they say the same.
package wording

import (
	"maps"
	"slices"
	"strconv"
	"strings"

	"proofload/specdata"
)

// The words below put closed vocabularies into the language of a workshop. A value
// outside its vocabulary, which the schema refuses, is shown as it stands.

// Applies returns a clause of applicability after the title of its vehicle.
func Applies(title string, a *specdata.Applies) string {
	words := []string{title}
	for _, k := range slices.Sorted(maps.Keys(a.Where)) {
		words = append(words, strings.ReplaceAll(k, "_", " ")+" "+strings.Join(a.Where[k], " or "))
	}
	if !a.Built.Whole() {
		words = append(words, "built "+a.Built.String())
	}
	switch a.Side {
	case specdata.SideLeft, specdata.SideRight:
		words = append(words, string(a.Side)+" side")
	case specdata.SideCentre:
		words = append(words, "centre")
	}
	return strings.Join(words, ", ")
}

// Thread returns the designation as it is written on paper.
func Thread(t *specdata.Thread) string {
	text := t.Designation
	if strings.HasPrefix(text, "M") {
		text = strings.Replace(text, "x", "×", 1)
	}
	if t.Hand == "left" {
		text += ", left hand"
	}
	return text
}

// Seat returns the face on which the part that turns sits.
func Seat(s *specdata.Seat) string {
	text := map[string]string{"flat": "flat face", "flange": "flange", "washer": "on a washer"}[s.Form]
	switch {
	case s.Form == "cone":
		text = specdata.Display(s.Angle) + " cone"
	case s.Form == "ball":
		text = "ball R" + specdata.Display(s.Radius)
	case text == "":
		text = s.Form
	}
	if !s.Mean.IsZero() {
		text += ", mean diameter " + specdata.Display(s.Mean)
	}
	if !s.Outer.IsZero() {
		text += ", outer diameter " + specdata.Display(s.Outer)
	}
	if s.Against != "" {
		text += ", on " + strings.ReplaceAll(s.Against, "-", " ")
	}
	return text
}

// Stud returns how the stud of a nut is held at its other end.
func Stud(s *specdata.Stud) string {
	text := "stud " + s.Held
	if s.Into != "" {
		text += " into " + strings.ReplaceAll(s.Into, "-", " ")
	}
	if !s.Engagement.IsZero() {
		text += ", " + specdata.Display(s.Engagement) + " engaged"
	}
	return text
}

// Clamped returns what lies between the seat and the thread.
func Clamped(c *specdata.Clamped) string {
	var words []string
	if c.Of != "" {
		words = append(words, strings.ReplaceAll(c.Of, "-", " "))
	}
	if c.Parts > 1 {
		words = append(words, strconv.Itoa(c.Parts)+" parts")
	}
	if !c.Width.IsZero() {
		words = append(words, "a boss of "+specdata.Display(c.Width))
	}
	if c.Painted {
		words = append(words, "painted faces")
	}
	if !c.Rise.IsZero() {
		words = append(words, "runs "+specdata.Display(c.Rise)+" warmer")
	}
	return strings.Join(words, ", ")
}

// Surface returns the condition of thread and seat.
func Surface(s *specdata.Surface) string {
	text := strings.ReplaceAll(s.Condition, "-", " ")
	switch s.Condition {
	case "as-received":
		text = "as delivered, neither cleaned nor oiled"
	case "precoated":
		text = "pre-coated, as supplied"
	case "zinc-flake":
		text = "zinc flake with its lubricating coat, neither cleaned nor oiled"
	case "zinc-flake-dry":
		text = "zinc flake without lubricant"
	}
	if s.Product != "" {
		text += " (" + s.Product + ")"
	}
	switch s.On {
	case "thread":
		text += ", thread only"
	case "seat":
		text += ", seat only"
	}
	if s.Cleaning != "" {
		text += "; " + s.Cleaning
	}
	return text
}

// State returns the vehicle state of a tightening.
func State(s specdata.VehicleState) string {
	switch s {
	case specdata.StateAny:
		return "in any state of the vehicle"
	case specdata.StateOnGround:
		return "with the vehicle standing on its wheels"
	case specdata.StateRideHeight:
		return "with the suspension at ride height"
	case specdata.StateDroop:
		return "with the suspension hanging"
	case specdata.StateCold:
		return "when cold"
	case specdata.StateLoaded:
		return "with the vehicle loaded"
	}
	return string(s)
}

// States returns every state that a tightening needs at the same time.
func States(t *specdata.Tightening) string {
	var words []string
	if t.State != specdata.StateAny || len(t.And) == 0 {
		words = append(words, State(t.State))
	}
	for _, s := range t.And {
		words = append(words, State(s))
	}
	return strings.Join(words, " and ")
}

// Drag says how the prevailing torque counts; nominal may be absent.
func Drag(drag string, nominal specdata.Quantity) string {
	about := ""
	if !nominal.IsZero() {
		about = ", about " + Torque(nominal, specdata.Quantity{})
	}
	switch drag {
	case "included":
		return "the value includes the prevailing torque" + about
	case "add":
		return "measure the prevailing torque" + about + ", and add it to the value"
	case "not-applicable":
		return ""
	}
	return drag
}

// DragOf is Drag for a fastener: what a bearing adds is rolling drag, what a locking
// thread adds is prevailing torque.
func DragOf(f *specdata.Fastener) string {
	if f.Tightening == nil {
		return ""
	}
	text := Drag(f.Tightening.Drag, f.Tightening.DragTorque)
	if f.Joint == "bearing" {
		text = strings.ReplaceAll(text, "prevailing torque", "rolling drag")
	}
	return text
}

// Impact says where an impact tool may be used.
func Impact(impact string) string {
	switch impact {
	case "never":
		return "no impact tool"
	case "removal-only":
		return "impact tool for removal only"
	case "allowed":
		return "impact tool allowed, the final torque by torque wrench"
	}
	return impact
}

// Stage returns one stage as an instruction, both units beside each other.
func Stage(s *specdata.Stage) string {
	var text string
	switch {
	case !s.Torque.IsZero():
		text = "tighten to " + StageTorque(s)
	case !s.Angle.IsZero():
		text = "turn " + specdata.Display(s.Angle) + " further"
	case !s.Rolling.IsZero():
		text = "tighten until the bearing turns at " + Torque(s.Rolling, s.RollingTo)
	case s.Slacken:
		text = "slacken again"
	case !s.Wait.IsZero():
		text = "wait " + specdata.Display(s.Wait)
	case s.Seat == "hand":
		text = "run down by hand"
	case s.Seat == "stop":
		text = "turn until the stop is reached"
	default:
		text = s.Seat
	}
	if s.AllFirst {
		text += ", all of them before the next stage"
	}
	return text
}

// StageAt is Stage for one of the stages of a tightening, counted from 0: after the last
// there is no next stage to wait for.
func StageAt(t *specdata.Tightening, i int) string {
	s := t.Stages[i]
	if i < len(t.Stages)-1 {
		return Stage(&s)
	}
	all := s.AllFirst
	s.AllFirst = false
	text := Stage(&s)
	if all {
		text += ", all of them"
	}
	return text
}

// Pattern returns the order of several fasteners. It counts the passes only where one
// value is gone round for several times: stages are passes themselves, and "4 passes"
// beside one of them reads as four times its value.
func Pattern(t *specdata.Tightening) string {
	p := t.Pattern
	var words []string
	switch p.Order {
	case "cross", "star", "spiral", "circle":
		words = append(words, "in a "+p.Order)
	case "centre-out":
		words = append(words, "from the centre outwards")
	case "sequence":
		numbers := make([]string, len(p.Sequence))
		for i, n := range p.Sequence {
			numbers[i] = strconv.Itoa(n)
		}
		words = append(words, "in the order "+strings.Join(numbers, " "))
	case "one":
	default:
		words = append(words, p.Order)
	}
	if p.Passes > 1 && len(t.Stages) < 2 {
		words = append(words, strconv.Itoa(p.Passes)+" passes")
	}
	switch p.Loosen {
	case "reverse":
		words = append(words, "undo in reverse order")
	case "any":
		words = append(words, "undo in any order")
	}
	return strings.Join(words, ", ")
}

// Reuse says whether the fastener may go back.
func Reuse(r *specdata.Reuse) string {
	switch r.Rule {
	case "replace":
		if len(r.Renew) > 0 {
			return "fit a new " + strings.Join(r.Renew, " and ") + " every time"
		}
		return "single use: fit new every time"
	case "replace-if-loosened":
		if len(r.Renew) > 0 {
			return "fit a new " + strings.Join(r.Renew, " and ") + " once loosened"
		}
		return "fit new once loosened"
	case "measure":
		return "measure the " + r.Measure + "; scrap at " + specdata.Display(r.Limit)
	case "reuse":
		text := "may be used again"
		if r.Times > 0 {
			text = "may be used " + strconv.Itoa(r.Times) + " times in all"
		}
		if len(r.Renew) > 0 {
			text += "; fit a new " + strings.Join(r.Renew, " and ")
		}
		return text
	}
	return r.Rule
}

// Lock returns what keeps the fastener from turning.
func Lock(l *specdata.Lock) string {
	text := strings.ReplaceAll(l.By, "-", " ")
	switch l.Align {
	case "":
	case "advance":
		text += "; tighten further to the next hole"
	case "back-off":
		text += "; slacken back to the nearest hole"
	case "replace-washer":
		text += "; change the washer until the hole lines up"
	case "next-slot-within":
		text += "; tighten to the next slot"
	default:
		text += "; " + l.Align
	}
	if !l.Max.IsZero() {
		text += ", at most " + specdata.Display(l.Max)
	}
	return text
}

// FollowUp returns what is owed after the joint is made.
func FollowUp(u *specdata.FollowUp) string {
	text := u.Check
	switch u.Check {
	case "turns-freely":
		text = "check that it turns freely"
	case "alignment":
		text = "have the wheel alignment checked"
	case "recheck-torque":
		text = "check the torque again"
	case "warning-lamp":
		text = "check that the warning lamp is out"
	case "relearn":
		text = "do the relearn or reset"
	case "leak":
		text = "check for leaks"
	case "level":
		text = "check the level"
	case "end-float":
		text = "check the end float"
	}
	if !u.After.IsZero() {
		text += " after " + specdata.Display(u.After)
	}
	return text
}
