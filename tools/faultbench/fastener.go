package main

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"

	"proofload/specdata"
)

type fastenerSlip = slip[*specdata.Fastener]

// fastenerSlips lists what goes wrong when records are carried over by hand:
// units, digits, rows and columns, fields lost, variants mixed up.
func fastenerSlips() []fastenerSlip {
	return []fastenerSlip{
		scale("lbf.in-read-as-lbf.ft", "a torque twelve times too high", 12),
		scale("lbf.ft-read-as-lbf.in", "a torque twelve times too low", 1.0/12),
		scale("converted-once-too-often", "lbf·ft typed, then converted: × 1.356", 1.355818),
		scale("lbf.ft-typed-as-N.m", "lbf·ft in the N·m box: ÷ 1.356", 1/1.355818),
		scale("converted-backwards", "× 1.84", 1.838),
		scale("converted-backwards-down", "÷ 1.84", 1/1.838),
		scale("N.m-typed-as-kgf.m", "a torque 9.81 times too high", 9.80665),
		scale("kgf.m-typed-as-N.m", "a torque 9.81 times too low", 1/9.80665),
		scale("digit-doubled", "a torque ten times too high", 10),
		scale("digit-lost", "a torque ten times too low", 0.1),
		{"digits-swapped", "26 for 62", swapDigits},
		{"unit-relabelled", "the number kept, the unit exchanged", relabel},
		{"neighbour-row", "the torque of another row of the same source", neighbour},
		{"stage-lost", "the last stage dropped", loseStage},
		{"angle-lost", "torque without its angle", loseAngle},
		{"range-as-pair", "a printed range taken as torque and angle", rangeAsPair},
		{"pitch-wrong", "a pitch the diameter does not have", wrongPitch},
		{"diameter-wrong", "the next thread size", wrongDiameter},
		{"class-too-low", "the next lower bolt class", shiftClass(-1)},
		{"socket-wrong", "a hexagon of a neighbouring size", wrongSocket},
		{"reuse-flipped", "a one-time fastener marked reusable", flipReuse},
		{"lock-lost", "the lock of a locked fastener dropped", func(f *specdata.Fastener, _ source, _ *rand.Rand) (string, bool) {
			ok := f.Lock != nil
			f.Lock = nil
			return "lock dropped", ok
		}},
		{"state-lost", "ride height or ground forgotten", func(f *specdata.Fastener, _ source, _ *rand.Rand) (string, bool) {
			ok := f.Tightening.State != specdata.StateAny
			f.Tightening.State = specdata.StateAny
			return "state any", ok
		}},
		{"source-lost", "no citation", func(f *specdata.Fastener, _ source, _ *rand.Rand) (string, bool) {
			ok := f.Source != nil
			f.Source = nil
			return "citation dropped", ok
		}},
		{"source-misspelt", "a citation of nothing", func(f *specdata.Fastener, _ source, _ *rand.Rand) (string, bool) {
			if f.Source == nil {
				return "", false
			}
			f.Source.Document += "s"
			return "cites " + f.Source.Document, true
		}},
		{"vehicle-misspelt", "applies to no vehicle", func(f *specdata.Fastener, _ source, _ *rand.Rand) (string, bool) {
			f.AppliesTo[0].Vehicle += "a"
			return "applies to " + f.AppliesTo[0].Vehicle, true
		}},
		{"option-misspelt", "an option value outside the vocabulary", wrongOption},
		{"checked-by-enterer", "one pair of eyes", func(f *specdata.Fastener, _ source, _ *rand.Rand) (string, bool) {
			if f.Source == nil || f.Source.CheckedBy == "" {
				return "", false
			}
			f.Source.CheckedBy = f.Source.EnteredBy
			return "checked by the enterer", true
		}},
		{"build-end-lost", "one end of the build range dropped", loseBuild},
		{"record-doubled", "the same fastener under a second id with another value", double},
		{"pair-value-left", "one of a left and right pair changed alone", changePair},
		{"hand-flipped", "a right-hand thread marked left", func(f *specdata.Fastener, _ source, _ *rand.Rand) (string, bool) {
			if f.Thread == nil || len(f.Pairs) == 0 && f.Thread.Hand != "left" {
				return "", false
			}
			f.Thread.Hand = map[string]string{"left": "right", "right": "left"}[f.Thread.Hand]
			return "hand " + f.Thread.Hand, true
		}},
		{"engagement-short", "a tenth of the engagement", func(f *specdata.Fastener, _ source, _ *rand.Rand) (string, bool) {
			if f.Thread == nil || f.Thread.Engagement.IsZero() || f.Joint != specdata.JointClamp {
				return "", false
			}
			f.Thread.Engagement = specdata.MustQuantity(number(f.Thread.Engagement.Float("mm")/10) + " mm")
			return "engagement " + f.Thread.Engagement.String(), true
		}},
		{"impact-on-bearing", "an impact tool where it ruins a bearing", func(f *specdata.Fastener, _ source, _ *rand.Rand) (string, bool) {
			if f.Joint != specdata.JointBearing {
				return "", false
			}
			f.Tightening.Impact = "allowed"
			return "impact allowed", true
		}},
		{"tolerance-tenfold", "a tolerance ten times too wide", func(f *specdata.Fastener, _ source, _ *rand.Rand) (string, bool) {
			if f.Tightening.Tolerance.IsZero() {
				return "", false
			}
			u := f.Tightening.Tolerance.Unit().Symbol
			f.Tightening.Tolerance = specdata.MustQuantity(number(10*f.Tightening.Tolerance.Float(u)) + " " + u)
			return "tolerance " + f.Tightening.Tolerance.String(), true
		}},
	}
}

// number prints three digits, the way people write values down.
func number(v float64) string {
	s := strconv.FormatFloat(v, 'g', 3, 64)
	if strings.ContainsAny(s, "eE") {
		s = strconv.FormatFloat(v, 'f', 0, 64)
	}
	return s
}

// torqueStage gives the last torque stage, the one people type.
func torqueStage(f *specdata.Fastener) *specdata.Stage {
	if f.Tightening == nil {
		return nil
	}
	for i := len(f.Tightening.Stages) - 1; i >= 0; i-- {
		if s := &f.Tightening.Stages[i]; !s.Torque.IsZero() {
			return s
		}
	}
	return nil
}

func scale(kind, what string, by float64) fastenerSlip {
	return fastenerSlip{kind, what, func(f *specdata.Fastener, _ source, rng *rand.Rand) (string, bool) {
		s := torqueStage(f)
		if s == nil {
			return "", false
		}
		return change(s, s.Torque.Float(s.Torque.Unit().Symbol)*by, rng)
	}}
}

// change writes a torque. Half of the time the printed pair is not there, as in
// a source of one unit, so that it cannot give the slip away.
func change(s *specdata.Stage, to float64, rng *rand.Rand) (string, bool) {
	q, err := specdata.ParseQuantity(number(to) + " " + s.Torque.Unit().Symbol)
	if err != nil || q.SI() == s.Torque.SI() {
		return "", false
	}
	did := fmt.Sprintf("%s for %s", q, s.Torque)
	s.Torque = q
	if rng.IntN(2) == 0 {
		s.Also = specdata.Quantity{}
		did += ", no pair"
	}
	return did, true
}

func swapDigits(f *specdata.Fastener, _ source, rng *rand.Rand) (string, bool) {
	s := torqueStage(f)
	if s == nil {
		return "", false
	}
	d := []byte(s.Torque.Number())
	if len(d) < 2 || d[0] == d[1] || d[0] < '0' || d[1] < '1' || d[1] > '9' {
		return "", false
	}
	d[0], d[1] = d[1], d[0]
	v, err := strconv.ParseFloat(string(d), 64)
	if err != nil {
		return "", false
	}
	return change(s, v, rng)
}

func relabel(f *specdata.Fastener, _ source, _ *rand.Rand) (string, bool) {
	s := torqueStage(f)
	if s == nil {
		return "", false
	}
	to := map[string]string{"N.m": "lbf.ft", "lbf.ft": "N.m", "lbf.in": "N.m"}[s.Torque.Unit().Symbol]
	q, err := specdata.ParseQuantity(s.Torque.Number() + " " + to)
	if err != nil {
		return "", false
	}
	did := fmt.Sprintf("%s for %s", q, s.Torque)
	s.Torque = q
	return did, true
}

// neighbour takes the torque of another record of the same source that differs by
// a tenth at least.
func neighbour(f *specdata.Fastener, lib source, rng *rand.Rand) (string, bool) {
	s := torqueStage(f)
	if s == nil || f.Source == nil {
		return "", false
	}
	var rows []*specdata.Fastener
	for e := range lib.All(specdata.KindFastener) {
		o := e.Record.(*specdata.Fastener)
		if o.ID == f.ID || o.Source == nil || o.Source.Document != f.Source.Document {
			continue
		}
		if t := torqueStage(o); t != nil && (t.Torque.SI() > 1.1*s.Torque.SI() || t.Torque.SI() < 0.9*s.Torque.SI()) {
			rows = append(rows, o)
		}
	}
	if len(rows) == 0 {
		return "", false
	}
	o := torqueStage(rows[rng.IntN(len(rows))])
	did := fmt.Sprintf("%s for %s", o.Torque, s.Torque)
	s.Torque, s.Also = o.Torque, o.Also
	return did, true
}

func loseStage(f *specdata.Fastener, _ source, _ *rand.Rand) (string, bool) {
	st := f.Tightening.Stages
	if len(st) < 2 {
		return "", false
	}
	f.Tightening.Stages = st[:len(st)-1]
	return fmt.Sprintf("%d stages for %d", len(st)-1, len(st)), true
}

func loseAngle(f *specdata.Fastener, _ source, _ *rand.Rand) (string, bool) {
	n := len(f.Tightening.Stages)
	f.Tightening.Stages = slices.DeleteFunc(f.Tightening.Stages, func(s specdata.Stage) bool { return !s.Angle.IsZero() })
	f.Tightening.AngleTolerance = specdata.Quantity{}
	return "angles dropped", len(f.Tightening.Stages) < n && len(f.Tightening.Stages) > 0
}

func rangeAsPair(f *specdata.Fastener, _ source, _ *rand.Rand) (string, bool) {
	s := torqueStage(f)
	if s == nil || s.UpTo.IsZero() {
		return "", false
	}
	f.Tightening.Stages = append(f.Tightening.Stages, specdata.Stage{Angle: specdata.MustQuantity(s.UpTo.Number() + " deg")})
	s.UpTo = specdata.Quantity{}
	return "upper end as an angle", true
}

func wrongPitch(f *specdata.Fastener, _ source, _ *rand.Rand) (string, bool) {
	if f.Thread == nil {
		return "", false
	}
	d, p, ok := strings.Cut(f.Thread.Designation, "x")
	v, err := strconv.ParseFloat(p, 64)
	if !ok || err != nil {
		return "", false
	}
	f.Thread.Designation = d + "x" + number(v-0.2)
	return f.Thread.Designation, true
}

func wrongDiameter(f *specdata.Fastener, _ source, _ *rand.Rand) (string, bool) {
	next := map[string]string{"M6x1": "M8x1.25", "M8x1.25": "M6x1", "M10x1.5": "M12x1.75", "M10x1.25": "M12x1.25", "M12x1.75": "M10x1.5", "M12x1.5": "M14x1.5", "M12x1.25": "M10x1.25", "M14x1.5": "M12x1.5", "M14x2": "M16x2", "M16x2": "M14x2", "M16x1.5": "M14x1.5"}
	if f.Thread == nil || next[f.Thread.Designation] == "" {
		return "", false
	}
	did := next[f.Thread.Designation] + " for " + f.Thread.Designation
	f.Thread.Designation = next[f.Thread.Designation]
	return did, true
}

func shiftClass(by int) func(*specdata.Fastener, source, *rand.Rand) (string, bool) {
	classes := []string{"4.8", "5.8", "8.8", "10.9", "12.9"}
	return func(f *specdata.Fastener, _ source, _ *rand.Rand) (string, bool) {
		if f.Strength == nil {
			return "", false
		}
		i := slices.Index(classes, f.Strength.Bolt)
		if i < 0 || i+by < 0 || i+by >= len(classes) {
			return "", false
		}
		f.Strength.Bolt = classes[i+by]
		return classes[i+by] + " for " + classes[i], true
	}
}

func wrongSocket(f *specdata.Fastener, _ source, rng *rand.Rand) (string, bool) {
	if f.Drive == nil || f.Drive.Special {
		return "", false
	}
	for _, d := range []*string{&f.Drive.Head, &f.Drive.Nut} {
		size, ok := strings.CutPrefix(*d, "hex ")
		mm, isMM := strings.CutSuffix(size, " mm")
		v, err := strconv.Atoi(mm)
		if !ok || !isMM || err != nil {
			continue
		}
		was := *d
		*d = fmt.Sprintf("hex %d mm", v+4+rng.IntN(3))
		return *d + " for " + was, true
	}
	return "", false
}

func flipReuse(f *specdata.Fastener, _ source, _ *rand.Rand) (string, bool) {
	if f.Reuse == nil || f.Reuse.Rule != "replace" {
		return "", false
	}
	f.Reuse = &specdata.Reuse{Rule: "reuse"}
	return "reuse for replace", true
}

func wrongOption(f *specdata.Fastener, _ source, _ *rand.Rand) (string, bool) {
	for i := range f.AppliesTo {
		for k, vs := range f.AppliesTo[i].Where {
			if len(f.AppliesTo[i].Where) == 1 {
				f.AppliesTo[i].Where = map[string][]string{k: {vs[0] + "x"}}
				return k + " " + vs[0] + "x", true
			}
		}
	}
	return "", false
}

func loseBuild(f *specdata.Fastener, _ source, _ *rand.Rand) (string, bool) {
	for i := range f.AppliesTo {
		if b := f.AppliesTo[i].Built; !b.Whole() {
			f.AppliesTo[i].Built = nil
			return "build range dropped", true
		}
	}
	return "", false
}

func double(f *specdata.Fastener, _ source, rng *rand.Rand) (string, bool) {
	s := torqueStage(f)
	if s == nil {
		return "", false
	}
	f.ID = strings.TrimRight(f.ID[:min(len(f.ID), specdata.MaxID-2)], "-") + "-2"
	return change(s, s.Torque.Float(s.Torque.Unit().Symbol)*1.2, rng)
}

func changePair(f *specdata.Fastener, _ source, rng *rand.Rand) (string, bool) {
	s := torqueStage(f)
	if s == nil || !slices.ContainsFunc(f.Pairs, func(p specdata.Pair) bool { return p.As == "left-right" }) {
		return "", false
	}
	return change(s, s.Torque.Float(s.Torque.Unit().Symbol)*1.15, rng)
}

// harmless are edits that change no meaning.
func harmless() []fastenerSlip {
	return []fastenerSlip{
		{"note added", "", func(f *specdata.Fastener, _ source, _ *rand.Rand) (string, bool) {
			f.Note = strings.TrimSpace(f.Note + " Looked at again without a change.")
			return "note", true
		}},
		{"printed pair dropped", "", func(f *specdata.Fastener, _ source, _ *rand.Rand) (string, bool) {
			s := torqueStage(f)
			if s == nil || s.Also.IsZero() {
				return "", false
			}
			s.Also = specdata.Quantity{}
			return "pair", true
		}},
		{"checked again by a third person", "", func(f *specdata.Fastener, _ source, _ *rand.Rand) (string, bool) {
			if f.Source == nil {
				return "", false
			}
			f.Source.CheckedBy = "t.quill"
			return "checker", true
		}},
	}
}
