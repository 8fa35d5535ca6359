package measure

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"proofload/specdata"
	"proofload/tools/faultbench/oracle"
)

// Report is everything one run says.
type Report struct {
	Seed       uint64 `json:"seed"`
	Variations int    `json:"variations"`
	Clean      Clean  `json:"clean"`
	Rows       []Row  `json:"kinds"`
	Groups     []Row  `json:"groups"`
	Total      Row    `json:"total"`
	// Harmless are edits that change no meaning: what is caught there is a false alarm.
	Harmless []Row `json:"harmless"`
}

// Clean is what the rules say about records nobody touched.
type Clean struct {
	Records int `json:"records"`
	// Alarmed counts records with an error or warning, Advice findings that only advise.
	Alarmed int      `json:"alarmed"`
	Advice  int      `json:"advice"`
	Alarms  []string `json:"alarms,omitempty"`
}

// Row counts the slips of one kind, or of several.
type Row struct {
	Kind  string `json:"kind"`
	Group string `json:"group,omitempty"`
	Tried int    `json:"tried"`
	// Same are slips after which the record means the same, NotJudged those of which
	// nothing in the records says whether it matters; Spoken counts the latter that
	// a rule reports all the same.
	Same      int `json:"same"`
	NotJudged int `json:"not_judged"`
	Spoken    int `json:"not_judged_spoken"`
	// Changed are the others. Caught of them have an error or a warning, Advised
	// advice alone.
	Changed int `json:"changed"`
	Caught  int `json:"caught"`
	Advised int `json:"advised"`
	// AsCorrection counts the caught where the record is a correction of what was
	// published, Redated where the corrector also put a new day on the citation.
	AsCorrection int `json:"caught_as_correction"`
	Redated      int `json:"caught_as_correction_redated"`
	// NeedsOld counts the slips that nothing in the record betrays: they are caught
	// where the record before them is known, and only there.
	NeedsOld int `json:"needs_record_before"`
	// Errors counts, of all that were tried, those with an error; CaughtOfAll those
	// with an error or a warning, whatever the oracle says of them. What the oracle
	// takes for the same or for not judged counts as missed there where no rule reports.
	Errors      int    `json:"errors_of_all"`
	CaughtOfAll int    `json:"caught_of_all"`
	Missed      []Miss `json:"missed,omitempty"`
}

// Miss is a slip that changes meaning and that no error or warning meets.
type Miss struct {
	Record     specdata.Name     `json:"record"`
	What       string            `json:"what"`
	Alone      specdata.Severity `json:"alone"`
	Correction specdata.Severity `json:"as_correction_redated"`
}

func (r *Row) count(o outcome) {
	if o.alone == specdata.Error {
		r.Errors++
	}
	if o.alone.Rank() >= specdata.Warning.Rank() {
		r.CaughtOfAll++
	}
	r.Tried++
	switch o.verdict {
	case oracle.Same:
		r.Same++
		return
	case oracle.NotJudged:
		r.NotJudged++
		if o.alone != "" {
			r.Spoken++
		}
		return
	}
	r.Changed++
	switch o.alone {
	case specdata.Error, specdata.Warning:
		r.Caught++
	case specdata.Advice:
		r.Advised++
	}
	if o.correction.Rank() >= specdata.Warning.Rank() {
		r.AsCorrection++
		if o.alone.Rank() < specdata.Warning.Rank() {
			r.NeedsOld++
		}
	}
	if o.redated.Rank() >= specdata.Warning.Rank() {
		r.Redated++
	}
}

func (r *Row) add(o Row) {
	r.Tried += o.Tried
	r.Same += o.Same
	r.NotJudged += o.NotJudged
	r.Spoken += o.Spoken
	r.Changed += o.Changed
	r.Caught += o.Caught
	r.Advised += o.Advised
	r.AsCorrection += o.AsCorrection
	r.Redated += o.Redated
	r.NeedsOld += o.NeedsOld
	r.Errors += o.Errors
	r.CaughtOfAll += o.CaughtOfAll
}

// newReport sums up.
func newReport(b *bench, c Clean, rows, harmless []Row) *Report {
	rep := &Report{Seed: b.seed, Variations: len(b.libraries) - 1, Clean: c, Rows: rows, Harmless: harmless, Total: Row{Kind: "all kinds"}}
	for _, r := range rows {
		if n := len(rep.Groups); n == 0 || rep.Groups[n-1].Group != r.Group {
			rep.Groups = append(rep.Groups, Row{Kind: "all of " + r.Group, Group: r.Group})
		}
		rep.Groups[len(rep.Groups)-1].add(r)
		rep.Total.add(r)
	}
	return rep
}

// Text prints the report as a table, a line a kind.
func (rep *Report) Text(w io.Writer) error {
	t := tabwriter.NewWriter(w, 0, 0, 1, ' ', tabwriter.AlignRight)
	line := func(r Row) {
		needs := "-"
		if r.NeedsOld > 0 {
			needs = fmt.Sprintf("%d of %d", r.NeedsOld, r.Changed)
		}
		fmt.Fprintf(t, "%s\t%d\t%d\t%d\t%d\t%d\t%d\t%s\t%s\t%s\t%s\t%s\t%s\t\n", r.Kind, r.Tried, r.Same, r.NotJudged, r.Changed, r.Caught, r.Advised, percent(r.Caught, r.Changed), percent(r.AsCorrection, r.Changed), percent(r.Redated, r.Changed), needs, percent(r.Errors, r.Tried), percent(r.CaughtOfAll, r.Tried))
	}
	fmt.Fprintln(t, "kind of slip\ttried\tsame\tnot judged\tchanged\tcaught\tadvised\trecall\tas correction\tredated\tneeds the record before it\terror, of all\tcaught, of all\t")
	group := ""
	for _, r := range rep.Rows {
		if r.Group != group {
			group = r.Group
			fmt.Fprintf(t, "-- %s\t\t\t\t\t\t\t\t\t\t\t\t\t\n", group)
		}
		line(r)
	}
	fmt.Fprintln(t, "-- sums\t\t\t\t\t\t\t\t\t\t\t\t\t")
	for _, r := range rep.Groups {
		line(r)
	}
	line(rep.Total)
	if err := t.Flush(); err != nil {
		return err
	}
	c := rep.Clean
	excluded := rep.Total.Same + rep.Total.NotJudged
	_, err := fmt.Fprintf(w, "\nthe oracle leaves out %d of %d slips as the same or not judged; counted as missed where no rule speaks, %s are caught alone\n", excluded, rep.Total.Tried, percent(rep.Total.CaughtOfAll, rep.Total.Tried))
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(w, "%d slips not judged, a rule speaks about %d of them\nfalse alarms (error or warning): %d of %d untouched records, %s; advice: %d\n",
		rep.Total.NotJudged, rep.Total.Spoken, c.Alarmed, c.Records, percent(c.Alarmed, c.Records), c.Advice)
	if err == nil {
		_, err = fmt.Fprintln(w, rep.goals())
	}
	for _, r := range rep.Harmless {
		if err == nil {
			_, err = fmt.Fprintf(w, "  harmless edit, %s: %d of %d; as a correction %d\n", r.Kind, r.Caught, r.Tried, r.AsCorrection)
		}
	}
	for _, a := range c.Alarms {
		if err == nil {
			_, err = fmt.Fprintln(w, "  "+a)
		}
	}
	for _, r := range rep.Rows {
		for _, m := range r.Missed {
			if err == nil {
				_, err = fmt.Fprintf(w, "missed: %s: %s: %s (alone %q, as a correction, redated, %q)\n", r.Kind, m.Record, m.What, m.Alone, m.Correction)
			}
		}
	}
	return err
}

// The goals: of the slips that change meaning 99 % are caught where the record before
// them is known, of every kind 95 %; of untouched records 0.1 % may alarm.
const (
	goalAll, goalKind, goalAlarms = 0.99, 0.95, 0.001
)

// Reached reports whether the goals are reached, and names the kinds that miss theirs.
func (rep *Report) Reached() (ok bool, short []string) {
	ok = share(rep.Total.AsCorrection, rep.Total.Changed) >= goalAll && float64(rep.Clean.Alarmed) <= goalAlarms*float64(rep.Clean.Records)
	for _, r := range rep.Rows {
		if share(r.AsCorrection, r.Changed) < goalKind {
			ok, short = false, append(short, r.Kind)
		}
	}
	return ok, short
}

func share(n, of int) float64 {
	if of == 0 {
		return 1
	}
	return float64(n) / float64(of)
}

func (rep *Report) goals() string {
	ok, short := rep.Reached()
	alone := 0
	for _, r := range rep.Rows {
		if share(r.Caught, r.Changed) >= goalKind {
			alone++
		}
	}
	text := map[bool]string{true: "goals reached", false: "goals missed"}[ok]
	text += fmt.Sprintf(": %s caught as a correction (goal 99 %%)", percent(rep.Total.AsCorrection, rep.Total.Changed))
	if len(short) > 0 {
		text += ", under 95 %: " + strings.Join(short, ", ")
	} else {
		text += ", every kind 95 % at least"
	}
	return text + fmt.Sprintf("\nrecord alone: %s; %d of %d kinds 95 %% at least; the others need the record before them", percent(rep.Total.Caught, rep.Total.Changed), alone, len(rep.Rows))
}

func percent(n, of int) string {
	if of == 0 {
		return "-"
	}
	return fmt.Sprintf("%.1f %%", 100*float64(n)/float64(of))
}
