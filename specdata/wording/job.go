package wording

import (
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"proofload/specdata"
)

// A job needs of a fastener more than its value. The words here stand beside the
// value wherever a job is shown: on paper, on the page, at the prompt, on the wire.

// Called names a fastener in a job: "Wheel nut (5), left".
func Called(f *specdata.Fastener, side specdata.Side) string {
	name := f.Title
	if f.Count > 1 {
		name += " (" + strconv.Itoa(f.Count) + ")"
	}
	if side == specdata.SideLeft || side == specdata.SideRight {
		name += ", " + string(side)
	}
	return name
}

// Stages returns the values of some stages of a fastener in order, counted from 0, as
// Tightening gives all of them: "20 N·m (15 lbf·ft), then 40 N·m (30 lbf·ft) + 90°". It
// is "" for no stage.
func Stages(t *specdata.Tightening, stages []int) string {
	var b strings.Builder
	for _, i := range stages {
		if t == nil || i < 0 || i >= len(t.Stages) {
			continue
		}
		switch s := &t.Stages[i]; {
		case b.Len() == 0:
		case !s.Angle.IsZero():
			b.WriteString(" + ")
		default:
			b.WriteString(", then ")
		}
		b.WriteString(brief(&t.Stages[i]))
	}
	return b.String()
}

// StageNames says which stages of several those are, counted from 0: "stage 2 of 4",
// "stages 1 to 3 of 4". It is "" where the fastener has one stage, all are meant or
// there is no such stage.
func StageNames(t *specdata.Tightening, stages []int) string {
	if t == nil || len(t.Stages) < 2 || len(stages) == 0 || len(stages) == len(t.Stages) {
		return ""
	}
	if stages[0] < 0 || stages[len(stages)-1] >= len(t.Stages) {
		return "" // no stage of this fastener
	}
	of := " of " + strconv.Itoa(len(t.Stages))
	first, last := strconv.Itoa(stages[0]+1), strconv.Itoa(stages[len(stages)-1]+1)
	if first == last {
		return "stage " + first + of
	}
	return "stages " + first + " to " + last + of
}

// Accepted returns what counts as done for some stages, counted from 0, in both unit
// systems: "216 to 264 N·m (160 to 194 lbf·ft), ±10 %; 90° ±5°". The ends are rounded
// inwards.
func Accepted(t *specdata.Tightening, stages []int) string { return AcceptedBy(t, stages, nil) }

// AcceptedBy is Accepted for a torque tool, nil for one that is not known: no band
// reaches beyond what the tool can show.
func AcceptedBy(t *specdata.Tightening, stages []int, tool *specdata.Tool) string {
	var bands []string
	for _, i := range stages {
		if t == nil || i < 0 || i >= len(t.Stages) {
			continue
		}
		s := &t.Stages[i]
		if b, ok := BandOf(s, t.Tolerance); ok {
			if tool != nil {
				if b, ok = b.clip(tool); !ok {
					bands = append(bands, "not to be read on this wrench, "+ToolRange(tool))
					continue
				}
			}
			bands = append(bands, b.Metric()+" ("+b.Imperial()+"), "+b.Text)
		} else if !s.Angle.IsZero() && !t.AngleTolerance.IsZero() {
			bands = append(bands, specdata.Display(s.Angle)+" ±"+specdata.Display(t.AngleTolerance))
		}
	}
	return strings.Join(bands, "; ")
}

// Hold says what must not turn and what holds it.
func Hold(h *specdata.Hold) string { return "hold the " + h.Turns + " with " + h.With }

// Fitting says how the pieces go together.
func Fitting(f *specdata.Fitting) string {
	var words []string
	for _, w := range []string{f.Direction, f.Washers, f.Spacer} {
		if w != "" {
			words = append(words, w)
		}
	}
	return strings.Join(words, "; ")
}

// Safety says why a wrong value can hurt someone, "" where no way is known.
func Safety(safety string) string {
	if safety == "" {
		return ""
	}
	return "safety joint (" + safety + "): a wrong value can hurt someone"
}

// Conditions lists what belongs beside the value when a fastener is tightened:
// vehicle state, thread and seat, thread hand, prevailing torque, what to hold, the
// order of several, how the pieces go together, lock, reuse, impact tools, safety.
func Conditions(f *specdata.Fastener) []string {
	var out []string
	add := func(s string) {
		if s != "" {
			out = append(out, s)
		}
	}
	t := f.Tightening
	if t != nil && t.State != specdata.StateAny && t.State != "" {
		add(State(t.State))
	}
	if f.Thread != nil && f.Thread.Hand == "left" {
		add("left-hand thread: tightens anticlockwise")
	}
	if f.Surface != nil {
		where := "threads and seat: "
		if f.Surface.On == "thread" || f.Surface.On == "seat" {
			where = "surface: " // Surface says which
		}
		add(where + Surface(f.Surface))
	}
	if t != nil {
		add(Drag(t.Drag, t.DragTorque))
		if t.Hold != nil {
			add(Hold(t.Hold))
		}
		if t.Pattern != nil {
			add(Pattern(t.Pattern))
		}
	}
	if f.Fitting != nil {
		add(Fitting(f.Fitting))
	}
	if f.Lock != nil {
		add("lock: " + Lock(f.Lock))
	}
	if f.Reuse != nil {
		add(Reuse(f.Reuse))
	}
	if t != nil && t.Impact != "allowed" {
		add(Impact(t.Impact))
	}
	add(Safety(f.Safety))
	return out
}

// Driver names the tool that fits a drive: "hex 18 mm" takes an "18 mm hex socket".
func Driver(fits string) string {
	form, size, _ := strings.Cut(fits, " ")
	switch form {
	case "hex":
		return size + " hex socket"
	case "12-point":
		return size + " 12-point socket"
	case "hexalobular":
		return size + " hexalobular bit"
	case "external-hexalobular":
		return size + " external hexalobular socket"
	case "hex-key":
		return size + " hex key bit"
	case "flats":
		return size + " open spanner or crow-foot"
	case "slot":
		return strings.TrimSpace("slot screwdriver " + size)
	case "cross":
		return strings.TrimSpace("cross screwdriver " + size)
	case "knurled":
		return "by hand"
	}
	return fits
}

// Turned and Held give what the tool turns and what must be held, in the words of
// Drive.Head ("hex 18 mm"), "" where there is none.
func Turned(d *specdata.Drive) string {
	switch {
	case d == nil:
		return ""
	case d.Turn == "nut":
		return d.Nut
	}
	return d.Head
}

// Held is described at Turned.
func Held(d *specdata.Drive) string {
	switch {
	case d == nil:
		return ""
	case d.Turn == "nut":
		return d.Head
	}
	return d.Nut
}

// ToolsFor names the tool an act uses, of the set-up block, and the socket that fits
// the fastener: "Torque wrench, large; 19 mm hex socket".
func ToolsFor(p *specdata.Procedure, tool string, f *specdata.Fastener) string {
	var words []string
	if t := p.ToolOf(tool); t != nil {
		words = append(words, t.Title+reach(t))
	}
	if turned := Turned(f.Drive); turned != "" {
		words = append(words, Driver(turned))
	}
	return strings.Join(words, "; ")
}

// Tool returns a line of the set-up block: "2 × Axle stands", "Socket, hex 16 mm, 1/2 in square".
func Tool(t *specdata.Tool) string {
	text := times(t.Quantity) + t.Title + reach(t)
	if t.Size != "" {
		text += ", " + t.Size
	}
	if !t.Square.IsZero() {
		text += ", " + specdata.Display(t.Square) + " square"
	}
	return text
}

// reach returns the range of a torque tool after its title.
func reach(t *specdata.Tool) string {
	if r := ToolRange(t); r != "" {
		return ", " + r
	}
	return ""
}

// ToolRange returns what a torque tool reads in both unit systems, "" for a tool without a
// scale of torque: "10 to 60 N·m (8 to 44 lbf·ft)".
func ToolRange(t *specdata.Tool) string {
	if t.From.Dimension() != specdata.Torque || t.To.Dimension() != specdata.Torque {
		return ""
	}
	b, _ := BandOf(&specdata.Stage{Torque: t.From, UpTo: t.To}, specdata.Quantity{})
	return b.Metric() + " (" + b.Imperial() + ")"
}

// NewPart returns a line of the order list: "2 × Carrier bolt".
func NewPart(n *specdata.NewPart) string { return times(n.Quantity) + n.Title }

// Consumable returns a line of what is used up: "Brake cleaner, 500 mL".
func Consumable(c *specdata.Consumable) string {
	if c.Amount.IsZero() {
		return c.Title
	}
	return c.Title + ", " + specdata.Display(c.Amount)
}

func times(n int) string {
	if n > 1 {
		return strconv.Itoa(n) + " × "
	}
	return ""
}

// DriveFor returns a line of the pick list of sockets, bits and keys: what it fits,
// whether it holds, and the titles of the fasteners it is for.
func DriveFor(fits string, holds bool, titles []string) string {
	line := Driver(fits)
	if holds {
		line += " (to hold)"
	}
	return line + ": " + strings.Join(titles, ", ")
}

// Owed returns what is due after the job, with its distance or time where there is one.
func Owed(what string, after specdata.Quantity) string {
	if after.IsZero() {
		return what
	}
	return what + " after " + specdata.Display(after)
}

// Criteria lists what the acts of a step must meet: the words of each with its
// limits, but a limit that the sentence shows already.
func Criteria(s *specdata.Step) []string {
	var out []string
	shown := strings.Contains(s.Text, "{limit}")
	for i := range s.Operations {
		op := &s.Operations[i]
		accept := op.Accept
		if limit := Limit(op); limit != "" {
			if !shown {
				accept = strings.TrimPrefix(accept+", "+limit, ", ")
			}
			shown = false // a sentence shows the first limit of its step
		}
		if accept != "" {
			out = append(out, accept)
		}
	}
	return out
}

// Notes lists the remarks on the acts of a step, each once, as sentences.
func Notes(s *specdata.Step) []string {
	var out []string
	for i := range s.Operations {
		if n := sentenceCase(s.Operations[i].Note); n != "" && !slices.Contains(out, n) {
			out = append(out, n)
		}
	}
	return out
}

// sentenceCase starts a text with a capital letter and ends it with a full stop.
func sentenceCase(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	if size == 0 {
		return ""
	}
	s = string(unicode.ToTitle(first)) + s[size:]
	if !strings.ContainsAny(s[len(s)-1:], ".!?") {
		s += "."
	}
	return s
}

// StageValue returns the last value of some stages in the unit of the shop, for a narrow
// column: "105 N·m".
func StageValue(t *specdata.Tightening, stages []int) string {
	if t == nil || len(stages) == 0 || stages[len(stages)-1] >= len(t.Stages) {
		return ""
	}
	switch s := &t.Stages[stages[len(stages)-1]]; {
	case s.Torque.IsZero():
		return brief(s)
	case !s.UpTo.IsZero():
		return Between(specdata.Metric(s.Torque), specdata.Metric(s.UpTo))
	default:
		return specdata.Metric(s.Torque)
	}
}
