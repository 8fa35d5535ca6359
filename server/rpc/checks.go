package rpc

import (
	"context"
	"fmt"
	"slices"
	"strings"

	pb "proofload/api/proofload/v1"
	"proofload/server/ask"
	"proofload/server/catalog"
	"proofload/server/check"
	"proofload/server/fault"
	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/library"
)

// Checks implements the Checks service.
type Checks struct {
	pb.UnimplementedChecksServer
	catalog *catalog.Catalog
	judge   check.Func
	rules   []check.Rule
}

func newChecks(d Deps) *Checks {
	rules := slices.Clone(d.Rules)
	slices.SortFunc(rules, func(a, b check.Rule) int { return strings.Compare(a.Name, b.Name) })
	return &Checks{catalog: d.Catalog, judge: d.Check, rules: rules}
}

// MaxDocuments is how many documents one request may have judged.
const MaxDocuments = 100

// LintDocuments implements pb.ChecksServer; so do the methods below.
func (c *Checks) LintDocuments(ctx context.Context, r *pb.LintDocumentsRequest) (*pb.LintDocumentsResponse, error) {
	if n := len(r.Documents); n == 0 || n > MaxDocuments {
		return nil, fault.Field("documents", "documents has %d entries; allowed: 1 to %d", n, MaxDocuments)
	}
	m, err := ask.When("at", "", r.MinPosition)
	if err != nil {
		return nil, err
	}
	old, err := c.catalog.Snapshot(ctx, m)
	if err != nil {
		return nil, err
	}
	var findings []specdata.Finding
	var entries []*library.Entry
	var only []specdata.Name
	for i, in := range r.Documents {
		if len(in.File) > 200 {
			return nil, fault.Field(fmt.Sprintf("documents[%d].file", i), "file name has %d bytes; allowed: 200", len(in.File))
		}
		doc, problems := document.Read(in.File, []byte(in.Text))
		findings = append(findings, problems...)
		if doc == nil {
			continue
		}
		e := library.NewEntry(doc)
		if slices.Contains(only, e.Name()) {
			return nil, fault.Field(fmt.Sprintf("documents[%d]", i), "document %s is given twice; send each record once", e.Name()).With("record", string(e.Name()))
		}
		only = append(only, e.Name())
		entries = append(entries, e)
	}
	out := &pb.LintDocumentsResponse{Counts: &pb.Counts{}, Records: int32(len(only))}
	if len(only) > 0 {
		rep, err := c.judge(ctx, library.Overlay(old, entries...), only, old)
		if err != nil {
			return nil, err
		}
		findings = append(findings, rep.Findings...)
		for _, n := range rep.NotChecked {
			out.NotChecked = append(out.NotChecked, &pb.NotChecked{Rule: n.Rule, Record: string(n.Record), Pointer: n.Pointer, Why: n.Why})
		}
	}
	if err := old.Err(); err != nil {
		return nil, err
	}
	specdata.SortFindings(findings)
	for i := range findings {
		out.Findings = append(out.Findings, finding(&findings[i]))
		count(out.Counts, &findings[i])
	}
	out.Publishable = out.Counts.Error == 0
	return out, tell(ctx, old.Position())
}

func count(n *pb.Counts, f *specdata.Finding) {
	switch {
	case f.Waived != "":
		n.Waived++
	case f.Severity == specdata.Error:
		n.Error++
	case f.Severity == specdata.Warning:
		n.Warning++
	default:
		n.Advice++
	}
}

func finding(f *specdata.Finding) *pb.Finding {
	out := &pb.Finding{
		Rule: f.Rule, Severity: string(f.Severity), Record: string(f.Record), Pointer: f.Pointer,
		File: f.File, Line: int32(f.Line), Column: int32(f.Column), Message: f.Message, Value: f.Value,
		Arithmetic: f.Arithmetic, Waived: f.Waived, Identity: f.Identity,
	}
	for _, r := range f.Related {
		out.Related = append(out.Related, &pb.Related{
			Record: string(r.Record), Pointer: r.Pointer, File: r.File, Line: int32(r.Line), Column: int32(r.Column), Message: r.Message,
		})
	}
	for _, x := range f.Fix {
		out.Fix = append(out.Fix, &pb.PatchOperation{Op: x.Op, Path: x.Path, Value: x.Value})
	}
	return out
}

// rulesCollection is the collection of rules in resource names.
const rulesCollection = "rules"

func (c *Checks) ListRules(_ context.Context, r *pb.ListRulesRequest) (*pb.ListRulesResponse, error) {
	names := make([]string, len(c.rules))
	for i := range c.rules {
		names[i] = c.rules[i].Name
	}
	part, next, err := ask.CutFixed(c.catalog.Pages, names, "rules", ask.Page{Size: r.PageSize, Token: r.PageToken})
	if err != nil {
		return nil, err
	}
	out := &pb.ListRulesResponse{NextPageToken: next}
	for _, name := range part {
		rule := c.rule(name)
		rule.Document = ""
		out.Rules = append(out.Rules, rule)
	}
	return out, nil
}

func (c *Checks) GetRule(_ context.Context, r *pb.GetRuleRequest) (*pb.Rule, error) {
	id, err := ask.ID("name", r.Name, rulesCollection, "")
	if err != nil {
		return nil, err
	}
	if rule := c.rule(id); rule != nil {
		return rule, nil
	}
	e := fault.New(fault.RecordNotFound, "rule %s does not exist", id).With("record", r.Name)
	names := func(yield func(string) bool) {
		for i := range c.rules {
			if !yield(c.rules[i].Name) {
				return
			}
		}
	}
	if near := specdata.Nearest(id, names); near != "" {
		e.Message += fmt.Sprintf("; did you mean %s?", rulesCollection+"/"+near)
		e.With("near", rulesCollection+"/"+near)
	}
	return nil, e
}

func (c *Checks) rule(id string) *pb.Rule {
	i, ok := slices.BinarySearchFunc(c.rules, id, func(r check.Rule, id string) int { return strings.Compare(r.Name, id) })
	if !ok {
		return nil
	}
	r := &c.rules[i]
	out := &pb.Rule{
		Name: rulesCollection + "/" + r.Name, Id: r.Name, Title: r.Title, Severity: string(r.Severity), Source: r.Source, Edition: r.Edition,
		Compares: r.Compares, NoWaiver: r.NoWaiver, Document: r.Doc,
	}
	for _, k := range r.Kinds {
		out.Kinds = append(out.Kinds, string(k))
	}
	return out
}
