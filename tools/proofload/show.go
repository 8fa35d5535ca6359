package main

import (
	"context"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	"proofload/specdata"
	"proofload/specdata/claim"
	"proofload/specdata/document"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
	"proofload/specdata/whom"
	"proofload/specdata/wording"
)

func showCommand() *command {
	return &command{
		name: "show", args: "NAME", summary: "show a record in the words of a workshop, both units",
		examples: []string{
			"proofload show fasteners/quill-1-rear-hub-nut --demo",
			"proofload show quill-1-rear-hub-nut --demo          # where only one record has the id",
			"proofload show quill-1-rear-hub-nut --demo --yaml   # the document, to start another from",
		},
		setup: func(fs *pflag.FlagSet) action {
			from := libraryFlag(fs)
			at := fs.String("at", "", "an older `MOMENT` of a server's library: position:N, time:RFC3339 or release:NAME")
			asYAML := fs.Bool("yaml", false, "print the document as a YAML file holds it")
			return func(ctx context.Context, e *env, args []string) error {
				if len(args) != 1 {
					return usagef("show takes the name of one record, found %d arguments", len(args))
				}
				if *asYAML && *at != "" {
					return usagef("flags --yaml and --at: proofload export --at MOMENT writes the documents of an older moment")
				}
				if *at != "" {
					return showOld(ctx, e, *from, args[0], *at)
				}
				f, err := find(e, *from)
				if err != nil {
					return err
				}
				lib, findings, err := f.load(ctx)
				if err != nil {
					return err
				}
				if len(findings) > 0 {
					fmt.Fprintf(e.stderr, "proofload: the library has files that cannot be read (%s); proofload lint lists them\n", count(len(findings), "finding", "findings"))
				}
				entry, err := lookUp(lib, args[0])
				if err != nil {
					return err
				}
				if *asYAML {
					return printYAML(e.stdout, entry)
				}
				s := shown{w: e.stdout, lib: lib}
				s.record(entry)
				return nil
			}
		},
	}
}

// printYAML prints a record as the file of a library holds it.
func printYAML(w io.Writer, entry *library.Entry) error {
	canonical, err := document.Canonical(entry.Record)
	if err != nil {
		return err
	}
	text, err := document.Format(canonical)
	if err != nil {
		return err
	}
	_, err = w.Write(text)
	return err
}

// showOld shows a record as a server's library had it, with what it is now.
func showOld(ctx context.Context, e *env, from, name, at string) error {
	old, now, m, err := openLibraryAt(ctx, e, from, at)
	if err != nil {
		return err
	}
	entry, err := lookUp(old, name)
	if err != nil {
		return err
	}
	if m.Old() {
		m.Changed = changedTo(old, now, entry.Name())
	}
	s := shown{w: e.stdout, lib: old, moment: m}
	s.record(entry)
	return nil
}

// openLibraryAt opens a library, and where at is given that of a server at an older
// moment, with the one that holds now and what is known of the moment.
func openLibraryAt(ctx context.Context, e *env, from, at string) (old, now *library.Memory, m whom.Moment, err error) {
	if at == "" {
		old, err = openLibrary(ctx, e, from)
		return old, old, m, err
	}
	f, err := find(e, from)
	if err != nil {
		return nil, nil, m, err
	}
	if f.server == nil {
		return nil, nil, m, usagef("flag --at: a folder has no older moments; name a server with --library http://…")
	}
	old, position, err := f.server.loadAt(ctx, at)
	if err != nil {
		return nil, nil, m, err
	}
	now, newest, err := f.server.loadAt(ctx, "")
	if err != nil {
		return nil, nil, m, err
	}
	if m.Position, err = strconv.ParseInt(position, 10, 64); err != nil {
		return nil, nil, m, fmt.Errorf("library %s names no position: %q", f.server.base, position)
	}
	if m.Newest, err = strconv.ParseInt(newest, 10, 64); err != nil {
		return nil, nil, m, fmt.Errorf("library %s names no position: %q", f.server.base, newest)
	}
	return old, now, m, nil
}

// changedTo says what a record is now, where it is not what it was.
func changedTo(old, now *library.Memory, name specdata.Name) []string {
	was, is := old.Get(name), now.Get(name)
	title := fmt.Sprintf("%s (%s)", was.Record.Header().Title, name)
	switch {
	case is == nil:
		return []string{title + " is withdrawn"}
	case is.Hash == was.Hash:
		return nil
	}
	if f, ok := is.Record.(*specdata.Fastener); ok {
		return []string{title + " is now " + wording.Tightening(f.Tightening)}
	}
	return []string{title + " has changed"}
}

// lookUp finds a record by its name or by an id that only one record has.
func lookUp(lib *library.Memory, name string) (*library.Entry, error) {
	var all []string
	var hits []*library.Entry
	for _, k := range specdata.Kinds {
		for e := range lib.All(k) {
			all = append(all, string(e.Name()))
			if string(e.Name()) == name {
				return e, nil
			}
			if e.Name().ID() == name {
				hits = append(hits, e)
			}
		}
	}
	if len(hits) == 1 {
		return hits[0], nil
	}
	if len(hits) > 1 {
		return nil, usagef("id %q has several records: %s and %s; write the collection before it", name, hits[0].Name(), hits[1].Name())
	}
	if !strings.Contains(name, "/") {
		for i, n := range all {
			all[i] = specdata.Name(n).ID()
		}
	}
	hint := specdata.DidYouMean(name, slices.Values(all))
	if hint == "" {
		hint = partOf(name, all)
	}
	return nil, usagef("record %q is not in the library%s", name, hint)
}

// maxContaining is how many names one message suggests; it says how many more there are.
const maxContaining = 8

// partOf returns the part of a message that lists the names that name is a part of,
// with the space before it, and "" where there is none.
func partOf(name string, all []string) string {
	var hits []string
	for _, n := range all {
		if strings.Contains(n, name) {
			hits = append(hits, n)
		}
	}
	if name == "" || len(hits) == 0 {
		return ""
	}
	slices.Sort(hits)
	more := ""
	if n := len(hits) - maxContaining; n > 0 {
		hits, more = hits[:maxContaining], fmt.Sprintf(" and %d more", n)
	}
	return " (there is " + strings.Join(hits, ", ") + more + ")"
}

// shown prints one record.
type shown struct {
	w   io.Writer
	lib library.Library
	// moment is what the library is of.
	moment whom.Moment
}

// row prints a name and a text, and nothing where there is no text.
func (s *shown) row(name, text string) {
	if text != "" {
		fmt.Fprintf(s.w, "  %-12s %s\n", name, text)
	}
}

func (s *shown) record(e *library.Entry) {
	h := e.Record.Header()
	fmt.Fprintf(s.w, "%s (%s)\n", h.Title, e.Name())
	writeMoment(s.w, s.moment)
	switch r := e.Record.(type) {
	case *specdata.Fastener:
		s.fastener(r)
	case *specdata.Procedure:
		s.procedure(r)
	case *specdata.Assembly:
		s.assembly(r)
	case *specdata.Vehicle:
		s.vehicle(r)
	case *specdata.Source:
		s.row("issuer", r.Issuer)
		s.row("edition", strings.TrimSpace(r.Edition+", "+string(r.Date)))
		s.row("type", r.Type)
		s.row("licence", r.Licence)
		s.row("supersedes", strings.Join(r.Supersedes, ", "))
	}
	s.row("note", h.Note)
	if c := specdata.CitationOf(e.Record); c != nil {
		title := c.Document
		if src := library.Source(s.lib, c.Document); src != nil {
			title = src.Title
		}
		s.row("source", fmt.Sprintf("%s, %s, read on %s by %s", title, c.At, c.ReadOn, c.EnteredBy))
		s.row("checked by", c.CheckedBy)
	}
	for _, w := range h.Waivers {
		s.row("waiver", fmt.Sprintf("%s at %s until %s: %s (%s)", w.Rule, w.At, w.Until, w.Reason, w.By))
	}
	fmt.Fprintf(s.w, "\n%s", disclaimer)
}

// applies prints what the record is for, before anything of it.
func (s *shown) applies(as []specdata.Applies) {
	writeFor(s.w, whom.Of(s.lib, as))
}

func (s *shown) fastener(f *specdata.Fastener) {
	s.applies(f.AppliesTo)
	s.row("place", f.Place)
	s.row("joint", fmt.Sprintf("%s, %d at the place", f.Joint, f.Count))
	if f.Thread != nil {
		s.row("thread", wording.Thread(f.Thread)+" into "+f.Thread.Into)
	}
	if f.Stud != nil {
		s.row("stud", wording.Stud(f.Stud))
	}
	if f.Seat != nil {
		s.row("seat", wording.Seat(f.Seat))
	}
	if f.Clamped != nil {
		s.row("clamped", wording.Clamped(f.Clamped))
	}
	if f.Drive != nil {
		s.row("turn", "the "+f.Drive.Turn)
		s.row("tool", wording.DriverFor(f))
		s.row("head", f.Drive.Head)
		s.row("nut", f.Drive.Nut)
	}
	if t := f.Tightening; t != nil {
		for i := range t.Stages {
			name := "tighten"
			if len(t.Stages) > 1 {
				name = fmt.Sprintf("stage %d", i+1)
			}
			s.row(name, wording.StageAt(t, i))
			if b, ok := wording.BandOf(&t.Stages[i], t.Tolerance); ok {
				s.row("", fmt.Sprintf("accepted %s (%s), %s", b.Metric(), b.Imperial(), b.Text))
			}
		}
		s.row("state", wording.States(t))
		s.row("drag", wording.DragOf(f))
		s.row("impact tool", wording.Impact(t.Impact))
		if t.Hold != nil {
			s.row("hold", wording.Hold(t.Hold))
		}
		if t.Pattern != nil {
			s.row("order", wording.Pattern(t))
		}
	}
	if f.Surface != nil {
		s.row("surface", wording.Surface(f.Surface))
	}
	if f.Reuse != nil {
		s.row("reuse", wording.Reuse(f.Reuse))
	}
	if f.Lock != nil {
		s.row("lock", wording.Lock(f.Lock))
	}
	for i := range f.FollowUps {
		s.row("afterwards", wording.FollowUp(&f.FollowUps[i]))
	}
	s.row("safety", f.Safety)
}

func (s *shown) procedure(p *specdata.Procedure) {
	p = claim.Complete(p, s.lib)
	writeFor(s.w, whom.OfProcedure(s.lib, p))
	for _, c := range p.Cautions {
		s.row(strings.ToUpper(c.Signal), c.Text)
	}
	set := dryrun.SetUpOf(s.lib, p, dryrun.Variants(s.lib, p))
	for _, t := range set.Tools {
		s.row("tool", limited(wording.Tool(&t.Thing), t.Where))
	}
	for _, n := range set.Parts {
		s.row("new part", limited(wording.NewPart(&n.Thing), n.Where))
	}
	for _, c := range set.Consumables {
		s.row("supply", limited(wording.Consumable(&c.Thing), c.Where))
	}
	for i := range p.Steps {
		st := &p.Steps[i]
		for _, c := range st.Cautions {
			s.row(strings.ToUpper(c.Signal), c.Text)
		}
		s.row(fmt.Sprintf("%d", i+1), limited(wording.Sentence(p, st, s.fastenerOf), st.Where))
		for _, c := range wording.Criteria(st) {
			s.row("  accept", c)
		}
		s.beside(p, st)
	}
	if p.Proved == "" {
		s.row("proved", "not walked through on a vehicle")
	} else {
		s.row("proved", p.Proved)
	}
}

// limited adds to a text for which option values it holds, where it is not for all.
func limited(text string, where map[string][]string) string {
	if only := wording.OnlyWith(where); only != "" {
		return text + " (" + only + ")"
	}
	return text
}

// beside prints what belongs beside a step for each fastener that it tightens.
func (s *shown) beside(p *specdata.Procedure, st *specdata.Step) {
	for i := range st.Operations {
		op := &st.Operations[i]
		typ, id := op.Target.Split()
		f := s.fastenerOf(id)
		if typ != "fastener" || f == nil || op.Do != specdata.Tighten && op.Do != specdata.StageVerb && op.Do != specdata.Turn {
			continue
		}
		s.row("  "+wording.Called(f, op.Side), wording.ToolsFor(p, op.Tool, f, stagesOf(op, f)))
		for _, c := range wording.Conditions(f) {
			s.row("", "  "+c)
		}
	}
}

// stagesOf lists the stages that an act tightens, counted from 0.
func stagesOf(op *specdata.Operation, f *specdata.Fastener) []int {
	if op.Stage > 0 {
		return []int{op.Stage - 1}
	}
	if f.Tightening == nil {
		return nil
	}
	all := make([]int, len(f.Tightening.Stages))
	for i := range all {
		all[i] = i
	}
	return all
}

func (s *shown) fastenerOf(id string) *specdata.Fastener { return library.Fastener(s.lib, id) }

func (s *shown) assembly(a *specdata.Assembly) {
	s.applies(a.AppliesTo)
	s.row("place", a.Place)
	for _, p := range a.Parts {
		text := p.Title
		if len(p.HeldBy) > 0 {
			text += ", held by " + strings.Join(p.HeldBy, ", ")
		}
		if len(p.Behind) > 0 {
			text += ", behind " + strings.Join(p.Behind, ", ")
		}
		if len(p.Seals) > 0 {
			text += ", seals " + strings.Join(p.Seals, ", ")
		}
		if len(p.Aids) > 0 {
			text += ", with " + strings.Join(p.Aids, ", ")
		}
		s.row("part", text)
	}
	for _, j := range a.Joints {
		s.row("joint", fmt.Sprintf("%s (%s)", j.Title, j.Kind))
	}
	for _, c := range a.Connections {
		s.row("connection", fmt.Sprintf("%s (%s)", c.Title, c.Kind))
	}
	for _, c := range a.Circuits {
		s.row("circuit", wording.Circuit(&c))
	}
	if r := a.RideHeight; r != nil {
		s.row("ride height", strings.TrimSpace(r.Measure+" "+specdata.Display(r.Value)))
	}
}

func (s *shown) vehicle(v *specdata.Vehicle) {
	s.row("make", v.Make)
	s.row("model", v.Model)
	if v.Built != nil {
		s.row("built", v.Built.String())
	}
	for _, k := range slices.Sorted(maps.Keys(v.Options)) {
		s.row(strings.ReplaceAll(k, "_", " "), strings.Join(v.Options[k], ", "))
	}
	s.row("markets", strings.Join(v.Markets, ", "))
	s.row("laden mass", specdata.Display(v.MassLaden))
}
