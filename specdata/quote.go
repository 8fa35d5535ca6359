package specdata

import "strings"

// Quotable lists the torques and angles of a fastener that the quote of its
// citation may speak of.
func (f *Fastener) Quotable() []Quantity {
	qs := make([]Quantity, 0, 4)
	add := func(q Quantity) {
		if d := q.Dimension(); d == Torque || d == Angle {
			qs = append(qs, q)
		}
	}
	if t := f.Tightening; t != nil {
		for i := range t.Stages {
			s := &t.Stages[i]
			add(s.Torque)
			add(s.UpTo)
			add(s.Also)
			add(s.Angle)
			add(s.Rolling)
			add(s.RollingTo)
		}
		add(t.Tolerance)
		add(t.AngleTolerance)
		add(t.DragTorque)
	}
	if f.Reuse != nil {
		add(f.Reuse.Limit)
	}
	if f.Lock != nil {
		add(f.Lock.Max)
	}
	return qs
}

// Numbers lists the numbers of a text, whatever they are of, with a decimal point
// where a point or a comma stands between digits.
func Numbers(text string) []string {
	numbers := strings.FieldsFunc(text, func(r rune) bool { return (r < '0' || r > '9') && r != '.' && r != ',' })
	out := numbers[:0]
	for _, n := range numbers {
		if n = strings.Trim(n, ".,"); n != "" {
			out = append(out, strings.ReplaceAll(n, ",", "."))
		}
	}
	return out
}
