package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	pb "proofload/api/proofload/v1"
	"proofload/server/ask"
	"proofload/specdata"
	"proofload/specdata/change"
	"proofload/specdata/library"
	"proofload/specdata/whom"
)

func diffCommand() *command {
	return &command{
		name: "diff", args: "A [B]", summary: "what differs between two moments of a server, or two folders",
		examples: []string{
			"proofload diff release:first-books release:2026-10",
			"proofload diff position:1                           # from then to now",
			"proofload diff release:2026-10 our-library          # a moment of a server and a folder",
			"proofload diff our-library october --json",
		},
		notes: []string{
			"A and B are position:N, time:RFC3339 or release:NAME of the server that --server names, now, or\nfolders (an export is one). What can hurt someone comes first, then what moved furthest.",
			"The exit code says that the comparison was made, not that nothing differs.",
		},
		setup: func(fs *pflag.FlagSet) action {
			var o diffOptions
			o.flags = addServerFlags(fs)
			fs.StringArrayVar(&o.kinds, "kind", nil, "keep records of this `KIND`: vehicle, fastener, assembly, procedure, source; may be given more than once")
			fs.BoolVar(&o.json, "json", false, "write JSON")
			return func(ctx context.Context, e *env, args []string) error {
				if len(args) == 1 {
					args = append(args, "now")
				}
				if len(args) != 2 {
					return usagef("diff takes two moments or folders, found %d arguments", len(args))
				}
				return o.run(ctx, e, args[0], args[1])
			}
		},
	}
}

type diffOptions struct {
	flags *serverFlags
	kinds []string
	json  bool
}

// difference is a record that differs, as --json writes it.
type difference struct {
	Name   specdata.Name `json:"name"`
	Title  string        `json:"title,omitempty"`
	How    string        `json:"how"`
	Safety string        `json:"safety,omitempty"`
	// For is what the record holds for, "" for a source.
	For    string         `json:"for,omitempty"`
	Moves  []moved        `json:"moves,omitempty"`
	Fields []change.Field `json:"fields,omitempty"`
}

// moved is a torque or angle that differs.
type moved struct {
	What    string  `json:"what"`
	Pointer string  `json:"pointer"`
	Text    string  `json:"text"`
	Ratio   float64 `json:"ratio,omitempty"`
}

// comparison is what was compared and what came of it.
type comparison struct {
	From        string       `json:"from"`
	To          string       `json:"to"`
	Differences []difference `json:"differences"`
}

func (o *diffOptions) run(ctx context.Context, e *env, a, b string) error {
	for _, k := range o.kinds {
		if specdata.Kind(k).Collection() == "" {
			return usagef("flag --kind: %q is no kind; allowed: vehicle, fastener, assembly, procedure, source", k)
		}
	}
	from, err := sideOf(e, a)
	if err != nil {
		return err
	}
	to, err := sideOf(e, b)
	if err != nil {
		return err
	}
	var s *server
	if from.folder == nil || to.folder == nil {
		if s, err = o.flags.connect(e); err != nil {
			return err
		}
	}
	c := &comparison{Differences: []difference{}}
	if from.folder == nil && to.folder == nil {
		err = o.onServer(ctx, s, c, from, to)
	} else {
		err = o.here(ctx, s, c, from, to)
	}
	if err != nil {
		return refused(e, err)
	}
	if o.json {
		enc := json.NewEncoder(e.stdout)
		enc.SetEscapeHTML(false)
		enc.SetIndent("", "  ")
		return stdoutError(enc.Encode(c))
	}
	return stdoutError(c.text(e.stdout))
}

// side is one of the two that are compared: a moment of the server, or a folder.
type side struct {
	moment string
	folder *folder
}

func sideOf(e *env, arg string) (side, error) {
	how, _, found := strings.Cut(arg, ":")
	switch {
	case arg == "now":
		return side{}, nil
	case found && slices.Contains([]string{"position", "time", "release"}, how):
		if _, err := ask.At("moment", arg); err != nil {
			return side{}, usagef("%v", err)
		}
		return side{moment: arg}, nil
	case isURL(arg):
		return side{}, usagef("%s is a server; name it with --server and its moments as position:N, time:RFC3339, release:NAME or now", arg)
	}
	f, err := openNamed(e, arg)
	return side{folder: f}, err
}

// onServer lets the server compare two of its moments.
func (o *diffOptions) onServer(ctx context.Context, s *server, c *comparison, from, to side) error {
	first := from.moment
	if first == "" {
		_, header, err := s.get(ctx, "/v1/sources", url.Values{"page_size": {"1"}})
		if err != nil {
			return err
		}
		first = "position:" + header.Get("Proofload-Position")
	}
	query := url.Values{"from": {first}, "page_size": {"500"}}
	if to.moment != "" {
		query.Set("to", to.moment)
	}
	for _, k := range o.kinds {
		query.Add("kinds", k)
	}
	for {
		var page pb.DiffLibraryResponse
		if err := s.call(ctx, http.MethodGet, "/v1/diff", query, nil, &page); err != nil {
			return err
		}
		c.From, c.To = "position "+strconv.FormatInt(page.FromPosition, 10), "position "+strconv.FormatInt(page.ToPosition, 10)
		for _, d := range page.Differences {
			c.Differences = append(c.Differences, ofServer(d))
		}
		if page.NextPageToken == "" {
			break
		}
		query.Set("page_token", page.NextPageToken)
	}
	c.From, c.To = positionOf(from.moment, c.From), positionOf(to.moment, c.To)
	return nil
}

// positionOf returns a moment as it was named, with the position that it is.
func positionOf(moment, position string) string {
	if moment == "" || strings.HasPrefix(moment, "position:") {
		return position
	}
	return moment + " (" + position + ")"
}

func ofServer(d *pb.Difference) difference {
	out := difference{Name: specdata.Name(d.Name), Title: d.Title, How: d.How, Safety: d.Safety, For: d.GetForWhom().GetText()}
	for _, m := range d.Moves {
		out.Moves = append(out.Moves, moved{m.What, m.Pointer, m.Text, m.Ratio})
	}
	for _, f := range d.Fields {
		out.Fields = append(out.Fields, change.Field{Pointer: f.Pointer, Old: f.Old, New: f.New})
	}
	return out
}

// here compares two libraries in memory.
func (o *diffOptions) here(ctx context.Context, s *server, c *comparison, from, to side) error {
	old, oldName, err := from.load(ctx, s)
	if err != nil {
		return err
	}
	new, newName, err := to.load(ctx, s)
	if err != nil {
		return err
	}
	c.From, c.To = oldName, newName
	var records []*change.Record
	for _, k := range specdata.Kinds {
		if len(o.kinds) > 0 && !slices.Contains(o.kinds, string(k)) {
			continue
		}
		names := map[specdata.Name]bool{}
		for _, lib := range []*library.Memory{old, new} {
			for e := range lib.All(k) {
				if names[e.Name()] {
					continue
				}
				names[e.Name()] = true
				r, err := change.Of(e.Name(), stateOf(old, e.Name()), stateOf(new, e.Name()))
				if err != nil {
					return err
				}
				if r != nil {
					records = append(records, r)
				}
			}
		}
	}
	change.Sort(records)
	for _, r := range records {
		d := difference{Name: r.Name, Title: r.Title, How: string(r.How), Safety: r.Safety, Fields: r.Fields}
		for _, lib := range []*library.Memory{new, old} {
			if e := lib.Get(r.Name); e != nil {
				if f := whom.OfRecord(lib, e.Record); !f.IsZero() {
					d.For = f.Text()
				}
				break
			}
		}
		for i := range r.Moves {
			m := &r.Moves[i]
			d.Moves = append(d.Moves, moved{m.What, m.Pointer, m.String(), m.Ratio})
		}
		c.Differences = append(c.Differences, d)
	}
	return nil
}

func stateOf(lib *library.Memory, name specdata.Name) change.State {
	if e := lib.Get(name); e != nil {
		return change.State{Document: e.Canonical}
	}
	return change.State{}
}

func (x side) load(ctx context.Context, s *server) (lib *library.Memory, name string, err error) {
	if x.folder == nil {
		lib, position, err := s.loadAt(ctx, x.moment)
		return lib, positionOf(x.moment, "position "+position), err
	}
	lib, findings, err := x.folder.load(ctx)
	if err != nil {
		return nil, "", err
	}
	if len(findings) > 0 {
		first := findings[0]
		return nil, "", fmt.Errorf("library %s cannot be read whole (%s), first of all %s:%d:%d: %s", x.folder.dir, count(len(findings), "finding", "findings"), first.File, first.Line, first.Column, first.Message)
	}
	return lib, x.folder.dir, nil
}

// text writes a comparison for people.
func (c *comparison) text(w io.Writer) error {
	var b strings.Builder
	safety := 0
	for _, d := range c.Differences {
		if d.Safety != "" {
			safety++
		}
	}
	fmt.Fprintf(&b, "%s to %s: %s", c.From, c.To, count(len(c.Differences), "record differs", "records differ"))
	if safety > 0 {
		fmt.Fprintf(&b, ", %d of them safety critical", safety)
	}
	b.WriteString("\n")
	for _, d := range c.Differences {
		d.text(&b)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func (d *difference) text(b *strings.Builder) {
	fmt.Fprintf(b, "\n%s %s", d.How, d.Name)
	if d.Title != "" {
		fmt.Fprintf(b, ", %s", d.Title)
	}
	if d.Safety != "" {
		fmt.Fprintf(b, " [%s]", d.Safety)
	}
	b.WriteString("\n")
	if d.For != "" {
		fmt.Fprintf(b, "  FOR %s\n", d.For)
	}
	for _, m := range d.Moves {
		fmt.Fprintf(b, "  %s\n", m.Text)
	}
	for _, f := range d.Fields {
		fmt.Fprintf(b, "  %s: %s → %s\n", f.Pointer, orNothing(f.Old), orNothing(f.New))
	}
}
