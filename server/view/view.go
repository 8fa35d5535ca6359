// Package view turns records into the messages that programs read, and keeps the
// messages encoded.
//
// The conversion is the only one: every document field stands in the message
// under its own name, and what a reader would have to work out is added beside it.
package view

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"sync"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "proofload/api/proofload/v1"
	"proofload/server/store"
	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/library"
	"proofload/specdata/whom"
	"proofload/specdata/wording"
)

// FormEdition counts changes to what views look like. It is part of every ETag,
// so that a server that answers differently never confirms an old answer.
const FormEdition = 4

// Caution stands in every view and on every page.
const Caution = "Check every value against the vehicle maker's own information for the exact vehicle. Work that can hurt someone belongs in trained hands, and local rules apply."

// demoLicence is how the licence of an invented source begins.
const demoLicence = "invented demo data"

// View is a record as programs read it, made at one moment and never changed.
type View struct {
	Name specdata.Name
	// ETag is the strong validator, with its quotes: a hash of the records the view
	// was made from and of the edition of its form.
	ETag string
	// Uses lists every record the view was made from, or would have been were it
	// there, sorted; the record itself is among them.
	Uses []specdata.Name
	// Message is one of *Vehicle, *Fastener, *Assembly, *Procedure and *Source. It is
	// shared: readers do not change it.
	Message proto.Message
	// Proto is the message encoded.
	Proto []byte

	once      sync.Once
	stored    Stored
	storedErr error
}

// Stored is a view ready to be sent over HTTP: the body, and the header values that
// belong to it as lists, so that sending it allocates nothing.
type Stored struct {
	// JSON is proto-JSON with proto names, ending in a newline.
	JSON         []byte
	ETag, Length []string
}

// Stored returns the view ready to be sent. It is made once, when it is first asked for.
func (v *View) Stored() (*Stored, error) {
	v.once.Do(func() {
		v.stored.JSON, v.storedErr = EncodeJSON(v.Message)
		v.stored.ETag, v.stored.Length = []string{v.ETag}, []string{strconv.Itoa(len(v.stored.JSON))}
	})
	return &v.stored, v.storedErr
}

// Build makes the view of an entry. The revision says which published state it
// is; it is nil for an entry that was never published. Other records come from
// the library, which must be of the same moment; Build fails when the library does.
func Build(e *library.Entry, rev *store.Revision, lib library.Library) (*View, error) {
	c := &conversion{library: lib, seen: map[specdata.Name]*library.Entry{e.Name(): e}}
	var m proto.Message
	published := &pb.Edition{DocumentHash: e.Hash}
	if rev != nil {
		published.Revision = rev.Number
		published.PublishTime = timestamppb.New(rev.Time)
	}
	switch r := e.Record.(type) {
	case *specdata.Vehicle:
		v := c.vehicle(r)
		v.Published, m = published, v
	case *specdata.Fastener:
		v := c.fastener(r)
		v.Published, m = published, v
	case *specdata.Assembly:
		v := c.assembly(r)
		v.Published, m = published, v
	case *specdata.Procedure:
		v := c.procedure(r)
		v.Published, m = published, v
	case *specdata.Source:
		v := c.source(r)
		v.Published, m = published, v
	default:
		return nil, fmt.Errorf("record %s is of no kind that has a view", e.Name())
	}
	if err := lib.Err(); err != nil {
		return nil, err
	}
	published.Etag = c.etag(published)
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		return nil, fmt.Errorf("record %s: %w", e.Name(), err)
	}
	return &View{Name: e.Name(), ETag: published.Etag, Uses: slices.Sorted(maps.Keys(c.seen)), Message: m, Proto: b}, nil
}

// conversion makes one view and remembers what it looked at.
type conversion struct {
	library library.Library
	seen    map[specdata.Name]*library.Entry
}

func (c *conversion) get(name specdata.Name) *library.Entry {
	e, ok := c.seen[name]
	if !ok {
		e = c.library.Get(name)
		c.seen[name] = e
	}
	return e
}

func get[R specdata.Record](c *conversion, k specdata.Kind, id string) (r R, ok bool) {
	if e := c.get(specdata.NewName(k, id)); e != nil {
		r, ok = e.Record.(R)
	}
	return r, ok
}

// etag hashes what the view was made from. Number and time of the revision count
// too, for the view shows them: a record put back to an earlier document is
// another published state.
func (c *conversion) etag(published *pb.Edition) string {
	h := sha256.New()
	fmt.Fprintf(h, "form %d revision %d %d\n", FormEdition, published.Revision, published.PublishTime.AsTime().UnixNano())
	for _, name := range slices.Sorted(maps.Keys(c.seen)) {
		hash := "absent"
		if e := c.seen[name]; e != nil {
			hash = e.Hash
		}
		fmt.Fprintf(h, "%s %s\n", name, hash)
	}
	return `"` + hex.EncodeToString(h.Sum(nil)[:16]) + `"`
}

// notice is what must be shown with a record that rests on a citation.
func (c *conversion) notice(s *specdata.Citation) *pb.Notice {
	if s != nil {
		if src, ok := get[*specdata.Source](c, specdata.KindSource, s.Document); ok {
			return noticeOf(src)
		}
	}
	return &pb.Notice{Caution: Caution}
}

func noticeOf(src *specdata.Source) *pb.Notice {
	n := &pb.Notice{Caution: Caution}
	if strings.HasPrefix(src.Licence, demoLicence) {
		n.Demo, n.DemoText = true, demo.Notice
	}
	return n
}

func waivers(ws []specdata.Waiver) []*pb.Waiver {
	return each(ws, func(w *specdata.Waiver) *pb.Waiver {
		return &pb.Waiver{Rule: w.Rule, At: w.At, Value: w.Value, Reason: w.Reason, Until: string(w.Until), By: w.By}
	})
}

func (c *conversion) citation(s *specdata.Citation) *pb.Citation {
	if s == nil {
		return nil
	}
	out := &pb.Citation{
		Document: s.Document, At: s.At, Quote: s.Quote, ReadOn: string(s.ReadOn),
		EnteredBy: s.EnteredBy, CheckedBy: s.CheckedBy, Confidence: s.Confidence,
		Source: string(specdata.NewName(specdata.KindSource, s.Document)),
	}
	words := []string{s.Document}
	if src, ok := get[*specdata.Source](c, specdata.KindSource, s.Document); ok {
		out.Title, out.Issuer, out.Edition, out.Date = src.Title, src.Issuer, src.Edition, string(src.Date)
		words = []string{src.Title, src.Issuer, src.Edition, string(src.Date)}
	}
	words = append(words, s.At)
	out.Text = strings.Join(slices.DeleteFunc(words, func(w string) bool { return w == "" }), ", ")
	return out
}

func built(b *specdata.Built) *pb.Built {
	if b == nil {
		return nil
	}
	return &pb.Built{From: b.From, To: b.To, Text: b.String()}
}

func options(m map[string][]string) []*pb.Option {
	var out []*pb.Option
	for _, k := range slices.Sorted(maps.Keys(m)) {
		out = append(out, &pb.Option{Key: k, Values: m[k]})
	}
	return out
}

func (c *conversion) applies(as []specdata.Applies) []*pb.Applies {
	return each(as, func(a *specdata.Applies) *pb.Applies {
		out := &pb.Applies{Vehicle: a.Vehicle, Where: options(a.Where), Built: built(a.Built), Side: string(a.Side)}
		title := a.Vehicle
		if v, ok := get[*specdata.Vehicle](c, specdata.KindVehicle, a.Vehicle); ok {
			out.VehicleTitle, title = v.Title, v.Title
		}
		out.Text = wording.Applies(title, a)
		return out
	})
}

// ForWhom puts what something holds for on the wire, nil for what is of no vehicle.
func ForWhom(f whom.For) *pb.ForWhom {
	if f.IsZero() {
		return nil // a source is of no vehicle
	}
	return &pb.ForWhom{Text: f.Text(), NotText: f.Not()}
}

func (c *conversion) vehicle(r *specdata.Vehicle) *pb.Vehicle {
	v := &pb.Vehicle{
		Name: string(r.Name()), Kind: string(r.Kind), Id: r.ID, Title: r.Title, Note: r.Note, Replaces: r.Replaces,
		Waivers: waivers(r.Waivers), Notice: c.notice(r.Source),
		Make: r.Make, Model: r.Model, Built: built(r.Built), Options: options(r.Options), Markets: r.Markets,
		MassLaden: quantity(r.MassLaden), Source: c.citation(r.Source),
	}
	if r.VIN != nil {
		v.Vin = &pb.Vin{Pattern: r.VIN.Pattern, CheckDigit: r.VIN.CheckDigit, Example: r.VIN.Example}
	}
	return v
}

func (c *conversion) source(r *specdata.Source) *pb.Source {
	return &pb.Source{
		Name: string(r.Name()), Kind: string(r.Kind), Id: r.ID, Title: r.Title, Note: r.Note, Replaces: r.Replaces,
		Waivers: waivers(r.Waivers), Notice: noticeOf(r),
		Issuer: r.Issuer, Edition: r.Edition, Date: string(r.Date), Type: r.Type, Licence: r.Licence,
		Supersedes: r.Supersedes, Concerns: r.Concerns,
	}
}

// each converts a list, nil for an empty one.
func each[T, M any](in []T, convert func(*T) *M) []*M {
	if len(in) == 0 {
		return nil
	}
	out := make([]*M, len(in))
	for i := range in {
		out[i] = convert(&in[i])
	}
	return out
}

func int32s(in []int) []int32 {
	var out []int32
	for _, n := range in {
		out = append(out, int32(n))
	}
	return out
}

// Demo reports whether a view rests on invented data.
func Demo(m proto.Message) bool {
	n, ok := m.(interface{ GetNotice() *pb.Notice })
	return ok && n.GetNotice().GetDemo()
}
