// Package sheet lays a procedure out for paper: the torque sheet in order of use,
// pick lists, cautions and steps, with room to initial. The command line and the
// server print the same sheet.
package sheet

import (
	"fmt"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
	"proofload/specdata/whom"
	"proofload/specdata/wording"
)

// Sheet is everything that stands on the paper, in words.
type Sheet struct {
	Title     string
	Procedure specdata.Name
	// For is what the sheet is for: vehicle, options, builds, side and moment. It stands
	// under the title and at the foot of every page.
	For whom.For
	// Hash is the SHA-256 of the procedure's canonical document.
	Hash string
	// Printed is the day of printing.
	Printed specdata.Date
	// Check is where and under which code a reader learns whether the sheet still
	// holds; both are empty for a sheet from a folder.
	CheckCode, CheckURL string
	// Notice is the standing caution.
	Notice   string
	Proved   string
	Cautions []Caution
	Drives   []string
	Tools    []string
	Parts    []string
	Supplies []string
	Torques  []Row
	Steps    []Step
	Owed     []string
	// Variant is what the sheet is for as the dry run names it, Uses everything it
	// rests on in order of name; neither is printed, both are in its code.
	Variant string
	Uses    []Used
}

// Caution is a signal word with its text (ANSI Z535.4 words).
type Caution struct{ Signal, Text string }

// Row is one tightening.
type Row struct {
	Number int
	Step   int
	What   string
	// Value gives both units, Band the accepted range, Stage which of several stages
	// it is.
	Value, Band, Stage string
	// Notes are the conditions beside the number, as wording.Conditions lists them.
	Notes  []string
	Tool   string
	Source string
}

// Step is one thing to tick.
type Step struct {
	Number int
	Side   string
	Text   string
	Accept []string
	// Measured says that a value is measured or counted: there is room to write it.
	Measured bool
	Cautions []Caution
}

// Caution every sheet carries, whatever the records say.
const standing = "Compare with the vehicle maker's information for this exact vehicle before work. Local codes and licensed practice come first. Check that this sheet still holds before each use."

// Request says which sheet is wanted.
type Request struct {
	Procedure string
	// Asked is the vehicle that somebody asks for.
	Asked whom.Asked
	// Variant is the one that an earlier sheet was made for; where it is given, Asked
	// is not looked at.
	Variant *dryrun.Variant
	// Side is left or right where the reader picks one.
	Side    specdata.Side
	Printed specdata.Date
	// Moment is what the library is of.
	Moment whom.Moment
	// Notice is added to the standing caution, such as that the library is a demo.
	Notice              string
	CheckCode, CheckURL string
}

// New works a sheet out. The errors are those of whom.One and whom.SideOf where the
// procedure is not for what was asked or more must be known, and else say what the dry
// run finds: a procedure that does not close is not printed.
func New(l library.Library, r Request) (*Sheet, error) {
	e := l.Get(specdata.NewName(specdata.KindProcedure, r.Procedure))
	if e == nil {
		return nil, fmt.Errorf("procedure %q is not in the library", r.Procedure)
	}
	p, ok := e.Record.(*specdata.Procedure)
	if !ok {
		return nil, fmt.Errorf("record %q is not a procedure", r.Procedure)
	}
	v, err := variant(l, p, r)
	if err != nil {
		return nil, err
	}
	side, err := whom.SideOf(l, p, string(r.Side))
	if err != nil {
		return nil, err
	}
	o := dryrun.RunVariant(l, p, v)
	if len(o.Problems) > 0 {
		return nil, fmt.Errorf("procedure %s does not pass its dry run and is not printed: %s", p.ID, o.Problems[0].Message())
	}
	s := &Sheet{
		Title: p.Title, Procedure: p.Name(), For: whom.Of(l, p.AppliesTo).Variant(v.Vehicle, options(v)).OnSide(side).At(r.Moment), Hash: e.Hash,
		Printed: r.Printed, CheckCode: r.CheckCode, CheckURL: r.CheckURL, Notice: strings.TrimSpace(standing + " " + upperFirst(r.Notice)),
		Proved: "not proved on a vehicle", Cautions: cautions(p.Cautions),
	}
	if p.Proved != "" {
		s.Proved = "walked through: " + p.Proved
	}
	s.steps(l, p, o)
	s.torques(l, p, o)
	s.picks(&dryrun.Result{Procedure: p, Outcomes: []*dryrun.Outcome{o}}, l)
	for _, w := range o.Owed {
		if line := wording.Owed(w.What, w.After); !slices.Contains(s.Owed, line) {
			s.Owed = append(s.Owed, line)
		}
	}
	s.Variant, s.Uses = v.String(), usesOf(l, e, v.Vehicle)
	return s, l.Err()
}

// variant returns the one variant that the request is for.
func variant(l library.Library, p *specdata.Procedure, r Request) (dryrun.Variant, error) {
	if r.Variant == nil {
		return whom.One(l, p, r.Asked)
	}
	for _, v := range dryrun.Variants(l, p) {
		if v.String() == r.Variant.String() {
			return v, nil
		}
	}
	return dryrun.Variant{}, fmt.Errorf("procedure %s has no variant %s any more", p.ID, r.Variant)
}

func options(v dryrun.Variant) map[string]string {
	out := make(map[string]string, len(v.Options))
	for _, o := range v.Options {
		out[o.Key] = o.Value
	}
	return out
}

func cautions(cs []specdata.Caution) []Caution {
	var out []Caution
	for _, c := range cs {
		out = append(out, Caution{strings.ToUpper(c.Signal), c.Text})
	}
	return out
}

// steps numbers the steps as they are done: repeats unrolled, branches taken.
func (s *Sheet) steps(l library.Library, p *specdata.Procedure, o *dryrun.Outcome) {
	for _, m := range o.Timeline {
		st := Step{Number: len(s.Steps) + 1, Text: sentence(l, p, m.Step), Cautions: cautions(m.Step.Cautions)}
		if m.Side == specdata.SideLeft || m.Side == specdata.SideRight {
			st.Side = string(m.Side)
		}
		st.Accept = wording.Criteria(m.Step)
		st.Measured = slices.ContainsFunc(m.Step.Operations, func(o specdata.Operation) bool {
			return o.Do == specdata.Measure || o.Do == specdata.Count
		})
		s.Steps = append(s.Steps, st)
	}
}

func sentence(l library.Library, p *specdata.Procedure, st *specdata.Step) string {
	return wording.Sentence(p, st, func(id string) *specdata.Fastener { return library.Fastener(l, id) })
}

// torques lists every tightening in order of use, with the number of the step on this sheet.
func (s *Sheet) torques(l library.Library, p *specdata.Procedure, o *dryrun.Outcome) {
	for _, u := range o.Torques {
		f := u.Fastener
		row := Row{
			Number: len(s.Torques) + 1, Step: u.Moment + 1, What: wording.Called(f, u.Act.Side), Tool: wording.ToolsFor(p, u.Act.Tool, f),
			Value: wording.Stages(f.Tightening, u.Stages), Stage: wording.StageNames(f.Tightening, u.Stages),
			Band: wording.Accepted(f.Tightening, u.Stages), Notes: wording.Conditions(f),
		}
		if src := library.Source(l, citation(f)); src != nil {
			row.Source = src.Title + ", " + f.Source.At
		}
		s.Torques = append(s.Torques, row)
	}
}

func citation(f *specdata.Fastener) string {
	if f.Source == nil {
		return ""
	}
	return f.Source.Document
}

func (s *Sheet) picks(r *dryrun.Result, l library.Library) {
	picks := r.PickList()
	for _, d := range picks.Drives {
		var who []string
		for _, id := range d.Fasteners {
			if f := library.Fastener(l, id); f != nil {
				who = append(who, f.Title)
			}
		}
		s.Drives = append(s.Drives, wording.DriveFor(d.Fits, d.Holds, who))
	}
	for i := range picks.Tools {
		s.Tools = append(s.Tools, wording.Tool(&picks.Tools[i]))
	}
	for i := range picks.NewParts {
		s.Parts = append(s.Parts, wording.NewPart(&picks.NewParts[i]))
	}
	for i := range picks.Consumables {
		s.Supplies = append(s.Supplies, wording.Consumable(&picks.Consumables[i]))
	}
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
