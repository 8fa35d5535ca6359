// Package sheet lays a procedure out for paper: the torque sheet in order of use,
// pick lists, cautions and steps, with room to initial. The command line and the
// server print the same sheet.
package sheet

import (
	"fmt"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/claim"
	"proofload/specdata/dryrun"
	"proofload/specdata/joint"
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
	// Hash is the SHA-256 over every record the sheet rests on, lower-case hex; see
	// HashOf. Two sheets of other values never have one hash.
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
	// Wear lists the protection that the hazards call for.
	Wear []string
	// Drives are the sockets, bits and keys with what they are for, Tools the rest of
	// the set-up block.
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
	// Boxes are the boxes to tick, one a piece: the name of each round of several, and
	// how many pieces it has.
	Boxes []Round
}

// Round is one time around the pieces of a fastener.
type Round struct {
	// Name is "" where there is one round.
	Name   string
	Pieces int
}

// Step is one thing to tick.
type Step struct {
	Number int
	// Side is left or right where the text does not say it.
	Side string
	Text string
	// Turn is what is said before the step where the job turns to the other side.
	Turn string
	// Notes are remarks on its acts, Tools what its fasteners are tightened with.
	Notes, Tools []string
	Accept       []string
	// Measured names each value that is measured or counted: there is room to write it.
	Measured []string
	Cautions []Caution
}

// Caution every sheet carries, whatever the records say.
const standing = "Compare with the vehicle maker's information for this exact vehicle before work. Local codes and licensed practice come first. Check that this sheet is still valid before each use."

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
	p = claim.Complete(p, l)
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
		Title: p.Title, Procedure: p.Name(), For: whom.OfVariant(l, p, v, side).At(r.Moment),
		Printed: r.Printed, CheckCode: r.CheckCode, CheckURL: r.CheckURL, Notice: strings.TrimSpace(standing + " " + upperFirst(r.Notice)),
		Proved: "not yet tried on a vehicle", Cautions: cautions(p.Cautions),
	}
	if p.Proved != "" {
		s.Proved = "walked through: " + p.Proved
	}
	s.torques(l, p, o, s.steps(l, p, o))
	s.Wear = wording.Wear(p)
	s.picks(&dryrun.Result{Procedure: p, Outcomes: []*dryrun.Outcome{o}}, l)
	for _, w := range o.Owed {
		if line := wording.Owed(w.What, w.After); !slices.Contains(s.Owed, line) {
			s.Owed = append(s.Owed, line)
		}
	}
	s.Variant, s.Uses = v.String(), usesOf(l, e, v.Vehicle)
	s.Hash = HashOf(s.Uses)
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

func cautions(cs []specdata.Caution) []Caution {
	var out []Caution
	for _, c := range cs {
		out = append(out, Caution{strings.ToUpper(c.Signal), c.Text})
	}
	return out
}

// steps numbers the steps as they are done: repeats unrolled, branches taken. It
// returns the number of the step of each moment of the run.
func (s *Sheet) steps(l library.Library, p *specdata.Procedure, o *dryrun.Outcome) []int {
	numbers := make([]int, len(o.Timeline))
	var turn string
	var before []Caution
	for _, r := range o.Readings(p) {
		if r.Step.Repeat != nil {
			turn, before = sentence(l, p, r.Step), cautions(r.Step.Cautions)
			continue
		}
		st := Step{Number: len(s.Steps) + 1, Text: sentence(l, p, r.Step), Turn: turn, Cautions: append(before, cautions(r.Step.Cautions)...)}
		turn, before = "", nil
		st.Side = wording.SideOf(p, r.Step, r.Side, st.Text)
		st.Accept = wording.Criteria(r.Step)
		st.Notes = wording.Notes(r.Step)
		st.Measured = wording.Measured(r.Step)
		for _, m := range r.Moments {
			numbers[m] = st.Number
		}
		s.Steps = append(s.Steps, st)
	}
	return numbers
}

func sentence(l library.Library, p *specdata.Procedure, st *specdata.Step) string {
	return wording.Sentence(p, st, func(id string) *specdata.Fastener { return library.Fastener(l, id) })
}

// torques lists every tightening in order of use, with the number of the step on this
// sheet, given for each moment of the run.
func (s *Sheet) torques(l library.Library, p *specdata.Procedure, o *dryrun.Outcome, numbers []int) {
	for _, u := range o.Torques {
		f := u.Fastener
		row := Row{
			Number: len(s.Torques) + 1, Step: numbers[u.Moment], What: wording.Called(f, u.Act.Side), Tool: wording.ToolsFor(p, u.Act.Tool, f, u.Stages),
			Value: wording.Stages(f.Tightening, u.Stages), Stage: wording.StageNames(f.Tightening, u.Stages),
			Band: wording.AcceptedBy(f.Tightening, u.Stages, wording.Wrench(p, u.Act.Tool, f, u.Stages)), Notes: wording.Conditions(f), Boxes: rounds(u),
		}
		if set := setting(p, u); set != "" {
			row.Notes = append([]string{set}, row.Notes...)
		}
		if st := &s.Steps[row.Step-1]; row.Tool != "" && !slices.Contains(st.Tools, row.Tool) {
			st.Tools = append(st.Tools, row.Tool)
		}
		if src := library.Source(l, citation(f)); src != nil {
			row.Source = src.Title + ", " + f.Source.At
		}
		s.Torques = append(s.Torques, row)
	}
}

// setting says what the wrench is set to where an adapter or a multiplier lies between it
// and the fastener: "set 100 N·m (74 lbf·ft) on the wrench: crow-foot, 110 × 400/(400 + 40)".
// It is "" where the value itself is set.
func setting(p *specdata.Procedure, u dryrun.TorqueUse) string {
	through := p.ToolOf(u.Act.Through)
	if through == nil {
		return ""
	}
	var out []string
	for _, i := range u.Stages {
		q := u.Fastener.Tightening.Stages[i].Torque
		if q.IsZero() {
			continue
		}
		set, err := joint.SettingThrough(p.ToolOf(u.Act.Tool), through, q.SI())
		if err != nil {
			return "setting through the " + specdata.InSentence(through.Title) + " not known: " + err.Error()
		}
		out = append(out, "set "+wording.NewtonMetres(set.Torque)+" on the wrench: "+specdata.InSentence(through.Title)+", "+set.How)
	}
	return strings.Join(out, "; ")
}

// rounds lists the boxes to tick for a tightening: one a piece, once a round.
func rounds(u dryrun.TorqueUse) []Round {
	pieces := max(1, len(u.Act.Positions))
	if len(u.Act.Positions) == 0 {
		pieces = max(1, u.Fastener.Count)
	}
	t := u.Fastener.Tightening
	var out []Round
	switch {
	case len(u.Stages) > 1: // a row that makes several stages has a round for each
		for _, i := range u.Stages {
			out = append(out, Round{fmt.Sprintf("stage %d: %s", i+1, wording.StageValue(t, []int{i})), pieces})
		}
	case t.Pattern != nil && t.Pattern.Passes > 1 && len(t.Stages) == 1:
		// The record has one value for all rounds: the first reaches it, the rest find
		// what has settled.
		for i := range t.Pattern.Passes {
			out = append(out, Round{fmt.Sprintf("pass %d: %s", i+1, wording.StageValue(t, u.Stages)), pieces})
		}
	default:
		out = []Round{{Pieces: pieces}}
	}
	return out
}

func citation(f *specdata.Fastener) string {
	if f.Source == nil {
		return ""
	}
	return f.Source.Document
}

func (s *Sheet) picks(r *dryrun.Result, l library.Library) {
	picks := r.PickList(l)
	s.Drives, s.Tools = LayOut(picks, func(id string) *specdata.Fastener { return library.Fastener(l, id) })
	for i := range picks.NewParts {
		s.Parts = append(s.Parts, wording.NewPart(&picks.NewParts[i]))
	}
	for i := range picks.Consumables {
		s.Supplies = append(s.Supplies, wording.Consumable(&picks.Consumables[i]))
	}
}

// LayOut lists the sockets, bits and keys with what they are for, and the other tools of
// the set-up block: each thing once.
func LayOut(picks dryrun.Picks, fastener func(id string) *specdata.Fastener) (drives, tools []string) {
	listed := map[string]bool{}
	for _, d := range picks.Drives {
		if strings.HasPrefix(d.Fits, "knurled") {
			continue // turned by hand: nothing to lay out
		}
		var names []string
		titles := map[string][]string{}
		for _, id := range d.Fasteners {
			f := fastener(id)
			if f == nil {
				continue
			}
			name := wording.DriverFor(f)
			if d.Holds {
				name = wording.HolderFor(f)
			}
			if titles[name] == nil {
				names = append(names, name)
			}
			if !slices.Contains(titles[name], f.Title) {
				titles[name] = append(titles[name], f.Title)
			}
		}
		square := ""
		// A line of the set-up block that is the same thing is not listed twice.
		if i := slices.IndexFunc(picks.Tools, func(t specdata.Tool) bool {
			return t.Size == d.Fits && !listed[t.ID] && (t.Kind == "socket") != d.Holds
		}); i >= 0 && len(names) > 0 {
			listed[picks.Tools[i].ID] = true
			if q := picks.Tools[i].Square; !q.IsZero() {
				square = " (" + specdata.Display(q) + " square)"
			}
		}
		for _, name := range names {
			drives = append(drives, wording.DriveFor(name, d.Holds, titles[name])+square)
		}
	}
	for i := range picks.Tools {
		if !listed[picks.Tools[i].ID] {
			tools = append(tools, wording.Tool(&picks.Tools[i]))
		}
	}
	return drives, tools
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
