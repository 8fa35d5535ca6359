package specdata_test

import (
	"testing"

	"pgregory.net/rapid"

	"proofload/specdata"
)

var car = &specdata.Vehicle{
	Head:    specdata.Head{Kind: specdata.KindVehicle, ID: "tansy-2"},
	Built:   &specdata.Built{From: "2014-01-06", To: "2022-12-16"},
	Options: map[string][]string{"engine": {"p12", "d15"}, "rear_brake": {"disc", "drum"}},
}

func clause(builds string, where ...string) specdata.Applies {
	a := specdata.Applies{Vehicle: "tansy-2", Built: built(builds)}
	for i := 0; i < len(where); i += 2 {
		if a.Where == nil {
			a.Where = map[string][]string{}
		}
		a.Where[where[i]] = append(a.Where[where[i]], where[i+1])
	}
	return a
}

func TestUncovered(t *testing.T) {
	for _, c := range []struct {
		name string
		a    specdata.Applies
		by   []specdata.Applies
		want string
	}{
		{"itself", clause("..2019-W26"), []specdata.Applies{clause("..2019-W26")}, ""},
		{"wider", clause("2016-W01..2019-W26", "engine", "p12"), []specdata.Applies{clause("")}, ""},
		{"nothing", clause("2016-W01..2016-W02"), nil, "tansy-2, 2016-W01 to 2016-W02"},
		{"two halves", clause(""), []specdata.Applies{clause("..2019-W26"), clause("2019-W27..")}, ""},
		{"week between", clause(""), []specdata.Applies{clause("..2019-W26"), clause("2019-W28..")}, "tansy-2, 2019-W27"},
		{"both brakes", clause(""), []specdata.Applies{clause("", "rear_brake", "disc"), clause("", "rear_brake", "drum")}, ""},
		{"one brake", clause(""), []specdata.Applies{clause("", "rear_brake", "disc")}, "tansy-2, rear_brake drum, 2014-01-06 to 2022-12-16"},
		{"one brake asked", clause("", "rear_brake", "disc"), []specdata.Applies{clause("", "rear_brake", "disc")}, ""},
		{"brake of some builds", clause("", "engine", "d15"), []specdata.Applies{clause("..2019-W26", "rear_brake", "disc"), clause("", "rear_brake", "drum"), clause("2019-W27..", "engine", "d15")}, ""},
		{"open end is the vehicle's", clause("2016-W01.."), []specdata.Applies{clause("2015-W01..2022-12-16")}, ""},
		{"whole vehicle named by its ends", clause(""), []specdata.Applies{clause("2014-01-06..2022-12-16")}, ""},
		{"other vehicle", clause("2016-W01..2016-W02"), []specdata.Applies{{Vehicle: "tansy-3"}}, "tansy-2, 2016-W01 to 2016-W02"},
		{"numbers cannot be told", clause("..2019-W26"), []specdata.Applies{clause("..no 400")}, ""},
		{"unknown option cannot be told", clause(""), []specdata.Applies{clause("", "gearbox", "manual")}, ""},
	} {
		rest, ok := c.a.Uncovered(c.by, car)
		if got := map[bool]string{true: rest.String()}[ok]; got != c.want {
			t.Errorf("%s: uncovered is %q, want %q", c.name, got, c.want)
		}
	}
	if _, ok := clause("").Uncovered(nil, nil); ok {
		t.Error("without the vehicle nothing can be told")
	}
}

// Covering grows: one more clause never uncovers anything, and a clause covers itself.
func TestUncoveredIsMonotone(t *testing.T) {
	draw := rapid.Custom(func(t *rapid.T) specdata.Applies {
		a := clause(rapid.SampledFrom([]string{"", "..2019-W26", "2019-W27..", "2018-W10..2020-W10", "2016-01-01..2016-12-31"}).Draw(t, "builds"))
		a.Where = map[string][]string{}
		for key, values := range map[string][]string{"engine": car.Options["engine"], "rear_brake": car.Options["rear_brake"]} {
			if n := rapid.IntRange(0, 2).Draw(t, key); n < 2 {
				a.Where[key] = values[n : n+1]
			}
		}
		return a
	})
	rapid.Check(t, func(t *rapid.T) {
		a, by, more := draw.Draw(t, "a"), rapid.SliceOfN(draw, 0, 4).Draw(t, "by"), draw.Draw(t, "more")
		if _, open := a.Uncovered(append(by[:len(by):len(by)], a), car); open {
			t.Fatalf("%s is not covered by itself", a)
		}
		_, before := a.Uncovered(by, car)
		if rest, after := a.Uncovered(append(by[:len(by):len(by)], more), car); after && !before {
			t.Fatalf("%s uncovers %s", more, rest)
		}
	})
}

func TestAndAndRestrict(t *testing.T) {
	a := clause("..2019-W26", "engine", "p12", "engine", "d15")
	b := clause("2019-W20..", "engine", "d15", "rear_brake", "disc")
	b.Side = specdata.SideLeft
	if got := a.And(b).String(); got != "tansy-2, engine d15, rear_brake disc, 2019-W20 to 2019-W26, left" {
		t.Errorf("common part is %q", got)
	}
	if got, ok := a.Restrict(map[string][]string{"engine": {"p12"}}); !ok || got.String() != "tansy-2, engine p12, up to 2019-W26" {
		t.Errorf("restricted clause is %q, %v", got, ok)
	}
	if got, ok := clause("", "engine", "p12").Restrict(map[string][]string{"engine": {"d15"}}); ok {
		t.Errorf("restricting p12 to d15 leaves %q", got)
	}
	if got, ok := a.Restrict(nil); !ok || got.String() != a.String() {
		t.Errorf("no restriction gives %q", got)
	}
}

func TestGaps(t *testing.T) {
	three := *car
	three.Options = map[string][]string{"engine": {"p12", "d15", "h16"}}
	for _, c := range []struct {
		name   string
		v      *specdata.Vehicle
		own    []specdata.Applies
		others []specdata.Applies
		want   string
	}{
		{"touching", car, []specdata.Applies{clause("..2019-W26")}, []specdata.Applies{clause("2019-W27..")}, ""},
		{"inside", car, []specdata.Applies{clause("..2019-W26")}, []specdata.Applies{clause("2019-W28..")}, "after 0: tansy-2, 2019-W27 inside; "},
		{"seen from the later", car, []specdata.Applies{clause("2019-W28..")}, []specdata.Applies{clause("..2019-W26")}, "before 0: tansy-2, 2019-W27 inside; "},
		{"not beside", car, []specdata.Applies{clause("2021-W01..")}, []specdata.Applies{clause("..2019-W26"), clause("2019-W28..2020-W53")}, ""},
		{"trailing", car, []specdata.Applies{clause("..2019-W26")}, nil, "after 0: tansy-2, 2019-07-01 to 2022-12-16; "},
		{"missing value", &three, []specdata.Applies{clause("", "engine", "p12")}, []specdata.Applies{clause("", "engine", "d15")}, "option engine 0: tansy-2, engine h16 inside; "},
		{"one of three is no series", &three, []specdata.Applies{clause("", "engine", "p12")}, nil, ""},
	} {
		gaps, ok := specdata.Gaps(c.v, c.own, append(append([]specdata.Applies{}, c.own...), c.others...))
		var got string
		for _, g := range gaps {
			where := map[bool]string{true: "after", false: "before"}[g.After]
			if g.Option != "" {
				where = "option " + g.Option
			}
			got += where + " " + string(rune('0'+g.Clause)) + ": " + g.Missing.String() + map[bool]string{true: " inside"}[g.Inside] + "; "
		}
		if !ok || got != c.want {
			t.Errorf("%s: gaps %q, %v; want %q", c.name, got, ok, c.want)
		}
	}
	if _, ok := specdata.Gaps(car, []specdata.Applies{clause("no 1..")}, []specdata.Applies{clause("no 1..")}); ok {
		t.Error("numbers were held against dates")
	}
}
