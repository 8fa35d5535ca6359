package whom_test

import (
	"errors"
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/library"
	"proofload/specdata/whom"
)

func demoLibrary(t *testing.T) *library.Memory {
	t.Helper()
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	return lib
}

func TestForAndNot(t *testing.T) {
	lib := demoLibrary(t)
	for _, c := range []struct {
		name    string
		clauses []specdata.Applies
		side    string
		text    string
		not     string
	}{
		{"everything of a vehicle", []specdata.Applies{{Vehicle: "dray-2"}}, "", "Kettleby Dray 2.2", "any other vehicle"},
		{"an option and a build", []specdata.Applies{{Vehicle: "quill-1", Where: map[string][]string{"rear_brake": {"disc"}}, Built: &specdata.Built{To: "2019-W26"}}}, "left",
			"Vessary Quill 1.4, rear brake disc, built up to 2019-W26, left side", "rear brake drum; built from 2019-W27; the right side; any other vehicle"},
		{"both sides", []specdata.Applies{{Vehicle: "dray-2", Where: map[string][]string{"brake_size": {"b16"}}}}, "both",
			"Kettleby Dray 2.2, brake size b16, both sides", "brake size b17; any other vehicle"},
		{"a side of its own", []specdata.Applies{{Vehicle: "quill-1", Side: specdata.SideRight}}, "", "Vessary Quill 1.4, right side", "the left side; any other vehicle"},
		{"two clauses that leave one variant out", []specdata.Applies{
			{Vehicle: "quill-1", Where: map[string][]string{"rear_brake": {"disc"}}, Built: &specdata.Built{To: "2019-W26"}},
			{Vehicle: "quill-1", Where: map[string][]string{"rear_brake": {"drum"}}},
		}, "", "Vessary Quill 1.4, rear brake disc, built up to 2019-W26; or Vessary Quill 1.4, rear brake drum", "rear brake disc, built from 2019-W27; any other vehicle"},
		{"two vehicles", []specdata.Applies{{Vehicle: "quill-1", Where: map[string][]string{"rear_brake": {"disc"}}}, {Vehicle: "dray-2"}}, "",
			"Vessary Quill 1.4, rear brake disc; or Kettleby Dray 2.2", "Vessary Quill 1.4 with rear brake drum; any other vehicle"},
		{"a vehicle that is not there", []specdata.Applies{{Vehicle: "gone-1"}}, "", "gone-1", "any other vehicle"},
		{"nothing", nil, "", "no vehicle", "any other vehicle"},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := whom.Of(lib, c.clauses).OnSide(c.side)
			if f.Text() != c.text || f.Not() != c.not {
				t.Errorf("FOR %s\nNOT %s\nwant\nFOR %s\nNOT %s", f.Text(), f.Not(), c.text, c.not)
			}
		})
	}
}

// Pick answers like a resolution: one variant, a question, or a refusal.
func TestPick(t *testing.T) {
	lib := demoLibrary(t)
	opt := func(os ...string) whom.Stated { return whom.Stated{Options: os} }
	for _, c := range []struct {
		name, procedure string
		asked           whom.Asked
		variant, err    string
	}{
		{"nothing said: whoever prints it says what it is for", "quill-1-rear-hub-bearing", whom.Asked{}, "quill-1", ""},
		{"the other brake", "quill-1-rear-hub-bearing", whom.Asked{Stated: opt("rear_brake=drum")}, "", "is not for this vehicle"},
		{"the brake alone leaves the build open", "quill-1-rear-hub-bearing", whom.Asked{Stated: opt("rear_brake=disc")}, "", "When was the vehicle built?"},
		{"all that decides", "quill-1-rear-hub-bearing", whom.Asked{Stated: whom.Stated{Options: []string{"rear_brake=disc"}, Built: "2018-W10"}}, "quill-1", ""},
		{"a later build", "quill-1-rear-hub-bearing", whom.Asked{Stated: whom.Stated{Options: []string{"rear_brake=disc"}, Built: "2020-W01"}}, "", "is not for this vehicle"},
		{"a later build, the brake unknown", "quill-1-rear-hub-bearing", whom.Asked{Stated: whom.Stated{Built: "2020-W01"}}, "", "is not for this vehicle"},
		{"no such value", "quill-1-rear-hub-bearing", whom.Asked{Stated: opt("rear_brake=nonsense")}, "", `option rear_brake has no value "nonsense" on quill-1; allowed: disc, drum`},
		{"no such option", "quill-1-rear-hub-bearing", whom.Asked{Stated: opt("foo=bar")}, "", `option key "foo" is unknown on quill-1`},
		{"no option at all", "quill-1-rear-hub-bearing", whom.Asked{Stated: opt("disc")}, "", "write key=value"},
		{"not a build", "quill-1-rear-hub-bearing", whom.Asked{Stated: whom.Stated{Built: "yesterday"}}, "", "write 2019-06-30"},
		{"another vehicle", "quill-1-rear-hub-bearing", whom.Asked{Vehicle: "dray-2"}, "", "asked for Kettleby Dray 2.2"},
		{"an unknown vehicle", "quill-1-rear-hub-bearing", whom.Asked{Vehicle: "quil-1"}, "", `did you mean "quill-1"`},
		{"the other brake size", "dray-2-front-discs-and-pads", whom.Asked{Stated: opt("brake_size=b17")}, "", "is not for this vehicle"},
		{"the right brake size", "dray-2-front-discs-and-pads", whom.Asked{Stated: opt("brake_size=b16")}, "dray-2", ""},
		{"a step asks for an option", "brindle-3-rear-axle-cover-reseal", whom.Asked{}, "", "Which axle does the vehicle have"},
		{"and is answered", "brindle-3-rear-axle-cover-reseal", whom.Asked{Stated: opt("axle=open")}, "brindle-3, axle open", ""},
		{"a number with a false check digit or form", "quill-1-rear-hub-bearing", whom.Asked{VIN: "123"}, "", "vin"},
	} {
		t.Run(c.name, func(t *testing.T) {
			v, err := whom.One(lib, library.Procedure(lib, c.procedure), c.asked)
			switch {
			case c.err == "" && (err != nil || v.String() != c.variant):
				t.Errorf("%v, %v; want %s", v, err, c.variant)
			case c.err != "" && (err == nil || !strings.Contains(err.Error(), c.err)):
				t.Errorf("%v, %v; want an error with %q", v, err, c.err)
			}
		})
	}
}

// A number alone names the vehicle, and not its variant.
func TestPickByVIN(t *testing.T) {
	lib := demoLibrary(t)
	vin := library.Vehicle(lib, "quill-1").VIN.Example
	p := library.Procedure(lib, "quill-1-rear-hub-bearing")
	var open *whom.Undecided
	if _, err := whom.One(lib, p, whom.Asked{VIN: vin}); !errors.As(err, &open) || len(open.Questions) != 2 {
		t.Errorf("%v; want questions for brake and build", err)
	}
	if _, err := whom.One(lib, library.Procedure(lib, "dray-2-rear-silencer"), whom.Asked{VIN: vin}); err == nil || !strings.Contains(err.Error(), "is not for this vehicle") {
		t.Errorf("a number of another vehicle: %v", err)
	}
	if _, err := whom.One(lib, p, whom.Asked{VIN: vin, Vehicle: "dray-2"}); err == nil || !strings.Contains(err.Error(), "leave one of them out") {
		t.Errorf("a number and another vehicle: %v", err)
	}
}

func TestSideOf(t *testing.T) {
	lib := demoLibrary(t)
	for _, c := range []struct{ procedure, side, want, err string }{
		{"quill-1-rear-hub-bearing", "left", "left", ""},
		{"quill-1-rear-hub-bearing", "", "", "left or right?"},
		{"quill-1-rear-hub-bearing", "lft", "", "allowed: left, right"},
		{"dray-2-front-discs-and-pads", "", "both", ""},
		{"dray-2-front-discs-and-pads", "left", "", "both sides"},
		{"pell-1-cylinder-head-refit", "left", "", "takes no side"},
		{"pell-1-cylinder-head-refit", "", "", ""},
	} {
		got, err := whom.SideOf(lib, library.Procedure(lib, c.procedure), c.side)
		if got != c.want || (err == nil) != (c.err == "") || err != nil && !strings.Contains(err.Error(), c.err) {
			t.Errorf("%s %q: %q, %v; want %q, %q", c.procedure, c.side, got, err, c.want, c.err)
		}
	}
}

func TestMoment(t *testing.T) {
	for _, c := range []struct {
		m             whom.Moment
		short, banner string
	}{
		{whom.Moment{}, "", ""},
		{whom.Moment{Position: 5, Newest: 5}, "position 5", ""},
		{whom.Moment{Position: 1, Newest: 5}, "OLD: position 1 of 5", "OLD: as of position 1. Unchanged up to position 5."},
		{whom.Moment{Position: 1, Newest: 5, Changed: []string{"x"}}, "OLD: position 1 of 5, changed since", "OLD: as of position 1. CHANGED SINCE – do not work to this."},
	} {
		if c.m.Short() != c.short || c.m.Banner() != c.banner {
			t.Errorf("%+v: %q, %q", c.m, c.m.Short(), c.m.Banner())
		}
	}
}
