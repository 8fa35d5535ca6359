package oneword_test

import (
	_ "embed"
	"flag"
	"maps"
	"slices"
	"testing"

	"proofload/specdata"
	"proofload/specdata/claim"
	"proofload/specdata/demo"
	"proofload/specdata/lexicon"
	"proofload/specdata/library"
	"proofload/tools/faultbench/oneword"
)

//go:embed testdata/rewrites_open.txt
var open string

//go:embed testdata/rewrites_kept.txt
var kept string

var show = flag.Bool("show", false, "print every miss and every false alarm")

func judged(l library.Library, p *specdata.Procedure, step int, text string) []string {
	w := claim.New(p, l, lexicon.Default(), "")
	t := w.Read(text)
	scope := claim.Scope{Acts: w.StepActs(step)}
	if r := p.Steps[step].Repeat; r != nil {
		scope.Repeats = r.Side
	}
	var out []string
	for _, k := range w.Judge(t, scope) {
		out = append(out, string(k.Kind)+": "+t.Said(k.From, k.To)+": "+k.Data)
	}
	return out
}

func procedures(t *testing.T) (library.Library, []*specdata.Procedure) {
	t.Helper()
	l, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	var out []*specdata.Procedure
	for e := range l.All(specdata.KindProcedure) {
		out = append(out, e.Record.(*specdata.Procedure))
	}
	return l, out
}

// Nothing is said of the demo's own sentences.
func TestDemoIsSilent(t *testing.T) {
	l, ps := procedures(t)
	for _, p := range ps {
		for i := range p.Steps {
			for _, k := range judged(l, p, i, p.Steps[i].Text) {
				t.Errorf("%s %s: %s\n\t%s", p.ID, p.Steps[i].ID, k, p.Steps[i].Text)
			}
		}
	}
}

// At least 95 of 100 changes that contradict the records are seen.
func TestOneWord(t *testing.T) {
	l, ps := procedures(t)
	all, seen := map[string]int{}, map[string]int{}
	harmless, flagged := 0, 0
	for _, p := range ps {
		for _, c := range oneword.Changes(l, p) {
			ks := judged(l, p, c.Step, c.Text)
			if !c.Contradicts {
				harmless++
				if len(ks) > 0 {
					flagged++
					if *show {
						t.Logf("BEYOND THE ORACLE %s %s: %s\n\t%s\n\t%s", p.ID, p.Steps[c.Step].ID, c.Kind, c.Text, ks[0])
					}
				}
				continue
			}
			all[c.Kind]++
			if len(ks) > 0 {
				seen[c.Kind]++
			} else if *show {
				t.Logf("MISSED %s %s: %s\n\t%s", p.ID, p.Steps[c.Step].ID, c.Kind, c.Text)
			}
		}
	}
	n, m := 0, 0
	for _, k := range slices.Sorted(maps.Keys(all)) {
		t.Logf("%-9s %d of %d", k, seen[k], all[k])
		n, m = n+all[k], m+seen[k]
	}
	t.Logf("in all %d of %d seen; of %d changes that the oracle does not judge %d are flagged", m, n, harmless, flagged)
	if n < 150 || m*100 < n*95 {
		t.Errorf("%d of %d changes that contradict the records are seen; want 95 of 100, of 150 at least", m, n)
	}
}

func TestRewrites(t *testing.T) {
	l, ps := procedures(t)
	for name, file := range map[string]string{"open": open, "kept": kept} {
		rs, err := oneword.ParseRewrites(file)
		if err != nil {
			t.Fatal(err)
		}
		n, flagged, gone := 0, 0, 0
		for _, r := range rs {
			i := slices.IndexFunc(ps, func(p *specdata.Procedure) bool { return p.ID == r.Procedure })
			if i < 0 {
				gone++
				continue
			}
			p := ps[i]
			step := slices.IndexFunc(p.Steps, func(s specdata.Step) bool { return s.ID == r.Step })
			if step < 0 {
				gone++
				continue
			}
			n++
			if ks := judged(l, p, step, r.For(p.Steps[step].Text)); len(ks) > 0 {
				flagged++
				if *show && name == "open" {
					t.Logf("FALSE %s/%s line %d: %s\n\t%s", r.Procedure, r.Step, r.Line, r.Text, ks[0])
				}
			}
		}
		t.Logf("%s: %d of %d rewrites flagged, %d of steps that are no more", name, flagged, n, gone)
		if n < 120 || flagged*100 > n {
			t.Errorf("%s: %d of %d harmless rewrites are flagged; want at most one in a hundred, of 120 at least", name, flagged, n)
		}
	}
}
