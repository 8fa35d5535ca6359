package measure

import (
	"fmt"
	"io"
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
	// nothing in the records tells whether it matters; Spoken counts the latter that
	// a rule speaks about all the same.
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
	AsCorrection int    `json:"caught_as_correction"`
	Redated      int    `json:"caught_as_correction_redated"`
	Missed       []Miss `json:"missed,omitempty"`
}

// Miss is a slip that changes meaning and that no error or warning meets.
type Miss struct {
	Record     specdata.Name     `json:"record"`
	What       string            `json:"what"`
	Alone      specdata.Severity `json:"alone"`
	Correction specdata.Severity `json:"as_correction_redated"`
}

func (r *Row) count(o outcome) {
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
		fmt.Fprintf(t, "%s\t%d\t%d\t%d\t%d\t%d\t%d\t%s\t%s\t%s\t\n", r.Kind, r.Tried, r.Same, r.NotJudged, r.Changed, r.Caught, r.Advised, percent(r.Caught, r.Changed), percent(r.AsCorrection, r.Changed), percent(r.Redated, r.Changed))
	}
	fmt.Fprintln(t, "kind of slip\ttried\tsame\tnot judged\tchanged\tcaught\tadvised\trecall\tas correction\tredated\t")
	group := ""
	for _, r := range rep.Rows {
		if r.Group != group {
			group = r.Group
			fmt.Fprintf(t, "-- %s\t\t\t\t\t\t\t\t\t\t\n", group)
		}
		line(r)
	}
	fmt.Fprintln(t, "-- sums\t\t\t\t\t\t\t\t\t\t")
	for _, r := range rep.Groups {
		line(r)
	}
	line(rep.Total)
	if err := t.Flush(); err != nil {
		return err
	}
	c := rep.Clean
	_, err := fmt.Fprintf(w, "\n%d slips not judged, a rule speaks about %d of them\nfalse alarms (error or warning): %d of %d untouched records, %s; advice: %d\n",
		rep.Total.NotJudged, rep.Total.Spoken, c.Alarmed, c.Records, percent(c.Alarmed, c.Records), c.Advice)
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

func percent(n, of int) string {
	if of == 0 {
		return "-"
	}
	return fmt.Sprintf("%.1f %%", 100*float64(n)/float64(of))
}
