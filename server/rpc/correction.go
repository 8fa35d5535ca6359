package rpc

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"math"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/structpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "proofload/api/proofload/v1"
	"proofload/server/ask"
	"proofload/server/desk"
	"proofload/server/fault"
	"proofload/server/view"
	"proofload/specdata"
	"proofload/specdata/change"
)

// answer returns what makes the message of what the desk answered. An etag that came in
// a message is part of the request, not a condition of HTTP: where it does not hold, the
// correction has moved.
func (c *Corrections) answer(ctx context.Context) func(*desk.Correction, error) (*pb.Correction, error) {
	return func(one *desk.Correction, err error) (*pb.Correction, error) {
		var e *fault.Error
		if errors.As(err, &e) && e.Kind == fault.EtagMismatch {
			moved := *e
			moved.Kind = fault.CorrectionMoved
			return nil, &moved
		}
		if err != nil {
			return nil, err
		}
		return c.message(ctx, one)
	}
}

// message is a correction on the wire, with what its records hold for.
func (c *Corrections) message(ctx context.Context, one *desk.Correction) (*pb.Correction, error) {
	holds, err := c.desk.ForWhom(ctx, one)
	if err != nil {
		return nil, err
	}
	out := correctionMessage(one)
	for _, r := range out.Records {
		r.ForWhom = view.ForWhom(holds[specdata.Name(r.Record)])
	}
	return out, nil
}

func correctionMessage(c *desk.Correction) *pb.Correction {
	out := &pb.Correction{
		State: string(c.State), Reason: c.Reason, Evidence: c.Evidence, ContentHash: c.Content, Authors: c.Authors,
		Findings: findingsMessage(&c.Findings), CheckedPosition: c.CheckedAt, Position: c.Position,
	}
	if c.ID != "" { // what was only judged has no name and was made at no time
		out.Name, out.Etag = correctionsCollection+"/"+c.ID, ask.EtagOf(c.Version)
		out.CreateTime, out.UpdateTime = timestamppb.New(c.Created), timestamppb.New(c.Updated)
	}
	for i := range c.Drafts {
		out.Records = append(out.Records, draftMessage(&c.Drafts[i]))
	}
	for _, d := range c.Decisions {
		out.Decisions = append(out.Decisions, &pb.CorrectionDecision{
			By: d.By, Approved: d.Approved, ContentHash: d.Content, Comment: d.Comment, DecideTime: timestamppb.New(d.Time),
		})
	}
	for _, x := range c.Signatures {
		out.Signatures = append(out.Signatures, &pb.CorrectionSignature{By: x.By, Note: x.Note, SignTime: timestamppb.New(x.Time)})
	}
	if e := c.End; e != nil {
		out.End = &pb.CorrectionEnd{By: e.By, Comment: e.Comment, EndTime: timestamppb.New(e.Time)}
	}
	if c.Reach != nil {
		out.Reach = reachMessage(c.ID, c.Reach)
	}
	return out
}

func draftMessage(d *desk.Draft) *pb.CorrectedRecord {
	out := &pb.CorrectedRecord{Record: string(d.Name), BaseRevision: d.Base, Document: string(d.Document), DocumentHash: d.Hash, Withdraw: d.Document == nil}
	for _, f := range d.Fields {
		out.Fields = append(out.Fields, fieldMessage(f))
	}
	return out
}

// fieldMessage says what happened to one field, torques in both units.
func fieldMessage(f change.Field) *pb.FieldChange {
	out := &pb.FieldChange{Pointer: f.Pointer, Old: f.Old, New: f.New}
	m := change.Move{What: fieldName(f.Pointer), Pointer: f.Pointer, Old: torqueOf(f.Old), New: torqueOf(f.New)}
	if m.Old.IsZero() && m.New.IsZero() || m.Old.IsZero() && f.Old != "" || m.New.IsZero() && f.New != "" {
		out.Text = plainMove(m.What, f)
		return out
	}
	out.OldTorque, out.NewTorque = view.Torque(m.Old), view.Torque(m.New)
	if !m.Old.IsZero() && !m.New.IsZero() && m.Old.SI() != 0 {
		m.Ratio = m.New.SI()/m.Old.SI() - 1
		out.ChangePercent = percent(m.Ratio)
	}
	out.Text = m.String()
	return out
}

// percent returns a relative move in percent, to the hundredth: more says nothing.
func percent(ratio float64) float64 { return math.Round(ratio*1e4) / 1e2 }

// torqueOf reads a value that is a torque, zero where it is none.
func torqueOf(s string) specdata.Quantity {
	if q, err := specdata.ParseQuantity(s); err == nil && q.Dimension() == specdata.Torque {
		return q
	}
	return specdata.Quantity{}
}

var unescape = strings.NewReplacer("~1", "/", "~0", "~")

// fieldName is what a pointer points to in words: "torque of stage 1",
// "tightening tolerance". Elements of lists count from 1, as people do.
func fieldName(pointer string) string {
	if pointer == "" {
		return "record"
	}
	var words []string
	for _, token := range strings.Split(pointer[1:], "/") {
		if n, err := strconv.Atoi(token); err == nil {
			token = strconv.Itoa(n + 1)
		}
		words = append(words, strings.NewReplacer("_", " ", "-", " ").Replace(unescape.Replace(token)))
	}
	if len(words) == 4 && words[0] == "tightening" && words[1] == "stages" {
		return words[3] + " of stage " + words[2]
	}
	return strings.Join(words, " ")
}

// longest is how much of a value stands in a sentence; the whole is beside it.
const longest = 120

func plainMove(what string, f change.Field) string {
	switch {
	case f.Pointer == "" && f.Old == "":
		return "record new"
	case f.Pointer == "" && f.New == "":
		return "record withdrawn"
	case f.Old == "":
		return what + " new: " + short(f.New)
	case f.New == "":
		return what + " gone: was " + short(f.Old)
	}
	return what + " was " + short(f.Old) + ", is " + short(f.New)
}

func short(s string) string {
	if r := []rune(s); len(r) > longest {
		return string(r[:longest]) + "…"
	}
	return s
}

func findingsMessage(f *desk.Findings) *pb.CorrectionFindings {
	out := &pb.CorrectionFindings{Blocking: int32(f.Blocking), Omitted: int32(f.Omitted), New: findings(f.New), Mended: findings(f.Mended), Unchanged: findings(f.Unchanged)}
	for _, n := range f.NotChecked {
		out.NotChecked = append(out.NotChecked, &pb.NotChecked{Rule: n.Rule, Record: string(n.Record), Pointer: n.Pointer, Why: n.Why})
	}
	return out
}

func findings(fs []specdata.Finding) []*pb.Finding {
	var out []*pb.Finding
	for i := range fs {
		out = append(out, finding(&fs[i]))
	}
	return out
}

func reachMessage(id string, r *desk.Reach) *pb.CorrectionReach {
	out := &pb.CorrectionReach{
		Releases: r.Releases, ProceduresLeftOut: int32(r.LeftOut.Procedures), ReleasesLeftOut: int32(r.LeftOut.Releases),
		SheetsLeftOut: int32(r.LeftOut.Sheets), ReadersLeftOut: int32(r.LeftOut.Readers), NarrationsLeftOut: int32(r.LeftOut.Narrations),
	}
	if id != "" {
		out.Name = correctionsCollection + "/" + id + "/reach"
	}
	for _, m := range r.Records {
		out.Records = append(out.Records, &pb.MovedRecord{Record: string(m.Name), Rank: int32(m.Rank), Why: m.Why, Safety: m.Safety, ChangePercent: percent(m.Change)})
	}
	for _, p := range r.Procedures {
		out.Procedures = append(out.Procedures, &pb.ReachedProcedure{Procedure: string(p.Name), Title: p.Title, Records: namesOf(p.Uses)})
	}
	for _, s := range r.Sheets {
		out.Sheets = append(out.Sheets, &pb.ReachedSheet{Code: s.Code, Procedure: string(s.Procedure), PrintedBy: s.By, PrintTime: timestamppb.New(s.Printed)})
	}
	for _, x := range r.Readers {
		out.Readers = append(out.Readers, &pb.ReachedReader{Token: tokensCollection + "/" + x.Token, Records: namesOf(x.Read), LastReadTime: timestamppb.New(x.Last)})
	}
	for _, n := range r.Narrations {
		out.Narrations = append(out.Narrations, &pb.ReachedNarration{
			Narration: narrationsCollection + n.ID, Procedure: string(n.Procedure), Reference: n.Reference, KeptBy: n.By, Values: spokenValues(n.Values),
		})
	}
	return out
}

func namesOf(names []specdata.Name) []string {
	var out []string
	for _, n := range names {
		out = append(out, string(n))
	}
	return out
}

// maxDepth bounds how deep a patch nests, as documents are bounded.
const maxDepth = 64

// patchText returns a patch as JSON without spaces, so that the same patch is the
// same text on every node.
func patchText(field string, m proto.Message) (string, error) {
	var v any
	deep := false
	switch m := m.(type) {
	case *structpb.Struct:
		if deep = tooDeep(structpb.NewStructValue(m), maxDepth); !deep {
			v = m.AsMap()
		}
	case *structpb.ListValue:
		if deep = tooDeep(structpb.NewListValue(m), maxDepth); !deep {
			v = m.AsSlice()
		}
	}
	if deep {
		return "", fault.Field(field, "%s nests deeper than %d levels; documents nest no deeper", field, maxDepth)
	}
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return "", fault.Field(field, "%s is not JSON: %v", field, err)
	}
	return strings.TrimSuffix(b.String(), "\n"), nil
}

func tooDeep(v *structpb.Value, left int) bool {
	if left == 0 {
		return true
	}
	for _, inner := range v.GetStructValue().GetFields() {
		if tooDeep(inner, left-1) {
			return true
		}
	}
	for _, inner := range v.GetListValue().GetValues() {
		if tooDeep(inner, left-1) {
			return true
		}
	}
	return false
}
