// Package corrections makes changes of published fasteners, right ones and wrong
// ones, and counts which rules speak about which. A rule about changes that speaks
// as often about right changes as about wrong ones knows nothing: its likelihood
// ratio is 1.
package corrections

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"

	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/library"
)

// Change is one change of a published record.
type Change struct {
	// Kind names the sort of change; Right says whether it is one that should be published.
	Kind     string
	Right    bool
	Old, New *specdata.Fastener
}

// Newer is the source that respecifications cite: a later issue of the maker's data
// for every vehicle.
func Newer(lib library.Library) *specdata.Source {
	s := &specdata.Source{Type: "maker", Issuer: "The makers", Edition: "9", Date: "2026-10-01", Licence: "invented values, free to quote"}
	s.Kind, s.ID, s.Title = specdata.KindSource, "newer-data-2026", "Newer data of the makers (invented)"
	for e := range lib.All(specdata.KindVehicle) {
		s.Concerns = append(s.Concerns, e.Name().ID())
	}
	return s
}

// kinds lists the sorts of change. Each returns false where a record gives no occasion.
var kinds = []struct {
	name  string
	right bool
	make  func(m *maker, was, is *specdata.Fastener) bool
}{
	{"respecified", true, func(m *maker, _, is *specdata.Fastener) bool { return m.set(is, m.ordinary(is)) && m.cite(is) }},
	{"value-typed-wrong-mended", true, func(m *maker, was, is *specdata.Fastener) bool {
		return is.Source.Quote != "" && m.wrong(was)
	}},
	{"reading-mended", true, func(m *maker, was, is *specdata.Fastener) bool {
		if !m.wrong(was) {
			return false
		}
		is.Source.Quote, was.Source.Quote = quote(is), quote(was)
		is.Source.ReadOn = "2026-11-20"
		return true
	}},
	{"split-by-build", true, func(m *maker, _, is *specdata.Fastener) bool {
		v := library.Vehicle(m.lib, is.AppliesTo[0].Vehicle)
		if is.AppliesTo[0].Built != nil || v == nil || v.Built == nil || !(v.Built.From < "2017" && (v.Built.To == "" || v.Built.To > "2018")) {
			return false
		}
		is.AppliesTo[0].Built = &specdata.Built{From: "2017-W20"}
		return m.set(is, m.ordinary(is)) && m.cite(is)
	}},
	{"relaxed", true, func(m *maker, _, is *specdata.Fastener) bool {
		switch t := is.Tightening; {
		case is.Reuse.Rule == "replace" && is.Lock == nil && len(is.Reuse.Renew) == 0 && len(t.Stages) == 1 && (is.Surface == nil || is.Surface.Condition == "dry"):
			is.Reuse.Rule = "reuse"
		case t.Impact == "never" && is.Joint == specdata.JointClamp && is.Safety == "":
			t.Impact = "removal-only"
		case t.Pattern != nil && t.Pattern.Passes > 1:
			t.Pattern.Passes--
		default:
			return false
		}
		return m.cite(is)
	}},
	{"fact-mended", true, func(m *maker, was, is *specdata.Fastener) bool {
		switch {
		case is.Drive.Flange:
			was.Drive.Flange = false
		case is.Thread != nil && !is.Thread.Engagement.IsZero():
			was.Thread.Engagement = specdata.Quantity{}
		default:
			was.Tightening.Impact = "removal-only"
			is.Tightening.Impact = "never"
		}
		is.Source.At += ", looked at again"
		is.Source.ReadOn = "2026-11-20"
		return true
	}},
	{"tolerance-narrowed", true, func(m *maker, _, is *specdata.Fastener) bool {
		is.Tightening.Tolerance = specdata.MustQuantity("8 %")
		return m.cite(is)
	}},
	{"cited-anew", true, func(m *maker, _, is *specdata.Fastener) bool { return m.cite(is) }},
	{"misread-times-12", false, misread(12)},
	{"misread-by-12", false, misread(1. / 12)},
	{"misread-times-10", false, misread(10)},
	{"misread-by-10", false, misread(.1)},
	{"misread-times-1.356", false, misread(1.3558)},
	{"misread-by-1.356", false, misread(1 / 1.3558)},
	{"misread-digits-swapped", false, func(m *maker, _, is *specdata.Fastener) bool { return m.slip(is, swap) }},
	{"misread-one-digit", false, func(m *maker, _, is *specdata.Fastener) bool { return m.slip(is, m.oneDigit) }},
	{"misread-neighbour-row", false, func(m *maker, _, is *specdata.Fastener) bool {
		o := m.all[m.rng.IntN(len(m.all))]
		i, q := torque(o)
		if i < 0 || o.ID == is.ID || o.Source == nil || is.Source == nil || o.Source.Document != is.Source.Document || math.Abs(q/value(is)-1) < 0.05 {
			return false
		}
		return m.set(is, q) && m.cite(is)
	}},
}

// misread is a value of a newly cited document read wrong by a factor; half of the
// documents also respecify it.
func misread(by float64) func(m *maker, was, is *specdata.Fastener) bool {
	return func(m *maker, _, is *specdata.Fastener) bool {
		return m.slip(is, func(s string) string {
			x, err := strconv.ParseFloat(s, 64)
			if err != nil {
				return s
			}
			return strconv.FormatFloat(round(x*by), 'f', -1, 64)
		})
	}
}

// maker makes changes of the fasteners of one library.
type maker struct {
	rng *rand.Rand
	lib library.Library
	all []*specdata.Fastener
}

// Make makes at most n changes of every kind. The same seed makes the same changes.
func Make(seed uint64, lib library.Library, n int) ([]Change, error) {
	m := &maker{lib: lib}
	for e := range lib.All(specdata.KindFastener) {
		f := e.Record.(*specdata.Fastener)
		if i, _ := torque(f); i >= 0 && f.Source != nil && len(f.Waivers) == 0 {
			m.all = append(m.all, f)
		}
	}
	var out []Change
	for k, kind := range kinds {
		m.rng = rand.New(rand.NewPCG(seed, uint64(k)))
		made := 0
		for range 40 * n {
			if made == n {
				break
			}
			f := m.all[m.rng.IntN(len(m.all))]
			was, err := clone(f)
			if err != nil {
				return nil, err
			}
			is, err := clone(f)
			if err != nil {
				return nil, err
			}
			if kind.make(m, was, is) {
				made++
				out = append(out, Change{kind.name, kind.right, was, is})
			}
		}
	}
	return out, nil
}

func clone(f *specdata.Fastener) (*specdata.Fastener, error) {
	text, err := document.Canonical(f)
	if err != nil {
		return nil, err
	}
	doc, err := document.ReadCanonical(text)
	if err != nil {
		return nil, fmt.Errorf("record %s: %w", f.ID, err)
	}
	return doc.Record.(*specdata.Fastener), nil
}

// torque returns the stage of the last torque and its value in N·m, -1 where there is none.
func torque(f *specdata.Fastener) (int, float64) {
	i, s := f.Tightening.FinalTorque()
	if s == nil || !s.UpTo.IsZero() {
		return -1, 0
	}
	return i, s.Torque.SI()
}

func value(f *specdata.Fastener) float64 { _, x := torque(f); return x }

// set returns a fastener a value in N·m, rounded as documents print.
func (m *maker) set(f *specdata.Fastener, x float64) bool {
	i, was := torque(f)
	q, err := specdata.ParseQuantity(strconv.FormatFloat(round(x), 'f', -1, 64) + " N.m")
	if err != nil || q.SI() == was || q.Sign() <= 0 {
		return false
	}
	f.Tightening.Stages[i].Torque, f.Tightening.Stages[i].Also = q, specdata.Quantity{}
	return true
}

// cite moves the citation to the newer document, with the number as it is there.
func (m *maker) cite(f *specdata.Fastener) bool {
	f.Source.Document, f.Source.At = "newer-data-2026", fmt.Sprintf("page %d row %d", 2+m.rng.IntN(60), 1+m.rng.IntN(30))
	f.Source.Quote, f.Source.ReadOn = quote(f), "2026-11-20"
	return true
}

// quote is a row of a document that states the tightening.
func quote(f *specdata.Fastener) string {
	var parts []string
	for _, s := range f.Tightening.Stages {
		for _, q := range []specdata.Quantity{s.Torque, s.Angle} {
			if !q.IsZero() {
				parts = append(parts, q.String())
			}
		}
	}
	return strings.Join(parts, " + ")
}

// ordinary is a value that a maker changes his own to: within a third, mostly within a tenth or two.
func (m *maker) ordinary(f *specdata.Fastener) float64 {
	return value(f) * math.Exp(max(-0.3, min(0.3, 0.12*m.rng.NormFloat64())))
}

// slip has a new document's value misread; the quote says what was read.
func (m *maker) slip(f *specdata.Fastener, how func(string) string) bool {
	x := value(f)
	if m.rng.IntN(2) == 0 {
		x = m.ordinary(f)
	}
	right := strconv.FormatFloat(round(x), 'f', -1, 64)
	wrong := how(right)
	y, err := strconv.ParseFloat(wrong, 64)
	return err == nil && wrong != right && m.set(f, y) && m.cite(f)
}

// wrong spoils a value as the first reader did.
func (m *maker) wrong(f *specdata.Fastener) bool {
	x := value(f)
	switch m.rng.IntN(4) {
	case 0:
		x *= 1.3558
	case 1:
		x /= 1.3558
	case 2:
		y, err := strconv.ParseFloat(swap(strconv.FormatFloat(x, 'f', -1, 64)), 64)
		if err != nil {
			return false
		}
		x = y
	default:
		y, err := strconv.ParseFloat(m.oneDigit(strconv.FormatFloat(round(x), 'f', -1, 64)), 64)
		if err != nil {
			return false
		}
		x = y
	}
	return m.set(f, x)
}

// round rounds a torque as tables print it.
func round(x float64) float64 {
	switch {
	case x >= 200:
		return 5 * math.Round(x/5)
	case x >= 20:
		return math.Round(x)
	case x >= 2:
		return math.Round(2*x) / 2
	}
	return math.Round(10*x) / 10
}

// swap changes the places of the first two digits that differ.
func swap(s string) string {
	b := []byte(s)
	for i := 0; i+1 < len(b); i++ {
		if b[i] != b[i+1] && b[i] != '.' && b[i+1] != '.' && b[i+1] != '0' {
			b[i], b[i+1] = b[i+1], b[i]
			return string(b)
		}
	}
	return s
}

// alike lists digits that are taken for each other in print and by hand.
var alike = map[byte]string{'0': "68", '1': "74", '2': "7", '3': "85", '4': "91", '5': "63", '6': "058", '7': "12", '8': "3069", '9': "48"}

// oneDigit misreads one digit for one that looks like it.
func (m *maker) oneDigit(s string) string {
	b := []byte(s)
	i := m.rng.IntN(len(b))
	options := alike[b[i]]
	if options == "" {
		return s
	}
	b[i] = options[m.rng.IntN(len(options))]
	return string(b)
}

// Kinds lists the names of the kinds, right ones first.
func Kinds() []string {
	var names []string
	for _, k := range kinds {
		names = append(names, k.name)
	}
	return slices.Clip(names)
}
