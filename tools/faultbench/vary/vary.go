// Package vary makes clean libraries out of a clean library: other values, other
// orders, the same sense. Rules must stay as silent about them as about the first.
package vary

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"

	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/library"
	"proofload/tools/faultbench/oracle"
)

// Library returns a variation of a library. Fasteners that no procedure uses get
// other torques, a few per cent lower, with pair and quote to match; procedures get
// another order of acts that touch nothing in common, repeats written out, other
// step ids, lists in another order, and a further look with its criterion.
func Library(rng *rand.Rand, base library.Library) (*library.Memory, error) {
	used := usedFasteners(base)
	less := 1 - 0.01*float64(rng.IntN(6))
	var entries []*library.Entry
	for _, kind := range specdata.Kinds {
		for e := range base.All(kind) {
			next, err := entry(rng, base, e, used, less)
			if err != nil {
				return nil, err
			}
			entries = append(entries, next)
		}
	}
	return library.NewMemory(entries...)
}

func entry(rng *rand.Rand, base library.Library, e *library.Entry, used map[string]bool, less float64) (*library.Entry, error) {
	b, err := json.Marshal(e.Record)
	if err != nil {
		return nil, err
	}
	switch e.Record.(type) {
	case *specdata.Fastener:
		f := new(specdata.Fastener)
		if err := json.Unmarshal(b, f); err != nil {
			return nil, err
		}
		if used[f.ID] || len(f.Pairs) > 0 {
			return e, nil
		}
		fastener(f, less)
		b, err = json.Marshal(f)
	case *specdata.Procedure:
		p := new(specdata.Procedure)
		if err := json.Unmarshal(b, p); err != nil {
			return nil, err
		}
		procedure(rng, base, p)
		b, err = json.Marshal(p)
	default:
		return e, nil
	}
	if err != nil {
		return nil, err
	}
	doc, findings := document.Read(string(e.Name())+".json", b)
	if doc == nil {
		return nil, fmt.Errorf("variation of %s cannot be read: %s", e.Name(), findings[0].Message)
	}
	return library.NewEntry(doc), nil
}

func usedFasteners(base library.Library) map[string]bool {
	used := map[string]bool{}
	for e := range base.All(specdata.KindProcedure) {
		for _, ref := range specdata.References(e.Record) {
			if ref.Name.Kind() == specdata.KindFastener {
				used[ref.Name.ID()] = true
			}
		}
	}
	return used
}

// fastener lowers the torques of a record that prints whole numbers from 20 N·m up,
// where rounding does not matter, and makes pair and quote agree.
func fastener(f *specdata.Fastener, less float64) {
	t := f.Tightening
	for i := range t.Stages {
		s := &t.Stages[i]
		if s.Torque.IsZero() {
			continue
		}
		n, err := strconv.ParseFloat(s.Torque.Number(), 64)
		if err != nil || n < 20 || strings.Contains(s.Torque.Number(), ".") || !s.UpTo.IsZero() || s.Torque.Unit().Symbol != "N.m" || !s.Also.IsZero() && s.Also.Unit().Symbol != "lbf.ft" {
			return
		}
	}
	quote := ""
	if f.Source != nil {
		quote = f.Source.Quote
	}
	for i := range t.Stages {
		s := &t.Stages[i]
		if s.Torque.IsZero() {
			continue
		}
		old, oldAlso := s.Torque.String(), s.Also.String()
		n, _ := strconv.ParseFloat(s.Torque.Number(), 64)
		s.Torque = whole(n*less, "N.m")
		was := old
		now := s.Torque.String()
		if !s.Also.IsZero() {
			s.Also = whole(s.Torque.Float("lbf.ft"), "lbf.ft")
			was, now = old+" ("+oldAlso+")", now+" ("+s.Also.String()+")"
		}
		quote = strings.Replace(quote, was, now, 1)
	}
	if f.Source != nil {
		f.Source.Quote = quote
	}
}

func whole(n float64, unit string) specdata.Quantity {
	return specdata.MustQuantity(strconv.FormatFloat(math.Round(n), 'f', -1, 64) + " " + unit)
}

func procedure(rng *rand.Rand, base library.Library, p *specdata.Procedure) {
	original := copyOf(p)
	unroll(p)
	for range 12 {
		commute(rng, base, p)
	}
	rng.Shuffle(len(p.Tools), func(i, j int) { p.Tools[i], p.Tools[j] = p.Tools[j], p.Tools[i] })
	rng.Shuffle(len(p.Parts), func(i, j int) { p.Parts[i], p.Parts[j] = p.Parts[j], p.Parts[i] })
	if !oracle.SameWork(base, original, p) {
		*p = *original
		return
	}
	look(rng, p)
	rename(p)
}

func copyOf(p *specdata.Procedure) *specdata.Procedure {
	c := *p
	c.Steps = slices.Clone(p.Steps)
	c.Tools, c.Parts = slices.Clone(p.Tools), slices.Clone(p.Parts)
	return &c
}

// unroll writes the steps of a repeat out for the other side.
func unroll(p *specdata.Procedure) {
	for i := range p.Steps {
		r := p.Steps[i].Repeat
		if r == nil {
			continue
		}
		from := slices.IndexFunc(p.Steps, func(s specdata.Step) bool { return s.ID == r.From })
		to := slices.IndexFunc(p.Steps, func(s specdata.Step) bool { return s.ID == r.To })
		if from < 0 || to < from || to >= i {
			return
		}
		var copies []specdata.Step
		for _, s := range p.Steps[from : to+1] {
			s.ID += "-other"
			s.Side = r.Side
			copies = append(copies, s)
		}
		p.Steps = slices.Concat(p.Steps[:i:i], copies, p.Steps[i+1:])
		return
	}
}

// commute swaps two neighbouring operations of a step where the work stays the same.
func commute(rng *rand.Rand, base library.Library, p *specdata.Procedure) {
	i := rng.IntN(len(p.Steps))
	ops := p.Steps[i].Operations
	if len(ops) < 2 {
		return
	}
	j := rng.IntN(len(ops) - 1)
	next := copyOf(p)
	next.Steps[i].Operations = slices.Clone(ops)
	o := next.Steps[i].Operations
	o[j], o[j+1] = o[j+1], o[j]
	if oracle.Judge(base, p, next) == oracle.Same {
		*p = *next
	}
}

// look adds an inspection with its criterion.
func look(rng *rand.Rand, p *specdata.Procedure) {
	i := 1 + rng.IntN(len(p.Steps))
	s := specdata.Step{ID: "look-round", Text: "Inspect the working place for tools left behind.", Operations: []specdata.Operation{
		{Do: specdata.Inspect, Target: "place:working-place", Accept: "nothing left behind"},
	}}
	p.Steps = slices.Insert(p.Steps, i, s)
}

// rename returns every step a number in front of its id.
func rename(p *specdata.Procedure) {
	ids := map[string]string{}
	for i := range p.Steps {
		old := p.Steps[i].ID
		ids[old] = fmt.Sprintf("s%d-%s", i+1, old)
		p.Steps[i].ID = ids[old]
	}
	for i := range p.Steps {
		if r := p.Steps[i].Repeat; r != nil {
			p.Steps[i].Repeat = &specdata.Repeat{From: ids[r.From], To: ids[r.To], Side: r.Side}
		}
	}
}
