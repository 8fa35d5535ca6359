package dryrun_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/specdata/dryrun"
)

// hub takes the hub off and puts it back: clean.
const hub = `
secure vehicle
slacken fastener:wheel-nut
raise end:rear
support end:rear
remove fastener:wheel-nut; remove part:wheel
unclip clip:lead
remove fastener:carrier-bolt; remove part:caliper; hang part:caliper
remove part:disc
disconnect connection:plug
remove fastener:ball-nut; start fastener:ball-nut; separate joint:ball; remove fastener:ball-nut
unlock fastener:hub-nut; slacken fastener:hub-nut; remove fastener:hub-nut
remove part:hub
fit part:hub; join joint:ball; start fastener:ball-nut; tighten fastener:ball-nut
start fastener:hub-nut new; tighten fastener:hub-nut; lock fastener:hub-nut
check part:hub
connect connection:plug
fit part:disc
unhang part:caliper; fit part:caliper; start fastener:carrier-bolt new; tighten fastener:carrier-bolt
clip clip:lead
fit part:wheel; start fastener:wheel-nut; snug fastener:wheel-nut
lower end:rear
tighten fastener:wheel-nut
check fastener:wheel-nut
advise fastener:wheel-nut
road-test vehicle
`

func TestClean(t *testing.T) {
	jobs := map[string]struct{ sides, lines string }{
		"hub off and on": {"one", hub},
		"both sides": {"both", `
secure vehicle
raise end:rear; support end:rear
slacken fastener:wheel-nut@left; remove fastener:wheel-nut@left; remove part:wheel@left
fit part:wheel@left; start fastener:wheel-nut@left; snug fastener:wheel-nut@left
repeat s3 s4 right
lower end:rear
tighten fastener:wheel-nut@left; tighten fastener:wheel-nut@right
advise fastener:wheel-nut@left; advise fastener:wheel-nut@right`},
		"bush at ride height": {"one", `
secure vehicle; measure suspension:rear
raise end:rear; support end:rear
slacken fastener:wheel-nut; remove fastener:wheel-nut; remove part:wheel
remove fastener:bush-bolt; start fastener:bush-bolt; snug fastener:bush-bolt
defer fastener:bush-bolt until=ride-height
load-suspension suspension:rear
stage fastener:bush-bolt stage=1; turn fastener:bush-bolt stage=2
resolve fastener:bush-bolt
unload-suspension suspension:rear
fit part:wheel; start fastener:wheel-nut; snug fastener:wheel-nut
lower end:rear; tighten fastener:wheel-nut; advise fastener:wheel-nut`},
		"fluid and electrics": {"none", `
isolate electrics:battery
depressurise circuit:fuel
disconnect connection:feed; cap connection:feed; disconnect connection:starter; disconnect connection:hose
uncap connection:feed; connect connection:feed; connect connection:starter; connect connection:hose
drain circuit:coolant; fill circuit:coolant; bleed circuit:coolant; bleed circuit:brake
restore electrics:battery
check place:leaks`},
		"branch by option": {"one", `
where brake=disc: unclip clip:lead
where brake=disc: clip clip:lead`},
		"final tightening twice with an undo between": {"one", `
slacken fastener:ball-nut; tighten fastener:ball-nut
slacken fastener:ball-nut; tighten fastener:ball-nut`},
		"position by position": {"one", `
slacken fastener:face-bolt
stage fastener:face-bolt stage=1 pos=1; stage fastener:face-bolt stage=1 pos=2
turn fastener:face-bolt stage=2 pos=2; turn fastener:face-bolt stage=2 pos=1`},
		"all positions in one act": {"one", `
slacken fastener:face-bolt pos=1,2; tighten fastener:face-bolt`},
		"a look again after a change": {"one", `
check place:play; slacken fastener:ball-nut; tighten fastener:ball-nut; check place:play
inspect place:face; clean place:face; inspect place:face`},
		"topped up after bleeding": {"none", `
drain circuit:coolant; fill circuit:coolant; bleed circuit:coolant; fill circuit:coolant; bleed circuit:coolant; check place:leaks`},
		"press named as the tool": {"one", `
set-aid aid:taper-press; remove fastener:pin-nut; separate joint:pin; clear-aid aid:taper-press
join joint:pin; start fastener:pin-nut; tighten fastener:pin-nut`},
		"bearing pressed out and in on the bench": {"one", `
remove fastener:ball-nut; remove part:housing
press-out joint:seat
press-in joint:seat
fit part:housing; start fastener:ball-nut; tighten fastener:ball-nut`},
		"settling cycle and counts": {"one", `
count part:housing
slacken fastener:ball-nut; snug fastener:ball-nut; back-off fastener:ball-nut; tighten fastener:ball-nut
stop-if part:housing; reset electrics:battery`},
		"aid and pedal": {"one", `
set-aid aid:locking-pins; clear-aid aid:locking-pins
retract part:caliper
pump place:brake-pedal`},
	}
	for name, j := range jobs {
		t.Run(name, func(t *testing.T) {
			for _, p := range dryrun.Run(world(t), job(t, j.sides, j.lines)).Problems() {
				t.Errorf("%s", p.Message())
			}
		})
	}
}

func TestSlips(t *testing.T) {
	cases := []struct{ name, sides, lines, want string }{
		{"a part that is never refitted", "one", "remove part:gasket", "open part:gasket"},
		{"an old gasket", "one", "remove part:gasket\nfit part:gasket", "old-piece part:gasket"},
		{"held by its bolts", "one", "secure vehicle; raise end:rear; support end:rear\nremove part:wheel\nfit part:wheel\nlower end:rear", "held part:wheel"},
		{"work on the jack alone", "one", "secure vehicle; raise end:rear\nslacken fastener:ball-nut; tighten fastener:ball-nut\nlower end:rear", "unsupported fastener:ball-nut"},
		{"raised unsecured", "one", "raise end:rear; support end:rear; lower end:rear", "not-secured end:rear"},
		{"never lowered", "one", "secure vehicle; raise end:rear; support end:rear", "open end:rear"},
		{"nut left loose", "one", "slacken fastener:ball-nut", "open fastener:ball-nut"},
		{"only one side refitted", "both", "slacken fastener:ball-nut@left; slacken fastener:ball-nut@right; tighten fastener:ball-nut@left", "open fastener:ball-nut, right"},
		{"side not said", "both", "check fastener:ball-nut", "side fastener:ball-nut"},
		{"tightened twice", "one", "slacken fastener:ball-nut; tighten fastener:ball-nut; tighten fastener:ball-nut", "twice fastener:ball-nut"},
		{"tightened without loosening", "one", "tighten fastener:ball-nut", "never-undone fastener:ball-nut"},
		{"bush tightened in droop", "one", "secure vehicle; raise end:rear; support end:rear\nslacken fastener:bush-bolt; tighten fastener:bush-bolt\nlower end:rear", "vehicle-state fastener:bush-bolt"},
		{"wheel tightened in the air", "one", "secure vehicle; raise end:rear; support end:rear\nslacken fastener:wheel-nut; tighten fastener:wheel-nut\nlower end:rear; advise fastener:wheel-nut", "vehicle-state fastener:wheel-nut"},
		{"stage skipped", "one", "slacken fastener:bush-bolt; turn fastener:bush-bolt stage=2", "stage fastener:bush-bolt"},
		{"angle forgotten", "one", "slacken fastener:bush-bolt; stage fastener:bush-bolt stage=1", "open fastener:bush-bolt"},
		{"old bolt again", "one", "remove fastener:carrier-bolt; start fastener:carrier-bolt; tighten fastener:carrier-bolt", "old-piece fastener:carrier-bolt"},
		{"stake forgotten", "one", "unlock fastener:hub-nut; remove fastener:hub-nut; start fastener:hub-nut new; tighten fastener:hub-nut; check fastener:hub-nut", "open fastener:hub-nut"},
		{"slackened against its stake", "one", "slacken fastener:hub-nut; remove fastener:hub-nut; start fastener:hub-nut new; tighten fastener:hub-nut; lock fastener:hub-nut; check fastener:hub-nut", "locked fastener:hub-nut"},
		{"bearing not turned", "one", "unlock fastener:hub-nut; remove fastener:hub-nut; start fastener:hub-nut new; tighten fastener:hub-nut; lock fastener:hub-nut", "open fastener:hub-nut"},
		{"fuel line under pressure", "one", "disconnect connection:feed; connect connection:feed; check place:leaks", "pressure connection:feed"},
		{"live cable", "one", "disconnect connection:starter; connect connection:starter", "live connection:starter"},
		{"restored with a cable off", "one", "isolate electrics:battery; disconnect connection:starter; restore electrics:battery; connect connection:starter", "live electrics:battery"},
		{"brake hose without bleeding", "one", "disconnect connection:hose; connect connection:hose; check place:leaks", "open circuit:brake"},
		{"filled while open", "one", "drain circuit:coolant; fill circuit:coolant; bleed circuit:coolant; disconnect connection:hose; bleed circuit:brake; connect connection:hose; check place:leaks", "circuit-open circuit:brake"},
		{"deferred and forgotten", "one", "slacken fastener:ball-nut; defer fastener:ball-nut until=ride-height; tighten fastener:ball-nut", "open fastener:ball-nut"},
		{"locking pins left in", "one", "set-aid aid:locking-pins", "open aid:locking-pins"},
		{"pedal not pumped", "one", "retract part:caliper", "open place:brake-pedal"},
		{"clip left open", "one", "unclip clip:lead", "open clip:lead"},
		{"the same look twice", "one", "check place:lamps; check place:lamps", "twice place:lamps"},
		{"retracted twice", "one", "retract part:caliper; retract part:caliper; pump place:brake-pedal", "twice part:caliper"},
		{"discarded twice", "one", "remove part:gasket; discard part:gasket; discard part:gasket; fit part:gasket new", "twice part:gasket"},
		{"filled though full", "none", "fill circuit:coolant; bleed circuit:coolant; check place:leaks", "never-undone circuit:coolant"},
		{"filled twice", "none", "drain circuit:coolant; fill circuit:coolant; fill circuit:coolant; bleed circuit:coolant; check place:leaks", "twice circuit:coolant"},
		{"drained under pressure", "none", "drain circuit:fuel; fill circuit:fuel; check place:leaks", "pressure circuit:fuel"},
		{"union loosened under pressure", "one", "slacken fastener:union; tighten fastener:union", "pressure fastener:union"},
		{"terminal loosened live", "one", "slacken fastener:terminal; tighten fastener:terminal", "live fastener:terminal"},
		{"restored with a loose terminal", "one", "isolate electrics:battery; slacken fastener:terminal; restore electrics:battery; tighten fastener:terminal", "live electrics:battery"},
		{"bled with a loose union", "one", "depressurise circuit:fuel; slacken fastener:union; bleed circuit:fuel; tighten fastener:union", "circuit-open circuit:fuel"},
		{"pressed without its press", "one", "remove fastener:pin-nut; separate joint:pin; join joint:pin; start fastener:pin-nut; tighten fastener:pin-nut", "aid joint:pin"},
		{"clip closed before what is behind it", "one", "unclip clip:cover; disconnect connection:hidden; clip clip:cover; connect connection:hidden", "blocked connection:hidden"},
		{"put off while only started", "one", "remove fastener:ball-nut; start fastener:ball-nut; defer fastener:ball-nut; tighten fastener:ball-nut; resolve fastener:ball-nut", "not-in-place fastener:ball-nut"},
		{"put on after lowering", "one", "secure vehicle; raise end:rear; support end:rear; remove part:gasket; lower end:rear; fit part:gasket new", "end part:gasket"},
		{"chocked once, raised again after a drive", "one", "secure vehicle; raise end:rear; lower end:rear; road-test vehicle; raise end:rear; lower end:rear", "not-secured end:rear"},
		{"one position forgotten", "one", "slacken fastener:wheel-nut; tighten fastener:wheel-nut pos=1,2,3; advise fastener:wheel-nut", "open fastener:wheel-nut, no. 4"},
		{"one position finished before the others began", "one", "slacken fastener:face-bolt; stage fastener:face-bolt stage=1 pos=1; turn fastener:face-bolt stage=2 pos=1; stage fastener:face-bolt stage=1 pos=2; turn fastener:face-bolt stage=2 pos=2", "all-first fastener:face-bolt, no. 1"},
		{"bearing not pressed back", "one", "remove fastener:ball-nut; remove part:housing; press-out joint:seat\nfit part:housing; start fastener:ball-nut; tighten fastener:ball-nut", "open joint:seat"},
		{"pressed out in place", "one", "press-out joint:seat; press-in joint:seat", "held joint:seat"},
		{"backed off and left", "one", "slacken fastener:ball-nut; tighten fastener:ball-nut; back-off fastener:ball-nut", "open fastener:ball-nut"},
		{"press verb on a taper", "one", "slacken fastener:ball-nut\nseparate joint:ball; press-in joint:ball; tighten fastener:ball-nut", "verb joint:ball"},
		{"started while only slack", "one", "slacken fastener:ball-nut; start fastener:ball-nut; tighten fastener:ball-nut", "never-undone fastener:ball-nut"},
		{"locked though it has no lock", "one", "slacken fastener:ball-nut; tighten fastener:ball-nut; lock fastener:ball-nut", "never-undone fastener:ball-nut"},
		{"wrong target type", "one", "unclip part:disc", "verb part:disc"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			r := dryrun.Run(world(t), job(t, c.sides, c.lines))
			if got := say(r); len(got) != 1 || got[0] != c.want {
				t.Errorf("problems %q, want only %q", got, c.want)
				for _, p := range r.Problems() {
					t.Log(p.Message())
				}
			}
		})
	}
}

// Two slips that come together, or in a larger job.
func TestLargerSlips(t *testing.T) {
	cases := []struct{ name, from, to, want string }{
		{"caliper left hanging", "; hang part:caliper", "", "hanging part:caliper"},
		{"fitted from its hook", "unhang part:caliper; ", "", "hung-up part:caliper"},
		{"disc after caliper", "fit part:disc\n", "", "open part:disc"},
		{"lowered on a loose wheel", "; snug fastener:wheel-nut\n", "\n", "wheel-loose end:rear"},
		{"road test before the wheel is tight", "tighten fastener:wheel-nut\ncheck fastener:wheel-nut\nadvise fastener:wheel-nut\nroad-test vehicle\n", "road-test vehicle\ntighten fastener:wheel-nut\nadvise fastener:wheel-nut\n", "road vehicle"},
		{"taper never joined", "join joint:ball; ", "", "open joint:ball"},
		{"recheck never advised", "advise fastener:wheel-nut\n", "", "open fastener:wheel-nut"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			lines := strings.Replace(hub, c.from, c.to, 1)
			if lines == hub {
				t.Fatalf("%q does not stand in the job", c.from)
			}
			got := say(dryrun.Run(world(t), job(t, "one", lines)))
			if !slices.Contains(got, c.want) {
				t.Errorf("problems %q, want %q among them", got, c.want)
			}
		})
	}
}

// The line for an open entry is the one that people act on: it names what is
// open, the step that opened it and the act that closes it.
func TestMessageNamesWhatWhereAndMend(t *testing.T) {
	r := dryrun.Run(world(t), job(t, "both", "unclip clip:lead@left\nclip clip:lead@left\nunclip clip:lead@right"))
	got := r.Problems()[0].Message()
	want := "lead clip on the right is still open at the end: step 3 (s3), right side opened it and nothing closes it; add {do: clip, target: clip:lead, side: right}"
	if got != want {
		t.Errorf("message\n%s\nwant\n%s", got, want)
	}
}

// One slip that a repeat carries to the other side is one finding, which says so.
func TestMessageNamesTheOtherSide(t *testing.T) {
	ps := dryrun.Run(world(t), job(t, "both", "unclip clip:lead@left\nrepeat s1 s1 right")).Problems()
	if len(ps) != 1 {
		t.Fatalf("%d problems, want 1", len(ps))
	}
	want := "lead clip on the left is still open at the end (the same: right): step 1 (s1), left side opened it and nothing closes it; add {do: clip, target: clip:lead, side: left}"
	if got := ps[0].Message(); got != want {
		t.Errorf("message\n%s\nwant\n%s", got, want)
	}
}

// What is left open names the step that opened it and the one that worked on it last.
func TestMessageNamesTheLastStep(t *testing.T) {
	ps := dryrun.Run(world(t), job(t, "one", "remove fastener:ball-nut\nstart fastener:ball-nut\nsnug fastener:ball-nut")).Problems()
	want := "ball joint nut is still only snug at the end: step 1 (s1) opened it, step 3 (s3) worked on it last, and nothing closes it; add {do: tighten, target: fastener:ball-nut}"
	if got := ps[0].Message(); got != want {
		t.Errorf("message\n%s\nwant\n%s", got, want)
	}
}

// Every cause and debt is in its list once, so that anyone who goes through the
// lists misses none.
func TestListsAreWhole(t *testing.T) {
	for _, l := range [][]string{strs(dryrun.Causes), strs(dryrun.Debts)} {
		if slices.Sort(l); len(slices.Compact(slices.Clone(l))) != len(l) || slices.Contains(l, "") {
			t.Errorf("list has a name twice or an empty one: %q", l)
		}
	}
}

func strs[S ~string](list []S) (out []string) {
	for _, s := range list {
		out = append(out, string(s))
	}
	return out
}

func operations(p *specdata.Procedure) (at [][2]int) {
	for i, s := range p.Steps {
		for j := range s.Operations {
			at = append(at, [2]int{i, j})
		}
	}
	return at
}

// Laws of the design: taking away any closing act, or doing any changing act
// twice, is a finding.
func TestLaws(t *testing.T) {
	lib := world(t)
	deletable := map[string]bool{ // acts that a later act covers: tightening takes up from where the thread is
		"snug": true, "slacken": true, "start": true, "clip": false,
	}
	base := job(t, "one", hub)
	for _, at := range operations(base) {
		op := base.Steps[at[0]].Operations[at[1]]
		name := fmt.Sprintf("%s %s", op.Do, op.Target)
		if !deletable[string(op.Do)] && op.Do != "check" && op.Do != "road-test" {
			p := job(t, "one", hub)
			ops := p.Steps[at[0]].Operations
			p.Steps[at[0]].Operations = slices.Delete(slices.Clone(ops), at[1], at[1]+1)
			if len(dryrun.Run(lib, p).Problems()) == 0 {
				t.Errorf("without %s (step %d) nothing is found", name, at[0]+1)
			}
		}
		p := job(t, "one", hub)
		ops := p.Steps[at[0]].Operations
		p.Steps[at[0]].Operations = slices.Insert(slices.Clone(ops), at[1], ops[at[1]])
		if len(dryrun.Run(lib, p).Problems()) == 0 {
			t.Errorf("with %s twice (step %d) nothing is found", name, at[0]+1)
		}
	}
}

// The table has every verb, in order, and no type of target twice for one.
func TestVocabularyIsWhole(t *testing.T) {
	var verbs []specdata.Verb
	for _, w := range dryrun.Vocabulary() {
		if n := len(verbs); n == 0 || verbs[n-1] != w.Verb {
			verbs = append(verbs, w.Verb)
		}
		if len(w.Targets) == 0 || w.Does == "" {
			t.Errorf("%s acts on %q and does %q", w.Verb, w.Targets, w.Does)
		}
	}
	if !slices.Equal(verbs, specdata.Verbs) {
		t.Errorf("vocabulary has the verbs %q, specdata %q", verbs, specdata.Verbs)
	}
	for _, v := range specdata.Verbs {
		seen := map[string]bool{}
		for _, w := range dryrun.Describe(v) {
			for _, target := range w.Targets {
				if seen[target] {
					t.Errorf("%s has two rows for a %s", v, target)
				}
				seen[target] = true
			}
		}
	}
}

func TestTimeline(t *testing.T) {
	o := dryrun.Run(world(t), job(t, "one", "unclip clip:lead\nslacken fastener:ball-nut\nclip clip:lead\nremove fastener:ball-nut\nstart fastener:ball-nut new\ntighten fastener:ball-nut")).Outcomes[0]
	var got []string
	for n, open := range o.Open() {
		var words []string
		for _, e := range open {
			words = append(words, e.Thing.String()+" "+e.State)
		}
		got = append(got, strings.Join(words, ", "))
		if len(open) != o.Timeline[n].Open {
			t.Errorf("moment %d counts %d open, the list has %d", n, o.Timeline[n].Open, len(open))
		}
	}
	want := []string{
		"clip:lead open", "clip:lead open, fastener:ball-nut loose", "fastener:ball-nut loose",
		"fastener:ball-nut out", "fastener:ball-nut only started by hand", "",
	}
	if !slices.Equal(got, want) {
		t.Errorf("open after each step %q, want %q", got, want)
	}
}

func BenchmarkRun(b *testing.B) {
	lib := world(b)
	p := job(b, "one", hub)
	b.ReportMetric(float64(len(operations(p))), "operations")
	for b.Loop() {
		dryrun.Run(lib, p)
	}
}
