package catalog_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"proofload/server/ask"
	"proofload/server/catalog"
	"proofload/server/fault"
	"proofload/specdata"
	"proofload/specdata/whom"
)

func TestResolve(t *testing.T) {
	s := newShop(t, vehicle(),
		fastener("early-disc", "Hub nut", "240 N.m", "rear_brake=disc,built=..2019-W26"),
		fastener("late-disc", "Hub nut", "220 N.m", "rear_brake=disc,built=2019-W27.."),
		fastener("drum", "Hub nut", "40 N.m", "rear_brake=drum"),
		fastener("sensor", "Speed sensor bolt", "8 N.m"),
		fastener("left-lead", "Lead clip screw", "4 N.m", "side=left"),
		fastener("right-lead", "Lead clip screw", "5 N.m", "side=right"),
		fastener("any-engine", "Vent union", "10 N.m", "engine=p1|d1"),
		fastener("p1-or-late", "Hose banjo", "20 N.m", "engine=p1", "built=2020-W01.."),
		fastener("bolt-a", "Guide pin bolt", "30 N.m"),
		fastener("bolt-b", "Guide pin sleeve bolt", "35 N.m"),
	)
	for _, c := range []struct {
		name       string
		title      string
		known      whom.Stated
		outcome    string
		fastener   string
		questions  string
		candidates string
	}{
		{"one record applies whatever the options", "sensor bolt", whom.Stated{}, catalog.Resolved, "sensor", "", ""},
		{"nothing is known: everything that decides is asked", "hub nut", whom.Stated{}, catalog.Ask, "", "built[] rear_brake[disc drum]", "drum early-disc late-disc"},
		{"brakes are known, the build is not", "hub nut", whom.Stated{Options: []string{"rear_brake=disc"}}, catalog.Ask, "", "built[]", "early-disc late-disc"},
		{"the build is known, brakes are not: the drum nut may apply too", "hub nut", whom.Stated{Built: "2018-W01"}, catalog.Ask, "", "rear_brake[disc drum]", "drum early-disc"},
		{"the last day of the early build", "hub nut", whom.Stated{Options: []string{"rear_brake=disc"}, Built: "2019-06-30"}, catalog.Resolved, "early-disc", "", ""},
		{"the first day of the late build", "hub nut", whom.Stated{Options: []string{"rear_brake=disc"}, Built: "2019-07-01"}, catalog.Resolved, "late-disc", "", ""},
		{"one variant alone is still asked for", "hub nut", whom.Stated{Options: []string{"rear_brake=drum"}}, catalog.Resolved, "drum", "", ""},
		{"sides differ", "lead clip screw", whom.Stated{}, catalog.Ask, "", "side[left right]", "left-lead right-lead"},
		{"the side is given", "lead clip screw", whom.Stated{Side: "right"}, catalog.Resolved, "right-lead", "", ""},
		{"a clause that takes every value asks nothing", "vent union", whom.Stated{}, catalog.Resolved, "any-engine", "", ""},
		{"either of two clauses: both are asked", "hose banjo", whom.Stated{}, catalog.Ask, "", "built[] engine[p1 d1]", "p1-or-late"},
		{"either of two clauses: one suffices", "hose banjo", whom.Stated{Built: "2021-W01"}, catalog.Resolved, "p1-or-late", "", ""},
		{"neither clause: no fallback, the near one says on what it differs", "hose banjo", whom.Stated{Options: []string{"engine=d1"}, Built: "2018-W01"}, catalog.None, "", "", "p1-or-late(engine)"},
		{"two that always apply are told apart by title", "guide pin bolt", whom.Stated{}, catalog.Ask, "", "title[Guide pin bolt Guide pin sleeve bolt]", "bolt-a bolt-b"},
		{"nothing of the sort", "radiator cap", whom.Stated{}, catalog.None, "", "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			res, err := s.Resolve(t.Context(), catalog.Wanted{Vehicle: "tern-1", Title: c.title, Place: "rear hub", Stated: c.known}, ask.Newest())
			if c.candidates == "" && c.outcome == catalog.None {
				// Without a place, so that nothing of the description fits.
				res, err = s.Resolve(t.Context(), catalog.Wanted{Vehicle: "tern-1", Title: c.title, Stated: c.known}, ask.Newest())
			}
			if err != nil {
				t.Fatal(err)
			}
			got := ""
			if res.Fastener != nil {
				got = res.Fastener.Name.ID()
			}
			var questions, candidates []string
			for _, q := range res.Questions {
				questions = append(questions, fmt.Sprint(q.Key, q.Allowed))
				if q.Text == "" {
					t.Errorf("question %s has no words", q.Key)
				}
			}
			for _, n := range res.Candidates {
				text := n.Fastener.ID
				if res.Outcome == catalog.None && !slices.Contains(n.Differs, "title") {
					text += "(" + strings.Join(n.Differs, " ") + ")"
				} else if res.Outcome == catalog.None {
					continue
				}
				candidates = append(candidates, text)
			}
			slices.Sort(questions)
			slices.Sort(candidates)
			if res.Outcome != c.outcome || got != c.fastener || strings.Join(questions, " ") != c.questions || strings.Join(candidates, " ") != c.candidates {
				t.Errorf("got %s %q, questions %q, candidates %q; want %s %q, %q, %q", res.Outcome, got, questions, candidates, c.outcome, c.fastener, c.questions, c.candidates)
			}
		})
	}
}

// Whatever is asked, answering every question with any allowed value ends in one
// record or none, never in a loop and never in a record that does not apply.
func TestAnsweringQuestionsEnds(t *testing.T) {
	s := newShop(t, vehicle(),
		fastener("early-disc", "Hub nut", "240 N.m", "rear_brake=disc,built=..2019-W26"),
		fastener("late-disc", "Hub nut", "220 N.m", "rear_brake=disc,built=2019-W27.."),
		fastener("drum-left", "Hub nut", "40 N.m", "rear_brake=drum,side=left"),
		fastener("drum-right-d1", "Hub nut", "40 N.m", "rear_brake=drum,side=right,engine=d1"),
	)
	want := map[string]int{}
	var walk func(k whom.Stated, depth int)
	walk = func(k whom.Stated, depth int) {
		if depth > 5 {
			t.Fatalf("still asking after five answers: %+v", k)
		}
		res, err := s.Resolve(t.Context(), catalog.Wanted{Vehicle: "tern-1", Title: "hub nut", Stated: k}, ask.Newest())
		if err != nil {
			t.Fatal(err)
		}
		if res.Outcome != catalog.Ask {
			id := "none"
			if res.Fastener != nil {
				id = res.Fastener.Name.ID()
			}
			want[id]++
			return
		}
		q := res.Questions[0]
		answers := q.Allowed
		if q.Key == "built" {
			answers = []string{"2018-03-01", "2021-W40"}
		}
		for _, a := range answers {
			next := k
			switch q.Key {
			case "built":
				next.Built = a
			case "side":
				next.Side = a
			default:
				next.Options = append(slices.Clone(k.Options), q.Key+"="+a)
			}
			walk(next, depth+1)
		}
	}
	walk(whom.Stated{}, 0)
	for _, id := range []string{"early-disc", "late-disc", "drum-left", "drum-right-d1", "none"} {
		if want[id] == 0 {
			t.Errorf("no answers lead to %s: %v", id, want)
		}
	}
}

// What is not said is asked for: which vehicle, which fastener. A number beside an id
// that it fits is taken.
func TestResolveAsks(t *testing.T) {
	s := newShop(t, vehicle(), fastener("a", "Hub nut", "240 N.m"))
	for _, c := range []struct {
		name   string
		wanted catalog.Wanted
		key    string
	}{
		{"no vehicle", catalog.Wanted{Title: "nut"}, "vehicle"},
		{"no fastener", catalog.Wanted{Vehicle: "tern-1"}, "place"},
		{"a number and its vehicle", catalog.Wanted{Vehicle: "tern-1", VIN: "0XXAAAAAAAAAAAAAA", Title: "nut"}, ""},
	} {
		res, err := s.Resolve(t.Context(), c.wanted, ask.Newest())
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		key := ""
		if len(res.Questions) > 0 {
			key = res.Questions[0].Key
		}
		if key != c.key || (key == "") != (res.Outcome == catalog.Resolved) {
			t.Errorf("%s: %v, question %q, want %q", c.name, res.Outcome, key, c.key)
		}
	}
}

func TestResolveRefuses(t *testing.T) {
	s := newShop(t, vehicle(), fastener("a", "Hub nut", "240 N.m"))
	for _, c := range []struct {
		name   string
		wanted catalog.Wanted
		kind   fault.Kind
		says   string
	}{
		{"unknown vehicle", catalog.Wanted{Vehicle: "tern-2", Title: "nut"}, fault.RecordNotFound, "did you mean vehicles/tern-1?"},
		{"misspelt key", catalog.Wanted{Vehicle: "tern-1", Title: "nut", Stated: whom.Stated{Options: []string{"rear_break=disc"}}}, fault.InvalidArgument, `did you mean "rear_brake"?`},
		{"misspelt value", catalog.Wanted{Vehicle: "tern-1", Title: "nut", Stated: whom.Stated{Options: []string{"rear_brake=disk"}}}, fault.InvalidArgument, `did you mean "disc"?`},
		{"no value", catalog.Wanted{Vehicle: "tern-1", Title: "nut", Stated: whom.Stated{Options: []string{"disc"}}}, fault.InvalidArgument, "key=value"},
		{"two values", catalog.Wanted{Vehicle: "tern-1", Title: "nut", Stated: whom.Stated{Options: []string{"rear_brake=disc", "rear_brake=drum"}}}, fault.InvalidArgument, "one value a key"},
		{"no such week", catalog.Wanted{Vehicle: "tern-1", Title: "nut", Stated: whom.Stated{Built: "2019-W60"}}, fault.InvalidArgument, "week"},
		{"before the vehicle", catalog.Wanted{Vehicle: "tern-1", Title: "nut", Stated: whom.Stated{Built: "2010-W01"}}, fault.InvalidArgument, "outside"},
		{"side", catalog.Wanted{Vehicle: "tern-1", Title: "nut", Stated: whom.Stated{Side: "offside"}}, fault.InvalidArgument, "left, right, centre"},
		{"letters no number has", catalog.Wanted{VIN: "0XXAAAAAAAAAAAAAO", Title: "nut"}, fault.InvalidArgument, "I, O and Q"},
		{"number of no vehicle", catalog.Wanted{VIN: "1XXAAAAAAAAAAAAAA", Title: "nut"}, fault.RecordNotFound, "no vehicle"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := s.Resolve(t.Context(), c.wanted, ask.Newest())
			if kindOf(err) != c.kind || !strings.Contains(err.Error(), c.says) {
				t.Errorf("got %s %v, want %s with %q", kindOf(err), err, c.kind, c.says)
			}
		})
	}
}

// A list that is cut says how much it leaves out.
func TestResolveCountsWhatItLeavesOut(t *testing.T) {
	records := []specdata.Record{vehicle()}
	for i := range 23 {
		records = append(records, fastener(fmt.Sprintf("bolt-%02d", i), fmt.Sprintf("Cover bolt %d", i), "10 N.m"))
	}
	s := newShop(t, records...)
	res, err := s.Resolve(t.Context(), catalog.Wanted{Vehicle: "tern-1", Title: "cover bolt"}, ask.Newest())
	if err != nil || res.Outcome != catalog.Ask || len(res.Candidates) != 20 || res.LeftOut != 3 {
		t.Errorf("%d candidates and %d left out of 23, %v", len(res.Candidates), res.LeftOut, err)
	}
}

// The number 1M8GDM9AXKP042788 is the worked example of the check digit that is
// commonly given for 49 CFR 565 (from memory): the digit is X.
func TestResolveByNumber(t *testing.T) {
	v := vehicle()
	v.VIN = &specdata.VIN{Pattern: "1M8GDM9A*KP******", CheckDigit: true}
	twin := vehicle()
	twin.ID, twin.VIN = "tern-2", &specdata.VIN{Pattern: "1M8*************9"}
	s := newShop(t, v, twin, fastener("a", "Hub nut", "240 N.m"))
	res, err := s.Resolve(t.Context(), catalog.Wanted{VIN: "1M8GDM9AXKP042788", Title: "nut"}, ask.Newest())
	if err != nil || res.Outcome != catalog.Resolved || res.Vehicle != "tern-1" {
		t.Errorf("got %+v, %v", res, err)
	}
	_, err = s.Resolve(t.Context(), catalog.Wanted{VIN: "1M8GDM9A1KP042788", Title: "nut"}, ask.Newest())
	if kindOf(err) != fault.InvalidArgument || !strings.Contains(err.Error(), "X belongs there") {
		t.Errorf("a wrong check digit gives %v", err)
	}
	twin.VIN.Pattern = "1M8**************"
	s.publish(t, twin)
	res, err = s.Resolve(t.Context(), catalog.Wanted{VIN: "1M8GDM9AXKP042788", Title: "nut"}, ask.Newest())
	if err != nil || res.Outcome != catalog.Ask || !slices.Equal(res.Questions[0].Allowed, []string{"tern-1", "tern-2"}) {
		t.Errorf("a number that fits two vehicles gives %+v, %v", res, err)
	}
}
