package narration_test

import (
	"embed"
	"flag"
	"slices"
	"strings"
	"testing"

	"proofload/specdata/library"
	"proofload/specdata/narration"
)

// The second and third corpus are narrations in other voices: presenters who talk a lot,
// captions of a machine without marks or capitals, some who say as little as they can.
// Each was written before the judge was improved on it. What a judge saw that had never
// seen them: of the second 60 and 63 of a hundred slips that can hurt, of the third 75,
// each figure behind the corpus before it.

//go:embed testdata/second
var second embed.FS

//go:embed testdata/third
var third embed.FS

var unseal = flag.Bool("unseal", false, "print what is missed in the sealed narrations too")

// openedEarly are the narrations of the second corpus that were looked at first.
var openedEarly = []string{"pell-1-oil-and-filter", "skerry-1-rear-brake-shoes", "dray-2-rear-silencer", "pell-1-cylinder-head-refit", "quill-1-starter-renewal"}

// slip is a thing said wrong, or left unsaid.
type slip struct{ procedure, harm, what, as, otherwise string }

func slips(t testing.TB, folder embed.FS, name string) []slip {
	t.Helper()
	b, err := folder.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	var out []slip
	for _, line := range strings.Split(string(b), "\n") {
		if line = strings.TrimSpace(line); line == "" || line[0] == '#' {
			continue
		}
		f := strings.Split(line+" ", " | ")
		for len(f) < 5 {
			f = append(f, "")
		}
		unescape := func(s string) string { return strings.TrimSuffix(strings.ReplaceAll(s, `\n`, "\n"), " ") }
		out = append(out, slip{f[0], f[1], f[2], unescape(f[3]), unescape(f[4])})
	}
	return out
}

// figures are what a judge sees of a corpus.
type figures struct{ high, seen, low, lowSeen, alarms, minutes float64 }

// measure tries each slip alone and counts what is said of the narrations as they are.
func measure(t *testing.T, l library.Library, folder embed.FS, dir string, in func(string) bool, details bool) (f figures) {
	t.Helper()
	text := func(procedure string) string {
		b, err := folder.ReadFile(dir + "/" + procedure + ".txt")
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	clean := map[string][]string{}
	for _, s := range slips(t, folder, dir+"/slips.txt") {
		if !in(s.procedure) {
			continue
		}
		whole := text(s.procedure)
		if clean[s.procedure] == nil {
			clean[s.procedure] = append([]string{""}, messages(check(t, l, s.procedure, whole))...)
			cues, err := narration.Read(s.procedure+".txt", []byte(whole))
			if err != nil {
				t.Fatal(err)
			}
			f.minutes += cues[len(cues)-1].End / 60
			f.alarms += float64(len(clean[s.procedure]) - 1)
			if details {
				for _, m := range clean[s.procedure][1:] {
					t.Logf("FALSE %s: %s", s.procedure, m)
				}
			}
		}
		if !strings.Contains(whole, s.as) {
			t.Errorf("%s does not say %q", s.procedure, s.as)
			continue
		}
		caught := false
		for _, m := range messages(check(t, l, s.procedure, strings.Replace(whole, s.as, s.otherwise, 1))) {
			caught = caught || !slices.Contains(clean[s.procedure], m)
		}
		high, seen := &f.high, &f.seen
		if s.harm != "high" {
			high, seen = &f.low, &f.lowSeen
		}
		*high++
		if caught {
			*seen++
		} else if details {
			t.Logf("MISSED %s %s %s: %q", s.procedure, s.harm, s.what, s.otherwise)
		}
	}
	return f
}

func TestSecondCorpus(t *testing.T) {
	l := demoLibrary(t)
	for name, in := range map[string]func(string) bool{
		"open":   func(p string) bool { return slices.Contains(openedEarly, p) },
		"sealed": func(p string) bool { return !slices.Contains(openedEarly, p) },
	} {
		f := measure(t, l, second, "testdata/second", in, *show && (name == "open" || *unseal))
		t.Logf("%s: of the slips that can hurt %.0f of %.0f seen (%.0f %%), of others %.0f of %.0f; %.0f false alarms in %.1f clean minutes",
			name, f.seen, f.high, 100*f.seen/f.high, f.lowSeen, f.low, f.alarms, f.minutes)
		f.hold(t, name)
	}
}

// hold holds figures to nine slips of ten and one false alarm in ten minutes.
func (f *figures) hold(t *testing.T, name string) {
	t.Helper()
	if f.seen*10 < f.high*9 || f.alarms*10 > f.minutes+5 {
		t.Errorf("%s: %.0f of %.0f slips that can hurt are seen, %.0f false alarms in %.1f minutes; want nine of ten, and one in ten minutes", name, f.seen, f.high, f.alarms, f.minutes)
	}
}

// The third corpus was written when the judge had been improved on the second.
func TestThirdCorpus(t *testing.T) {
	f := measure(t, demoLibrary(t), third, "testdata/third", func(string) bool { return true }, *show && *unseal)
	t.Logf("third: of the slips that can hurt %.0f of %.0f seen (%.0f %%), of others %.0f of %.0f; %.0f false alarms in %.1f clean minutes",
		f.seen, f.high, 100*f.seen/f.high, f.lowSeen, f.low, f.alarms, f.minutes)
	f.hold(t, "third")
}
