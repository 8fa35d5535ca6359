package rpc

import (
	"context"
	"strconv"
	"strings"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "proofload/api/proofload/v1"
	"proofload/server/ask"
	"proofload/server/catalog"
	"proofload/server/desk"
	"proofload/server/fault"
	"proofload/server/ledger"
	"proofload/server/ledger/personal"
	"proofload/server/notary"
	"proofload/server/prints"
	"proofload/server/store"
	"proofload/server/view"
	"proofload/specdata"
	"proofload/specdata/demo"
)

// Ledger implements the Ledger service.
type Ledger struct {
	pb.UnimplementedLedgerServer
	catalog *catalog.Catalog
	notary  *notary.Notary
	prints  *prints.Prints
	desk    *desk.Desk
}

// The collections of the ledger in resource names.
const (
	ledgerKey             = "keys/ledger"
	checkpointsCollection = "checkpoints/"
	checksCollection      = "checks/"
	newest                = "newest"
	growthSuffix          = "/growth"
	proofSuffix           = "/proof"
)

// GetVerifierKey implements pb.LedgerServer; so do the methods below.
func (l *Ledger) GetVerifierKey(ctx context.Context, r *pb.GetVerifierKeyRequest) (*pb.VerifierKey, error) {
	if r.Name != ledgerKey {
		return nil, fault.New(fault.RecordNotFound, "key %q does not exist; there is %s", ask.Clip(r.Name), ledgerKey).With("record", ask.Clip(r.Name)).With("near", ledgerKey)
	}
	handed, err := l.notary.Handovers(ctx)
	if err != nil {
		return nil, err
	}
	return &pb.VerifierKey{Name: ledgerKey, Origin: l.notary.Origin(), Key: l.notary.Key(), Handovers: handed}, nil
}

func (l *Ledger) GetCheckpoint(ctx context.Context, r *pb.GetCheckpointRequest) (*pb.Checkpoint, error) {
	c, signed, err := l.checkpoint(ctx, r.Name, "", r.At, r.MinPosition)
	if err != nil {
		return nil, err
	}
	out := &pb.Checkpoint{
		Name: checkpointsCollection + strconv.FormatInt(c.Position, 10), Note: string(signed), Origin: c.Origin, Size: c.Size, Root: c.Root[:],
		Position: c.Position, PublishTime: timestamppb.New(c.Time),
	}
	return out, tell(ctx, c.Position)
}

// checkpoint returns the checkpoint that a resource name names.
func (l *Ledger) checkpoint(ctx context.Context, name, suffix, at string, minPosition int64) (ledger.Checkpoint, []byte, error) {
	id, ok := strings.CutPrefix(name, checkpointsCollection)
	id, rest := strings.CutSuffix(id, suffix)
	position, err := strconv.ParseInt(id, 10, 64)
	switch {
	case !ok || !rest || id != newest && (err != nil || position < 1 || strconv.FormatInt(position, 10) != id):
		return ledger.Checkpoint{}, nil, fault.Field("name", "name %q is no checkpoint's; write checkpoints/<position>%s or checkpoints/newest%s", ask.Clip(name), suffix, suffix)
	case id != newest && at != "":
		return ledger.Checkpoint{}, nil, fault.Field("at", "at is given beside a position; write checkpoints/newest, or leave at out")
	case id != newest:
		at = "position:" + id
		// A position is the same whatever else is published; the least is waited for.
		if _, err := l.catalog.Position(ctx, ask.NewestFrom(minPosition)); err != nil {
			return ledger.Checkpoint{}, nil, err
		}
		minPosition = 0
	}
	return l.checkpointAt(ctx, at, minPosition)
}

func (l *Ledger) checkpointAt(ctx context.Context, at string, minPosition int64) (ledger.Checkpoint, []byte, error) {
	m, err := ask.When("at", at, minPosition)
	if err != nil {
		return ledger.Checkpoint{}, nil, err
	}
	position, err := l.catalog.Position(ctx, m)
	if err != nil {
		return ledger.Checkpoint{}, nil, err
	}
	return l.notary.Checkpoint(ctx, position)
}

func (l *Ledger) GetGrowth(ctx context.Context, r *pb.GetGrowthRequest) (*pb.Growth, error) {
	c, signed, err := l.checkpoint(ctx, r.Name, growthSuffix, "", r.MinPosition)
	if err != nil {
		return nil, err
	}
	from, older := r.FromSize, r.FromPosition
	if from == 0 && older == 0 {
		older = 1
	}
	switch {
	case from != 0 && older != 0:
		return nil, fault.Field("from_position", "the older tree is given by its position and by its size; give one of the two, from_position or from_size")
	case older < 0 || older > c.Position:
		return nil, fault.Field("from_position", "from_position %d is not before position %d; allowed: 1 to %d", older, c.Position, c.Position)
	case older > 0:
		head, err := l.catalog.Follower.Store.HeadAt(ctx, older)
		if err != nil {
			return nil, err
		}
		from = head.Revisions
	}
	g, err := l.notary.Growth(ctx, from, c)
	if err != nil {
		return nil, err
	}
	out := growth(g)
	out.Name, out.Checkpoint = checkpointsCollection+strconv.FormatInt(c.Position, 10)+growthSuffix, string(signed)
	return out, tell(ctx, c.Position)
}

func growth(g *ledger.Growth) *pb.Growth {
	if g == nil {
		return nil
	}
	return &pb.Growth{FromSize: g.From, Hashes: list32(g.Hashes)}
}

func list32[H ~[32]byte](hs []H) [][]byte {
	out := make([][]byte, len(hs))
	for i := range hs {
		out[i] = hs[i][:]
	}
	return out
}

func (l *Ledger) GetProof(ctx context.Context, r *pb.GetProofRequest) (*pb.Proof, error) {
	path, ok := strings.CutSuffix(r.Name, proofSuffix)
	record, number, two := strings.Cut(path, "/revisions/")
	n, err := strconv.ParseInt(number, 10, 64)
	if !ok || !two || err != nil || n < 1 || strconv.FormatInt(n, 10) != number {
		return nil, fault.Field("name", "name %q is no proof's; write <collection>/<id>/revisions/<number>/proof, like fasteners/hub-nut/revisions/2/proof", ask.Clip(r.Name))
	}
	name, err := specdata.ParseEntry(record)
	if err != nil {
		return nil, fault.Field("name", "name: %v", err)
	}
	c, signed, err := l.checkpointAt(ctx, r.At, r.MinPosition)
	if err != nil {
		return nil, err
	}
	rev, p, err := l.notary.Prove(ctx, name, n, c)
	if err != nil {
		return nil, err
	}
	out := &pb.Proof{Name: r.Name, Leaf: p.Leaf, LeafIndex: p.Index, Hashes: list32(p.Hashes), Checkpoint: string(signed)}
	if out.SignedContent, out.Signatures, err = l.signatures(ctx, rev); err != nil {
		return nil, err
	}
	if r.FromSize != 0 {
		g, err := l.notary.Growth(ctx, r.FromSize, c)
		if err != nil {
			return nil, err
		}
		out.Growth = growth(g)
	}
	return out, tell(ctx, c.Position)
}

// signatures returns what people signed of the correction that published a revision, and
// their signatures on it; nothing where nobody did.
func (l *Ledger) signatures(ctx context.Context, r *store.Revision) (content []byte, notes []string, err error) {
	if l.desk == nil {
		return nil, nil, nil
	}
	c, err := l.desk.PublishedBy(ctx, r)
	if err != nil || c == nil {
		return nil, nil, err
	}
	for _, s := range c.Signatures {
		if says, _, err := personal.Read(s.Note); err == nil && says.Content == c.Content {
			notes = append(notes, s.Note)
		}
	}
	if len(notes) == 0 {
		return nil, nil, nil
	}
	content, err = c.Signed().Bytes()
	return content, notes, err
}

func (l *Ledger) GetCheck(ctx context.Context, r *pb.GetCheckRequest) (*pb.Check, error) {
	code, ok := strings.CutPrefix(r.Name, checksCollection)
	if !ok {
		return nil, fault.Field("name", "name %q is no check's; write checks/<code>", ask.Clip(r.Name))
	}
	out, head, err := l.Check(ctx, code)
	if err != nil {
		return nil, err
	}
	return out, tell(ctx, head)
}

// Check is GetCheck for callers in process; it also gives the position it answers for.
func (l *Ledger) Check(ctx context.Context, code string) (*pb.Check, int64, error) {
	c, err := l.prints.Check(ctx, code)
	if err != nil {
		return nil, 0, err
	}
	return checkMessage(c, l.notice(ctx, c.Procedure, c.Position)), c.Head, nil
}

// notice is what must be shown with a procedure, as it was.
func (l *Ledger) notice(ctx context.Context, procedure specdata.Name, position int64) *pb.Notice {
	if v, _, err := l.catalog.View(ctx, procedure, ask.Position(position)); err == nil && view.Demo(v.Message) {
		return &pb.Notice{Caution: view.Caution, Demo: true, DemoText: demo.Notice}
	}
	return &pb.Notice{Caution: view.Caution}
}

func checkMessage(c *prints.Check, notice *pb.Notice) *pb.Check {
	out := &pb.Check{
		Name: checksCollection + c.Code, State: string(c.State), Summary: c.Summary, Procedure: string(c.Procedure), Title: c.Title,
		PrintPosition: c.Position, PublishTime: timestamppb.New(c.Published), PrintsTheSame: c.Same, Notice: notice,
	}
	if c.Sheet != nil {
		out.Vehicle, out.Side, out.ForWhom = c.Sheet.For.Vehicle(), c.Sheet.For.Side(), view.ForWhom(c.Sheet.For)
		out.VehicleId, out.Options = c.Asked.Vehicle, c.Asked.Stated.Options
		out.RecordsHash = c.Sheet.Hash
	}
	for _, ch := range c.Changes {
		out.Changes = append(out.Changes, &pb.CheckChange{Difference: difference(ch.Difference), Position: ch.Now.Position, Reason: ch.Now.Reason, PublishTime: timestamppb.New(ch.Now.Time)})
	}
	for _, v := range c.Values {
		out.Values = append(out.Values, &pb.CheckValue{
			Number: int32(v.Number), Step: int32(v.Step), What: v.What, Value: v.Value, Stage: v.Stage, Band: v.Band, Now: v.Now,
		})
	}
	return out
}

func (l *Ledger) GetCheckProof(ctx context.Context, r *pb.GetCheckProofRequest) (*pb.CheckProof, error) {
	path, ok := strings.CutSuffix(r.Name, proofSuffix)
	code, is := strings.CutPrefix(path, checksCollection)
	if !ok || !is {
		return nil, fault.Field("name", "name %q is no proof's; write checks/<code>/proof", ask.Clip(r.Name))
	}
	p, err := l.prints.Prove(ctx, code, r.FromSize)
	if err != nil {
		return nil, err
	}
	out := &pb.CheckProof{
		Name: checksCollection + p.Code + proofSuffix, Vehicle: p.Vehicle, Options: p.Options, Side: p.Side, Checkpoint: p.Checkpoint, Growth: growth(p.Growth), ForWhom: view.ForWhom(p.For),
	}
	for _, d := range p.Documents {
		out.Documents = append(out.Documents, &pb.ProvedDocument{Document: string(d.Revision.Document), Leaf: d.Proof.Leaf, LeafIndex: d.Proof.Index, Hashes: list32(d.Proof.Hashes)})
	}
	return out, tell(ctx, p.Head)
}
