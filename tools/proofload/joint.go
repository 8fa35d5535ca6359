package main

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/spf13/pflag"

	"proofload/specdata"
	"proofload/specdata/joint"
)

func jointCommand() *command {
	return &command{
		name: "joint", args: "THREAD CLASS --torque Q", summary: "work out clamp load and yield of a bolted joint",
		examples: []string{
			`proofload joint M10x1.25 10.9 --torque "62 N.m"`,
			`proofload joint M12x1.5 10.9 --torque "40 N.m" --angle "90 deg" --grip "30 mm"`,
			`proofload joint 7/16-20 "grade 8" --torque "60 lbf.ft" --surface oiled`,
			`proofload joint M14x1.5 8.8 --torque "90 N.m" --kind wheel --into aluminium --engagement "20 mm"`,
		},
		notes: []string{
			"Every number carries its unit; none is guessed. What is not given is assumed and marked so,\nor is named under \"not checked\". The exit code does not judge the joint: 0 when it was worked out.",
			"This is arithmetic with published formulas and friction bands, not a specification.\n" + disclaimer,
		},
		setup: func(fs *pflag.FlagSet) action {
			var q jointQuery
			fs.StringVar(&q.torque, "torque", "", "the torque, or the snug torque before an angle, like \"62 N.m\"")
			fs.StringVar(&q.angle, "angle", "", "the angle that follows, like \"90 deg\"")
			fs.StringVar(&q.tolerance, "tolerance", "", "about the torque, like \"10 %\"")
			fs.StringVar(&q.kind, "kind", "clamp", "what the fastener does there; decides which limits apply")
			fs.StringVar(&q.surface, "surface", "", "condition of thread and seat: "+strings.Join(specdata.SurfaceConditions, ", "))
			fs.StringVar(&q.friction, "friction", "", "a friction band of its own, like 0.10..0.14")
			fs.StringVar(&q.drive, "drive", "", "what the tool fits, like \"hex 18 mm\" or \"hex-key 8 mm\"; gives the bearing diameter")
			fs.BoolVar(&q.flange, "flange", false, "the part that turns has a flange")
			fs.StringVar(&q.into, "into", "nut", "what the thread goes into: nut, steel, cast-iron, aluminium, magnesium, brass, plastic, insert")
			fs.StringVar(&q.engagement, "engagement", "", "length of thread engaged, like \"18 mm\"")
			fs.StringVar(&q.grip, "grip", "", "clamped length, like \"30 mm\"; an angle needs it")
			fs.StringVar(&q.nut, "nut", "", "class of the nut, like 10")
			asJSON := fs.Bool("json", false, "print the verdict as JSON")
			return func(_ context.Context, e *env, args []string) error {
				if len(args) != 2 {
					return usagef("joint takes a thread and a class, found %d arguments; write it like: proofload joint M10x1.25 10.9 --torque \"62 N.m\"", len(args))
				}
				f, err := q.fastener(args[0], args[1])
				if err != nil {
					return err
				}
				in, not := joint.FromFastener(f)
				if len(not) > 0 {
					return usagef("%s: %s", not[0].Missing, not[0].Why)
				}
				v := joint.Judge(in)
				if *asJSON {
					return printVerdict(e, &v)
				}
				_, err = fmt.Fprint(e.stdout, v.Text(), "\n", disclaimer)
				return err
			}
		},
	}
}

// jointQuery is the flags as typed.
type jointQuery struct {
	torque, angle, tolerance, kind, surface, friction, drive, into, engagement, grip, nut string
	flange                                                                                bool
}

// fastener makes a record of the query, so that the command line and the rules
// judge in one way.
func (q *jointQuery) fastener(thread, class string) (*specdata.Fastener, error) {
	t, err := joint.ParseThread(thread)
	if err != nil {
		return nil, usagef("%v", err)
	}
	if _, err := joint.BoltGrade(class, t.Major); err != nil {
		return nil, usagef("%v", err)
	}
	f := &specdata.Fastener{
		Joint:      specdata.JointKind(q.kind),
		Thread:     &specdata.Thread{Designation: thread, Into: q.into},
		Strength:   &specdata.Strength{Bolt: class, Nut: q.nut},
		Drive:      &specdata.Drive{Turn: "head", Head: q.drive, Flange: q.flange},
		Tightening: &specdata.Tightening{},
	}
	if !slices.Contains(specdata.JointKinds, f.Joint) {
		kinds := make([]string, len(specdata.JointKinds))
		for i, k := range specdata.JointKinds {
			kinds[i] = string(k)
		}
		return nil, usagef("flag --kind: %q is no kind of joint%s; allowed: %v", q.kind, specdata.DidYouMean(q.kind, slices.Values(kinds)), kinds)
	}
	if q.surface != "" || q.friction != "" {
		f.Surface = &specdata.Surface{Condition: q.surface, Friction: q.friction}
	}
	var torque, angle specdata.Quantity
	for _, flag := range []struct {
		name, text string
		want       specdata.Dimension
		into       *specdata.Quantity
	}{
		{"torque", q.torque, specdata.Torque, &torque},
		{"angle", q.angle, specdata.Angle, &angle},
		{"tolerance", q.tolerance, specdata.Fraction, &f.Tightening.Tolerance},
		{"engagement", q.engagement, specdata.Length, &f.Thread.Engagement},
		{"grip", q.grip, specdata.Length, &f.Thread.Grip},
	} {
		if flag.text == "" {
			continue
		}
		if *flag.into, err = specdata.ParseQuantity(flag.text); err != nil {
			return nil, usagef("flag --%s: %v", flag.name, err)
		}
		if d := flag.into.Dimension(); d != flag.want {
			return nil, usagef("flag --%s: %s is a %s; it takes a %s", flag.name, flag.text, d, flag.want)
		}
		if flag.into.Sign() <= 0 {
			return nil, usagef("flag --%s: %s is not above zero", flag.name, flag.text)
		}
	}
	if torque.IsZero() && angle.IsZero() {
		return nil, usagef("joint needs --torque or --angle; write the number with its unit, like --torque \"62 N.m\"")
	}
	if !torque.IsZero() {
		f.Tightening.Stages = append(f.Tightening.Stages, specdata.Stage{Torque: torque})
	}
	if !angle.IsZero() {
		f.Tightening.Stages = append(f.Tightening.Stages, specdata.Stage{Angle: angle})
	}
	return f, nil
}

type verdictJSON struct {
	Class      string           `json:"class"`
	Summary    string           `json:"summary"`
	Arithmetic []lineJSON       `json:"arithmetic"`
	NotChecked []notCheckedJSON `json:"not_checked"`
}

type lineJSON struct {
	Name  string   `json:"name"`
	Value *float64 `json:"value,omitempty"`
	Unit  string   `json:"unit,omitempty"`
	Text  string   `json:"text"`
	From  string   `json:"from,omitempty"`
}

type notCheckedJSON struct {
	Check   string `json:"check"`
	Missing string `json:"missing,omitempty"`
	Why     string `json:"why"`
}

func printVerdict(e *env, v *joint.Verdict) error {
	out := verdictJSON{Class: v.Class.String(), Summary: v.Summary(), Arithmetic: []lineJSON{}, NotChecked: []notCheckedJSON{}}
	for _, l := range v.Lines() {
		line := lineJSON{Name: l.Name, Unit: l.Unit, Text: l.Text, From: l.From}
		if !math.IsNaN(l.Value) {
			line.Value = &l.Value
		}
		out.Arithmetic = append(out.Arithmetic, line)
	}
	for _, n := range v.NotChecked {
		out.NotChecked = append(out.NotChecked, notCheckedJSON{string(n.Check), n.Missing, n.Why})
	}
	enc := json.NewEncoder(e.stdout)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	return enc.Encode(out)
}
