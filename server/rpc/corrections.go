package rpc

import (
	"context"
	"fmt"

	pb "proofload/api/proofload/v1"
	"proofload/server/access"
	"proofload/server/ask"
	"proofload/server/desk"
	"proofload/server/fault"
	"proofload/server/notary"
	"proofload/specdata"
)

// Corrections implements the Corrections service: it says who asks and turns
// messages; the desk decides.
type Corrections struct {
	pb.UnimplementedCorrectionsServer
	desk *desk.Desk
	// notary names the library, whose name people sign.
	notary *notary.Notary
}

// correctionsCollection is the collection of corrections in resource names.
const correctionsCollection = "corrections"

// actor returns the person who asks, whose role was checked.
func actor(ctx context.Context) (desk.Actor, error) {
	t, err := access.Cleared(ctx)
	if err != nil {
		return desk.Actor{}, err
	}
	return desk.Actor{Name: t.Person}, nil
}

// CreateCorrection implements pb.CorrectionsServer; so do the methods below.
func (c *Corrections) CreateCorrection(ctx context.Context, r *pb.CreateCorrectionRequest) (*pb.Correction, error) {
	a, err := actor(ctx)
	if err != nil {
		return nil, err
	}
	in := r.GetCorrection()
	if field := written(in); field != "" {
		return nil, outputOnly("correction." + field)
	}
	p, err := proposal(ctx, in.GetChanges(), in.GetReason(), in.GetEvidence(), r.RequestId)
	if err != nil {
		return nil, err
	}
	return c.answer(ctx)(c.desk.Propose(ctx, a, p, r.ValidateOnly))
}

// written names a field of a proposal that only the server writes, "" where there is none.
func written(in *pb.Correction) string {
	for _, f := range []struct {
		name string
		set  bool
	}{
		{"name", in.GetName() != ""}, {"etag", in.GetEtag() != ""}, {"state", in.GetState() != ""}, {"records", in.GetRecords() != nil},
		{"content_hash", in.GetContentHash() != ""}, {"authors", in.GetAuthors() != nil}, {"findings", in.GetFindings() != nil},
		{"decisions", in.GetDecisions() != nil}, {"checked_position", in.GetCheckedPosition() != 0}, {"create_time", in.GetCreateTime() != nil},
		{"update_time", in.GetUpdateTime() != nil}, {"position", in.GetPosition() != 0}, {"reach", in.GetReach() != nil}, {"end", in.GetEnd() != nil},
		{"signatures", in.GetSignatures() != nil},
	} {
		if f.set {
			return f.name
		}
	}
	return ""
}

func proposal(ctx context.Context, changes []*pb.CorrectionChange, reason string, evidence []string, request string) (desk.Proposal, error) {
	p := desk.Proposal{Reason: reason, Evidence: evidence}
	var err error
	if p.RequestID, err = requestID(ctx, request); err != nil {
		return p, err
	}
	for i, in := range changes {
		at := fmt.Sprintf("changes[%d]", i)
		ch := desk.Change{Base: in.BaseRevision, BaseHash: in.BaseHash, Document: in.Document, Withdraw: in.Withdraw, Drop: in.Drop}
		if ch.Name, err = ask.Name(at+".record", in.Record, ""); err != nil {
			return p, err
		}
		if in.BaseRevision < 0 {
			return p, fault.Field(at+".base_revision", "base_revision %d is negative; revisions count from 1, and 0 is a new record", in.BaseRevision)
		}
		if in.MergePatch != nil {
			if ch.MergePatch, err = patchText(at+".merge_patch", in.MergePatch); err != nil {
				return p, err
			}
		}
		if in.JsonPatch != nil {
			if ch.JSONPatch, err = patchText(at+".json_patch", in.JsonPatch); err != nil {
				return p, err
			}
		}
		p.Changes = append(p.Changes, ch)
	}
	return p, nil
}

func (c *Corrections) GetCorrection(ctx context.Context, r *pb.GetCorrectionRequest) (*pb.Correction, error) {
	id, err := ask.ID("name", r.Name, correctionsCollection, "")
	if err != nil {
		return nil, err
	}
	return c.answer(ctx)(c.desk.Get(ctx, id))
}

func (c *Corrections) ListCorrections(ctx context.Context, r *pb.ListCorrectionsRequest) (*pb.ListCorrectionsResponse, error) {
	var record specdata.Name
	if r.Record != "" {
		var err error
		if record, err = ask.Name("record", r.Record, ""); err != nil {
			return nil, err
		}
	}
	found, next, err := c.desk.List(ctx, desk.State(r.State), record, ask.Page{Size: r.PageSize, Token: r.PageToken})
	if err != nil {
		return nil, err
	}
	out := &pb.ListCorrectionsResponse{NextPageToken: next}
	for _, one := range found {
		m, err := c.message(ctx, one)
		if err != nil {
			return nil, err
		}
		out.Corrections = append(out.Corrections, m)
	}
	return out, nil
}

func (c *Corrections) AmendCorrection(ctx context.Context, r *pb.AmendCorrectionRequest) (*pb.Correction, error) {
	a, id, err := c.begin(ctx, r.Name)
	if err != nil {
		return nil, err
	}
	version, err := ask.Etag(r.Etag)
	if err != nil {
		return nil, err
	}
	p, err := proposal(ctx, r.Changes, r.Reason, r.Evidence, r.RequestId)
	if err != nil {
		return nil, err
	}
	return c.answer(ctx)(c.desk.Amend(ctx, a, id, version, p))
}

// begin returns who asks and which correction they mean.
func (c *Corrections) begin(ctx context.Context, name string) (desk.Actor, string, error) {
	a, err := actor(ctx)
	if err != nil {
		return a, "", err
	}
	id, err := ask.ID("name", name, correctionsCollection, "")
	return a, id, err
}

func (c *Corrections) RecheckCorrection(ctx context.Context, r *pb.RecheckCorrectionRequest) (*pb.Correction, error) {
	a, id, err := c.begin(ctx, r.Name)
	if err != nil {
		return nil, err
	}
	request, err := requestID(ctx, r.RequestId)
	if err != nil {
		return nil, err
	}
	return c.answer(ctx)(c.desk.Recheck(ctx, a, id, request))
}

func (c *Corrections) ApproveCorrection(ctx context.Context, r *pb.ApproveCorrectionRequest) (*pb.Correction, error) {
	return c.decide(ctx, r, c.desk.Approve)
}

func (c *Corrections) SignCorrection(ctx context.Context, r *pb.SignCorrectionRequest) (*pb.Correction, error) {
	a, id, err := c.begin(ctx, r.Name)
	if err != nil {
		return nil, err
	}
	request, err := requestID(ctx, r.RequestId)
	if err != nil {
		return nil, err
	}
	return c.answer(ctx)(c.desk.Sign(ctx, a, id, c.notary.Origin(), r.Note, request))
}

func (c *Corrections) RejectCorrection(ctx context.Context, r *pb.RejectCorrectionRequest) (*pb.Correction, error) {
	return c.decide(ctx, r, c.desk.Reject)
}

// decision is what approving and rejecting have in common.
type decision interface {
	GetName() string
	GetContentHash() string
	GetComment() string
	GetRequestId() string
}

func (c *Corrections) decide(ctx context.Context, r decision, word func(ctx context.Context, a desk.Actor, id, content, comment, request string) (*desk.Correction, error)) (*pb.Correction, error) {
	a, id, err := c.begin(ctx, r.GetName())
	if err != nil {
		return nil, err
	}
	request, err := requestID(ctx, r.GetRequestId())
	if err != nil {
		return nil, err
	}
	return c.answer(ctx)(word(ctx, a, id, r.GetContentHash(), r.GetComment(), request))
}

func (c *Corrections) WithdrawCorrection(ctx context.Context, r *pb.WithdrawCorrectionRequest) (*pb.Correction, error) {
	a, id, err := c.begin(ctx, r.Name)
	if err != nil {
		return nil, err
	}
	version, err := ask.Etag(r.Etag)
	if err != nil {
		return nil, err
	}
	request, err := requestID(ctx, r.RequestId)
	if err != nil {
		return nil, err
	}
	return c.answer(ctx)(c.desk.Withdraw(ctx, a, id, version, r.Comment, request))
}

func (c *Corrections) PublishCorrection(ctx context.Context, r *pb.PublishCorrectionRequest) (*pb.Correction, error) {
	a, id, err := c.begin(ctx, r.Name)
	if err != nil {
		return nil, err
	}
	version, err := ask.Etag(r.Etag)
	if err != nil {
		return nil, err
	}
	request, err := requestID(ctx, r.RequestId)
	if err != nil {
		return nil, err
	}
	out, err := c.answer(ctx)(c.desk.Publish(ctx, a, id, version, request))
	if err != nil {
		return nil, err
	}
	return out, tell(ctx, out.Position)
}

func (c *Corrections) GetCorrectionReach(ctx context.Context, r *pb.GetCorrectionReachRequest) (*pb.CorrectionReach, error) {
	id, err := ask.ID("name", r.Name, correctionsCollection, "/reach")
	if err != nil {
		return nil, err
	}
	found, next, err := c.desk.Reach(ctx, id, ask.Page{Size: r.PageSize, Token: r.PageToken})
	if err != nil {
		return nil, err
	}
	out := reachMessage(id, found)
	out.NextPageToken = next
	return out, nil
}

type requestKey struct{}

// WithRequestID puts the request id of a header into a context, for a transport
// that has one outside the message.
func WithRequestID(ctx context.Context, id string) context.Context {
	return context.WithValue(ctx, requestKey{}, id)
}

// requestID reads the request id of a message and of the header beside it.
func requestID(ctx context.Context, id string) (string, error) {
	header, _ := ctx.Value(requestKey{}).(string)
	return ask.RequestID(id, header)
}
