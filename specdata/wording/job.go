package wording

import (
	"maps"
	"regexp"
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
		if b.Len() > 0 {
			b.WriteString(t.Stages[i].Joined())
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
func Hold(h *specdata.Hold) string {
	tool := sized(h.With)
	article := " with a "
	if strings.HasPrefix(tool, "8") || strings.HasPrefix(tool, "11 ") || strings.HasPrefix(tool, "18 ") || strings.ContainsAny(tool[:min(1, len(tool))], "aeiou") {
		article = " with an "
	}
	return "hold the " + h.Turns + article + tool
}

// sizeLast is a tool with its size behind it, as records have it: "spanner 17 mm on the flats".
var sizeLast = regexp.MustCompile(`^((?:\pL+[ -])*(?:spanner|wrench|key|socket|bit)) (\d[\d/.-]* (?:mm|in))(.*)$`)

// sized puts the size before the tool, as a workshop says it: "17 mm spanner on the flats".
func sized(tool string) string { return sizeLast.ReplaceAllString(tool, "$2 $1$3") }

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
	if t != nil && (t.State != specdata.StateAny && t.State != "" || len(t.And) > 0) {
		add(States(t))
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
		add(DragOf(f))
		if t.Hold != nil {
			add(Hold(t.Hold))
		}
		if t.Pattern != nil {
			add(Pattern(t))
		}
	}
	if f.Seat != nil {
		add("seat: " + Seat(f.Seat))
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
	case "square":
		return size + " square key"
	case "multi-spline":
		return size + " internal multi-spline bit"
	case "slotted-ring":
		return "pin or hook spanner for a slotted ring of " + size
	case "two-pin":
		return "two-pin spanner, pins " + size + " apart"
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

// DriverFor names the tool that turns a fastener: the Driver of its drive, but nothing
// closed where a closed socket cannot go on. A locknut and a union sit on a rod or a pipe,
// a nut whose stud is held by a key in its end has that key through it, and a bleed screw
// has its hose on it. Common practice, no source.
func DriverFor(f *specdata.Fastener) string {
	turned := Turned(f.Drive)
	form, size, _ := strings.Cut(turned, " ")
	if form != "hex" && form != "12-point" {
		return Driver(turned)
	}
	held := Held(f.Drive)
	through := f.Drive.Turn == "nut" && (strings.HasPrefix(held, "hex-key") || strings.HasPrefix(held, "hexalobular"))
	if t := f.Tightening; t != nil && t.Hold != nil {
		through = through || f.Drive.Turn == "nut" && strings.Contains(t.Hold.With, "hex key")
	}
	title := strings.ToLower(f.Title)
	switch {
	case f.Joint == "jam" && strings.Contains(title, "rod"):
		return size + " open ring insert or crow-foot (no closed socket passes the rod)"
	case f.Joint == "union":
		return size + " flare-nut spanner or crow-foot"
	case strings.Contains(title, "bleed screw"), strings.Contains(title, "bleed nipple"):
		return size + " ring spanner or crow-foot (the bleed hose stays on)"
	case through:
		return size + " pass-through socket or crow-foot (the key goes through)"
	}
	return Driver(turned)
}

// HolderFor names what holds a fastener while it is turned: what its record says, else
// the tool that fits.
func HolderFor(f *specdata.Fastener) string {
	if t := f.Tightening; t != nil && t.Hold != nil {
		return sized(t.Hold.With)
	}
	return Driver(Held(f.Drive))
}

// Wrench returns the tool of the set-up block that stages of a fastener are tightened with:
// the one the act names, or where that is a torque tool that cannot show the whole band, or
// has it under a fifth of its scale, the smallest of the block that can. Under 20 % of full
// scale no tool is proved (ISO 6789; from memory); that a value belongs neither there nor
// at the end stop is common practice, no source.
func Wrench(p *specdata.Procedure, tool string, f *specdata.Fastener, stages []int) *specdata.Tool {
	named := p.ToolOf(tool)
	if named == nil || ToolRange(named) == "" || suits(named, f.Tightening, stages) {
		return named
	}
	best := named
	for i := range p.Tools {
		if t := &p.Tools[i]; ToolRange(t) != "" && suits(t, f.Tightening, stages) && (best == named || t.To.SI() < best.To.SI()) {
			best = t
		}
	}
	return best
}

// suits reports whether a torque tool shows the whole band of every stage in the part of
// its scale that it is proved in.
func suits(tool *specdata.Tool, t *specdata.Tightening, stages []int) bool {
	for _, i := range stages {
		if t == nil || i < 0 || i >= len(t.Stages) {
			continue
		}
		b, ok := BandOf(&t.Stages[i], t.Tolerance)
		if !ok {
			continue
		}
		clipped, inside := b.clip(tool)
		if !inside || clipped.Low.Cmp(b.Low) != 0 || clipped.High.Cmp(b.High) != 0 || t.Stages[i].Torque.SI() < 0.2*tool.To.SI() {
			return false
		}
	}
	return true
}

// ToolsFor names the tool that stages of a fastener are tightened with, of the set-up
// block, and the socket that fits: "Torque wrench, large; 19 mm hex socket".
func ToolsFor(p *specdata.Procedure, tool string, f *specdata.Fastener, stages []int) string {
	var words []string
	if t := Wrench(p, tool, f, stages); t != nil {
		words = append(words, t.Title+reach(t))
	}
	if driver := DriverFor(f); driver != "" {
		words = append(words, driver)
	}
	return strings.Join(words, "; ")
}

// Size returns the size of a tool after its title, which says what it is: "16 mm" for
// "hex 16 mm", "T30" for "hexalobular T30".
func Size(size string) string {
	form, rest, ok := strings.Cut(size, " ")
	switch form {
	case "hex", "hex-key", "hexalobular", "external-hexalobular", "flats":
		if ok {
			return rest
		}
	}
	return size
}

// Tool returns a line of the set-up block: "2 × Axle stands", "Socket, 16 mm, 1/2 in square".
func Tool(t *specdata.Tool) string {
	text := times(t.Quantity) + t.Title + reach(t)
	if t.Size != "" {
		text += ", " + Size(t.Size)
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

// Consumable returns a line of what is used up, with its grade: "Axle oil, 75W-90 GL-5,
// 2.5 L".
func Consumable(c *specdata.Consumable) string {
	text := c.Title
	if c.Specification != "" {
		text += ", " + c.Specification
	}
	if !c.Amount.IsZero() {
		text += ", " + specdata.Display(c.Amount)
	}
	return text
}

// Circuit returns a fluid circuit with what is in it: "Axle oil (gear oil, 75W-90 GL-5,
// 2.5 L)".
func Circuit(c *specdata.Circuit) string {
	in := strings.ReplaceAll(c.Fluid, "-", " ")
	if c.Specification != "" {
		in += ", " + c.Specification
	}
	if !c.Capacity.IsZero() {
		in += ", " + specdata.Display(c.Capacity)
	}
	return c.Title + " (" + in + ")"
}

// OnlyWith says for which option values something is done or laid out: "only with axle
// limited-slip". It is "" where it is for all.
func OnlyWith(where map[string][]string) string {
	var words []string
	for _, k := range slices.Sorted(maps.Keys(where)) {
		words = append(words, strings.ReplaceAll(k, "_", " ")+" "+strings.Join(where[k], " or "))
	}
	if len(words) == 0 {
		return ""
	}
	return "only with " + strings.Join(words, ", ")
}

func times(n int) string {
	if n > 1 {
		return strconv.Itoa(n) + " × "
	}
	return ""
}

// DriveFor returns a line of the pick list of sockets, bits and keys: the driver, whether
// it holds, and the titles of the fasteners it is for.
func DriveFor(driver string, holds bool, titles []string) string {
	line := driver
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

// Measured lists what a step has measured or counted, a line each to write the value on:
// "Measured, at most 204.5 mm". A step with one has it without its limit, which stands
// beside it.
func Measured(s *specdata.Step) []string {
	var all []*specdata.Operation
	for i := range s.Operations {
		if op := &s.Operations[i]; op.Do == specdata.Measure || op.Do == specdata.Count {
			all = append(all, op)
		}
	}
	var out []string
	for _, op := range all {
		label := "Measured"
		if op.Do == specdata.Count {
			label = "Counted"
		}
		if len(all) > 1 {
			_, id := op.Target.Split()
			label += ", " + strings.ReplaceAll(id, "-", " ")
			if limit := Limit(op); limit != "" {
				label += " (" + limit + ")"
			}
		}
		out = append(out, label)
	}
	return out
}

// SideOf returns left or right where a reader of a step has to be told its side, "" where
// the sentence says it, the whole job is on it, or none of its acts is on a side.
func SideOf(p *specdata.Procedure, s *specdata.Step, side specdata.Side, text string) string {
	if side != specdata.SideLeft && side != specdata.SideRight || specdata.HasWord(text, string(side)) {
		return ""
	}
	for i := range p.AppliesTo {
		if p.AppliesTo[i].Side == side {
			return "" // what the job is for says it
		}
	}
	for i := range s.Operations {
		switch s.Operations[i].Do {
		case specdata.Advise, specdata.RecordJob, specdata.RoadTest, specdata.Align, specdata.Secure, specdata.Release, specdata.RunEngine:
		default:
			return string(side)
		}
	}
	if len(s.Operations) == 0 {
		return string(side)
	}
	return ""
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
		metric, _ := pair(s)
		return metric
	}
}
