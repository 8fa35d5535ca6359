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
	"proofload/specdata/wording"
)

func jointCommand() *command {
	return &command{
		name: "joint", args: "THREAD [CLASS] --torque Q", summary: "work out clamp load and yield of a bolted joint",
		examples: []string{
			`proofload joint M10x1.25 10.9 --torque "62 N.m"`,
			`proofload joint M12x1.5 10.9 --torque "40 N.m" --angle "90 deg" --grip "30 mm"`,
			`proofload joint 7/16-20 "grade 8" --torque "60 lbf.ft" --surface oiled`,
			`proofload joint M12x1.5 10.9 --torque "110 N.m" --kind wheel --into steel --engagement "16 mm" --seat "cone 60 deg" --seat-mean "16 mm"`,
			`proofload joint M10x1 5.8 --torque "32 N.m" --kind banjo --bore "5 mm"`,
			`proofload joint M12x1.5 10.9 --torque "110 N.m" --lever "400 mm" --reach "40 mm"`,
		},
		notes: []string{
			"Every number carries its unit; none is guessed. What is not given is assumed and marked so,\nor is named under \"not checked\". The exit code does not judge the joint: 0 when it was worked out.",
			"With --reach (and the wrench's --lever) or --gain it says what to set on the wrench through a\ncrow-foot, an extension adapter or a multiplier.",
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
			fs.StringVar(&q.drive, "drive", "", "what the tool fits, like \"hex 18 mm\" or \"hex-key 8 mm\"; decides the bearing diameter")
			fs.BoolVar(&q.flange, "flange", false, "the part that turns has a flange")
			fs.StringVar(&q.into, "into", "nut", "what the thread goes into: nut, steel, cast-iron, aluminium, magnesium, brass, plastic, insert")
			fs.StringVar(&q.engagement, "engagement", "", "length of thread engaged, like \"18 mm\"")
			fs.StringVar(&q.grip, "grip", "", "clamped length, like \"30 mm\"; an angle needs it")
			fs.StringVar(&q.nut, "nut", "", "class of the nut, like 10")
			fs.StringVar(&q.seat, "seat", "", "what the head or nut sits on: flat, flange, washer, \"cone 60 deg\" or \"ball 14 mm\"")
			fs.StringVar(&q.mean, "seat-mean", "", "mean diameter of contact of a cone or ball, like \"16 mm\"")
			fs.StringVar(&q.outer, "seat-outer", "", "outer diameter of the face or washer that presses on the part")
			fs.StringVar(&q.against, "against", "", "material that the seat presses on: steel, cast-iron, aluminium, magnesium, brass, plastic")
			fs.StringVar(&q.clamped, "clamped", "", "material of the clamped parts, in the same words")
			fs.StringVar(&q.width, "clamped-width", "", "outer diameter of a sleeve or boss around the bolt")
			fs.StringVar(&q.rise, "rise", "", "how much warmer the joint runs than it is tightened, like \"80 K\"")
			fs.BoolVar(&q.painted, "painted", false, "paint lies in a joint face")
			fs.StringVar(&q.bore, "bore", "", "bore through a hollow piece, like \"5 mm\"")
			fs.StringVar(&q.neck, "neck", "", "least diameter of the shank, where it is under that of the thread")
			fs.StringVar(&q.length, "length", "", "length of the bolt under its head")
			fs.StringVar(&q.hole, "hole", "", "depth of full thread in a blind hole")
			fs.StringVar(&q.drag, "drag", "", "prevailing torque that the torque includes, like \"2 N.m\"")
			fs.StringVar(&q.addDrag, "add-drag", "", "prevailing torque that is added to the torque at the wrench")
			fs.StringVar(&q.lever, "lever", "", "length of your torque wrench from the middle of its grip to its square")
			fs.StringVar(&q.reach, "reach", "", "length of an adapter from the square to the middle of the fastener")
			fs.StringVar(&q.adapterAngle, "adapter-angle", "", "how the adapter stands to the wrench, like \"90 deg\"; in line where left out")
			fs.StringVar(&q.gain, "gain", "", "what a torque multiplier gives for 100 % put in, like \"1850 %\"")
			asJSON := fs.Bool("json", false, "print the verdict as JSON")
			return func(_ context.Context, e *env, args []string) error {
				if len(args) == 1 {
					args = append(args, "")
				}
				if len(args) != 2 {
					return usagef("joint takes a thread and the bolt's class where it has one, found %d arguments; write it like: proofload joint M10x1.25 10.9 --torque \"62 N.m\"", len(args))
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
				set, err := q.setting(&v)
				if err != nil {
					return err
				}
				if *asJSON {
					return printVerdict(e, &v, set)
				}
				if set != nil {
					fmt.Fprintf(e.stdout, "set on your wrench: %s (%s)\n\n", wording.NewtonMetres(set.Torque), set.How)
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
	seat, mean, outer, against, clamped, width, rise, bore, neck, length, hole            string
	drag, addDrag, lever, reach, adapterAngle, gain                                       string
	flange, painted                                                                       bool
}

// setting is what to set on the wrench through the adapter or multiplier given, nil
// where there is none.
func (q *jointQuery) setting(v *joint.Verdict) (*joint.Set, error) {
	if q.reach == "" && q.adapterAngle == "" && q.gain == "" {
		if q.lever != "" {
			return nil, usagef("flag --lever: a wrench alone is set to the value itself; give the adapter's --reach too")
		}
		return nil, nil
	}
	if v.Input.Torque <= 0 {
		return nil, usagef("what to set on the wrench needs --torque")
	}
	wrench, through := &specdata.Tool{Title: "the torque wrench"}, &specdata.Tool{Title: "the adapter", Kind: "adapter"}
	if err := quantities([]quantityFlag{
		{"lever", q.lever, []specdata.Dimension{specdata.Length}, &wrench.Lever},
		{"reach", q.reach, []specdata.Dimension{specdata.Length}, &through.Reach},
		{"adapter-angle", q.adapterAngle, []specdata.Dimension{specdata.Angle}, &through.Angle},
		{"gain", q.gain, []specdata.Dimension{specdata.Fraction}, &through.Gain},
	}); err != nil {
		return nil, err
	}
	torque := v.Input.Torque
	if v.Input.AddHigh > 0 {
		torque += (v.Input.AddLow + v.Input.AddHigh) / 2
	}
	set, err := joint.SettingThrough(wrench, through, torque)
	if err != nil {
		return nil, usagef("%v", err)
	}
	return &set, nil
}

type quantityFlag struct {
	name, text string
	want       []specdata.Dimension
	into       *specdata.Quantity
}

// quantities reads flags that hold a number with its unit.
func quantities(flags []quantityFlag) error {
	for _, flag := range flags {
		if flag.text == "" {
			continue
		}
		q, err := specdata.ParseQuantity(flag.text)
		if err != nil {
			return usagef("flag --%s: %v", flag.name, err)
		}
		if !slices.Contains(flag.want, q.Dimension()) {
			return usagef("flag --%s: %s is a %s; it takes a %s", flag.name, flag.text, q.Dimension(), flag.want[0])
		}
		if q.Sign() <= 0 {
			return usagef("flag --%s: %s is not above zero", flag.name, flag.text)
		}
		*flag.into = q
	}
	return nil
}

// sits reads what the head or nut sits on.
func (q *jointQuery) sits(f *specdata.Fastener) error {
	if q.seat == "" && (q.mean != "" || q.outer != "") {
		return usagef("flags --seat-mean and --seat-outer need --seat, which says what the part sits on")
	}
	if q.seat != "" || q.against != "" {
		f.Seat = &specdata.Seat{Form: "flat", Against: q.against}
		if q.flange {
			f.Seat.Form = "flange"
		}
	}
	if q.seat != "" {
		form, size, _ := strings.Cut(q.seat, " ")
		f.Seat.Form = form
		var err error
		switch {
		case form != "flat" && form != "flange" && form != "washer" && form != "cone" && form != "ball":
			return usagef("flag --seat: %q is no seat; allowed: flat, flange, washer, \"cone 60 deg\", \"ball 14 mm\"", q.seat)
		case size != "" && form != "cone" && form != "ball":
			return usagef("flag --seat: %s takes no size; write --seat-outer for its outer diameter", form)
		case size == "" && (form == "cone" || form == "ball"):
			return usagef("flag --seat: %s has no size; write the whole angle of a cone, \"cone 60 deg\", or the radius of a ball, \"ball 14 mm\"", form)
		case form == "cone":
			err = quantities([]quantityFlag{{"seat", size, []specdata.Dimension{specdata.Angle}, &f.Seat.Angle}})
		case form == "ball":
			err = quantities([]quantityFlag{{"seat", size, []specdata.Dimension{specdata.Length}, &f.Seat.Radius}})
		}
		if err != nil {
			return err
		}
		if form == "flange" {
			f.Drive.Flange = true
		}
	}
	if q.clamped != "" || q.width != "" || q.rise != "" || q.painted {
		f.Clamped = &specdata.Clamped{Of: q.clamped, Painted: q.painted}
	}
	for _, m := range []struct{ flag, name string }{{"against", q.against}, {"clamped", q.clamped}} {
		if _, ok := joint.ClampedOf(m.name); m.name != "" && !ok {
			return usagef("flag --%s: %q is no material here; allowed: steel, cast-iron, aluminium, magnesium, brass, plastic", m.flag, m.name)
		}
	}
	flags := []quantityFlag{}
	if f.Seat != nil {
		flags = append(flags, quantityFlag{"seat-mean", q.mean, []specdata.Dimension{specdata.Length}, &f.Seat.Mean}, quantityFlag{"seat-outer", q.outer, []specdata.Dimension{specdata.Length}, &f.Seat.Outer})
	}
	if f.Clamped != nil {
		flags = append(flags, quantityFlag{"clamped-width", q.width, []specdata.Dimension{specdata.Length}, &f.Clamped.Width}, quantityFlag{"rise", q.rise, []specdata.Dimension{specdata.Warming}, &f.Clamped.Rise})
	}
	return quantities(flags)
}

// fastener makes a record of the query, so that the command line and the rules
// judge in one way.
func (q *jointQuery) fastener(thread, class string) (*specdata.Fastener, error) {
	t, err := joint.ParseThread(thread)
	if err != nil {
		return nil, usagef("%v", err)
	}
	if class != "" {
		if _, err := joint.BoltGrade(class, t.Major); err != nil {
			return nil, usagef("%v", err)
		}
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
	lengths := []specdata.Dimension{specdata.Length}
	torques := []specdata.Dimension{specdata.Torque}
	var drag specdata.Quantity
	if q.drag != "" && q.addDrag != "" {
		return nil, usagef("flags --drag and --add-drag exclude each other: the torque includes the prevailing torque, or it is added")
	}
	if err := quantities([]quantityFlag{
		{"torque", q.torque, torques, &torque},
		{"angle", q.angle, []specdata.Dimension{specdata.Angle}, &angle},
		{"tolerance", q.tolerance, []specdata.Dimension{specdata.Fraction}, &f.Tightening.Tolerance},
		{"engagement", q.engagement, lengths, &f.Thread.Engagement},
		{"grip", q.grip, lengths, &f.Thread.Grip},
		{"bore", q.bore, lengths, &f.Thread.Bore},
		{"neck", q.neck, lengths, &f.Thread.Neck},
		{"length", q.length, lengths, &f.Thread.Length},
		{"hole", q.hole, lengths, &f.Thread.Hole},
		{"drag", q.drag, torques, &drag},
		{"add-drag", q.addDrag, torques, &drag},
	}); err != nil {
		return nil, err
	}
	switch {
	case q.drag != "":
		f.Tightening.Drag, f.Tightening.DragTorque = "included", drag
	case q.addDrag != "":
		f.Tightening.Drag, f.Tightening.DragTorque = "add", drag
	}
	if err := q.sits(f); err != nil {
		return nil, err
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
	// Outside is what no verdict covers.
	Outside []string `json:"not_part_of_this_answer"`
	// Set is what to set on the wrench through an adapter or a multiplier.
	Set *settingJSON `json:"set_on_wrench,omitempty"`
}

type settingJSON struct {
	NewtonMetres float64 `json:"newton_metres"`
	Text         string  `json:"text"`
	How          string  `json:"how"`
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

func printVerdict(e *env, v *joint.Verdict, set *joint.Set) error {
	out := verdictJSON{Class: v.Class.String(), Summary: v.Summary(), Arithmetic: []lineJSON{}, NotChecked: []notCheckedJSON{}, Outside: joint.Outside}
	if set != nil {
		out.Set = &settingJSON{set.Torque, wording.NewtonMetres(set.Torque), set.How}
	}
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
