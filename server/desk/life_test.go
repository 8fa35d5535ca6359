package desk_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"proofload/server/ask"
	"proofload/server/desk"
	"proofload/server/fault"
	"proofload/specdata"
)

// acts are what can be done to a correction by the right person who saw its newest state.
var acts = []struct {
	name string
	do   func(w *world, c *desk.Correction, requestID string) (*desk.Correction, error)
}{
	{"amend", func(w *world, c *desk.Correction, id string) (*desk.Correction, error) {
		return w.desk.Amend(w.Context(), maud, c.ID, c.Version, desk.Proposal{Reason: because + ", twice", RequestID: id})
	}},
	{"recheck", func(w *world, c *desk.Correction, id string) (*desk.Correction, error) {
		return w.desk.Recheck(w.Context(), maud, c.ID, id)
	}},
	{"approve", func(w *world, c *desk.Correction, id string) (*desk.Correction, error) {
		return w.desk.Approve(w.Context(), rhea, c.ID, c.Content, "agrees with the sheet", id)
	}},
	{"reject", func(w *world, c *desk.Correction, id string) (*desk.Correction, error) {
		return w.desk.Reject(w.Context(), rhea, c.ID, c.Content, "the sheet is of another model", id)
	}},
	{"withdraw", func(w *world, c *desk.Correction, id string) (*desk.Correction, error) {
		return w.desk.Withdraw(w.Context(), maud, c.ID, c.Version, "misread", id)
	}},
	{"publish", func(w *world, c *desk.Correction, id string) (*desk.Correction, error) {
		return w.desk.Publish(w.Context(), rhea, c.ID, c.Version, id)
	}},
}

// next says where each act leads from each state, "" where it is refused.
var next = map[desk.State]map[string]desk.State{
	desk.Open:      {"amend": desk.Open, "recheck": desk.Open, "approve": desk.Approved, "reject": desk.Rejected, "withdraw": desk.Withdrawn},
	desk.Approved:  {"amend": desk.Open, "recheck": desk.Approved, "reject": desk.Rejected, "withdraw": desk.Withdrawn, "publish": desk.Published},
	desk.Published: {},
	desk.Rejected:  {},
	desk.Withdrawn: {},
}

// bring makes a correction in a state, of one record each so that they do not meet.
func (w *world) bring(to desk.State, n specdata.Name) *desk.Correction {
	w.Helper()
	c := w.propose(maud, note(n, w.record(n).Number, fmt.Sprintf("Note %d.", w.clock.Load())))
	switch to {
	case desk.Approved:
		return w.approve(rhea, c)
	case desk.Published:
		return w.publish(ravi, w.approve(rhea, c))
	case desk.Rejected:
		return w.ok(w.desk.Reject(w.Context(), rhea, c.ID, c.Content, "not this way, please", ""))
	case desk.Withdrawn:
		return w.ok(w.desk.Withdraw(w.Context(), maud, c.ID, c.Version, "", ""))
	}
	return c
}

func TestEveryTransition(t *testing.T) {
	w := newWorld(t)
	for from, to := range next {
		for _, act := range acts {
			t.Run(string(from)+" "+act.name, func(t *testing.T) {
				c := w.bring(from, sumpPlug)
				if c.State != from {
					t.Fatalf("brought to %s", c.State)
				}
				before := w.stored()
				got, err := act.do(w, c, "")
				want, allowed := to[act.name]
				if !allowed {
					e := w.refused(fault.CorrectionState, got, err)
					if e.Metadata["state"] != string(from) || w.stored() != before {
						t.Errorf("metadata %v", e.Metadata)
					}
					return
				}
				if got = w.ok(got, err); got.State != want {
					t.Errorf("is %s, want %s", got.State, want)
				}
				kept := w.ok(w.desk.Get(t.Context(), c.ID))
				if encode(kept) != encode(got) || kept.Version != got.Version {
					t.Errorf("kept is\n%s\ngiven was\n%s", encode(kept), encode(got))
				}
				if ended := got.State == desk.Published || got.State == desk.Rejected || got.State == desk.Withdrawn; ended != (got.End != nil) {
					t.Errorf("%s with end %+v", got.State, got.End)
				}
			})
		}
	}
}

// Who may do what, to a correction that maud proposed and orri amended.
func TestWhoMayDoWhat(t *testing.T) {
	both := desk.Actor{Name: "Maud "} // maud with another token
	cases := []struct {
		act  string
		a    desk.Actor
		want fault.Kind
	}{
		{"amend", pat, ""}, {"recheck", rhea, ""}, {"recheck", orri, ""},
		{"approve", maud, fault.SelfReview}, {"approve", both, fault.SelfReview}, {"approve", desk.Actor{Name: "orri"}, fault.SelfReview},
		{"approve", desk.Actor{Name: "ORRI"}, fault.SelfReview}, {"approve", pat, ""}, {"approve", rhea, ""},
		{"approve", desk.Actor{Name: "m\u0430ud"}, fault.SelfReview}, {"approve", desk.Actor{Name: "ｏｒｒｉ"}, fault.SelfReview}, // look-alikes: Cyrillic a, full width
		{"reject", desk.Actor{Name: "m\u0430ud"}, fault.SelfReview},
		{"reject", orri, fault.SelfReview}, {"reject", both, fault.SelfReview}, {"reject", pat, ""},
		{"withdraw", rhea, fault.NotAuthor}, {"withdraw", pat, fault.NotAuthor}, {"withdraw", orri, ""}, {"withdraw", maud, ""},
		{"publish", both, ""}, {"publish", ravi, ""},
	}
	w := newWorld(t)
	for _, x := range cases {
		t.Run(x.act+" by "+x.a.Name, func(t *testing.T) {
			c := w.bring(desk.Open, sumpPlug)
			c = w.ok(w.desk.Amend(t.Context(), orri, c.ID, c.Version, desk.Proposal{Evidence: []string{"photo of the sheet"}}))
			if !slices.Equal(c.Authors, []string{"maud", "orri"}) {
				t.Fatalf("authors %v", c.Authors)
			}
			if x.act == "publish" {
				c = w.approve(rhea, c)
			}
			var got *desk.Correction
			var err error
			switch x.act {
			case "amend":
				got, err = w.desk.Amend(t.Context(), x.a, c.ID, c.Version, desk.Proposal{Reason: because + " once more"})
			case "recheck":
				got, err = w.desk.Recheck(t.Context(), x.a, c.ID, "")
			case "approve":
				got, err = w.desk.Approve(t.Context(), x.a, c.ID, c.Content, "", "")
			case "reject":
				got, err = w.desk.Reject(t.Context(), x.a, c.ID, c.Content, "not this way, please", "")
			case "withdraw":
				got, err = w.desk.Withdraw(t.Context(), x.a, c.ID, c.Version, "", "")
			case "publish":
				got, err = w.desk.Publish(t.Context(), x.a, c.ID, c.Version, "")
			}
			if x.want == "" {
				w.ok(got, err)
			} else {
				w.refused(x.want, got, err)
			}
		})
	}
}

func TestReviewRefusals(t *testing.T) {
	w := newWorld(t)
	c := w.bring(desk.Open, sumpPlug)
	seen := c.Content
	c = w.ok(w.desk.Amend(t.Context(), maud, c.ID, c.Version, desk.Proposal{Changes: []desk.Change{note(sumpPlug, 1, "Another note.")}}))
	before := w.stored()
	ctx := t.Context()
	for _, x := range []struct {
		name string
		kind fault.Kind
		do   func() (*desk.Correction, error)
	}{
		{"approve what moved", fault.CorrectionMoved, func() (*desk.Correction, error) { return w.desk.Approve(ctx, rhea, c.ID, seen, "", "") }},
		{"reject what moved", fault.CorrectionMoved, func() (*desk.Correction, error) {
			return w.desk.Reject(ctx, rhea, c.ID, seen, "not this way, please", "")
		}},
		{"approve blindly", fault.InvalidArgument, func() (*desk.Correction, error) { return w.desk.Approve(ctx, rhea, c.ID, "", "", "") }},
		{"reject without a word", fault.InvalidArgument, func() (*desk.Correction, error) { return w.desk.Reject(ctx, rhea, c.ID, c.Content, "no", "") }},
		{"amend without an etag", fault.EtagRequired, func() (*desk.Correction, error) {
			return w.desk.Amend(ctx, maud, c.ID, 0, desk.Proposal{Reason: because + "!"})
		}},
		{"amend an old state", fault.EtagMismatch, func() (*desk.Correction, error) {
			return w.desk.Amend(ctx, maud, c.ID, 1, desk.Proposal{Reason: because + "!"})
		}},
		{"amend nothing", fault.NothingChanged, func() (*desk.Correction, error) { return w.desk.Amend(ctx, maud, c.ID, 2, desk.Proposal{}) }},
		{"amend to the same", fault.NothingChanged, func() (*desk.Correction, error) { return w.desk.Amend(ctx, maud, c.ID, 2, proposal()) }},
		{"drop everything", fault.NothingChanged, func() (*desk.Correction, error) {
			return w.desk.Amend(ctx, maud, c.ID, 2, desk.Proposal{Changes: []desk.Change{{Name: sumpPlug, Drop: true}}})
		}},
		{"drop what is not there", fault.InvalidArgument, func() (*desk.Correction, error) {
			return w.desk.Amend(ctx, maud, c.ID, 2, desk.Proposal{Changes: []desk.Change{{Name: hubNut, Drop: true}}})
		}},
		{"withdraw an old state", fault.EtagMismatch, func() (*desk.Correction, error) { return w.desk.Withdraw(ctx, maud, c.ID, 1, "", "") }},
		{"publish without an etag", fault.EtagRequired, func() (*desk.Correction, error) { return w.desk.Publish(ctx, rhea, c.ID, 0, "") }},
		{"no such correction", fault.CorrectionNotFound, func() (*desk.Correction, error) {
			return w.desk.Approve(ctx, rhea, "20260101-000000-000aaaaa", c.Content, "", "")
		}},
		{"no id at all", fault.CorrectionNotFound, func() (*desk.Correction, error) { return w.desk.Get(ctx, "../x") }},
	} {
		got, err := x.do()
		w.refused(x.kind, got, err)
		if w.stored() != before {
			t.Fatalf("%s: something was kept", x.name)
		}
	}
}

// A second editor's amendment joins records, replaces others, and takes some out.
func TestAmend(t *testing.T) {
	w := newWorld(t)
	c := w.approve(rhea, w.propose(maud, note(wheelNut, 1, "One."), note(hubNut, 1, "Two.")))
	c = w.ok(w.desk.Amend(t.Context(), orri, c.ID, c.Version, desk.Proposal{
		Changes: []desk.Change{note(seatBolt, 1, "Three."), note(wheelNut, 1, "Four."), {Name: hubNut, Drop: true}},
	}))
	var names []specdata.Name
	for _, d := range c.Drafts {
		names = append(names, d.Name)
	}
	if !slices.Equal(names, []specdata.Name{seatBolt, wheelNut}) || c.State != desk.Open || !slices.Equal(c.Authors, []string{"maud", "orri"}) || c.Reason != because {
		t.Fatalf("got %v, %s, %v, %q", names, c.State, c.Authors, c.Reason)
	}
	// The approval of what it was before publishes nothing.
	got, err := w.desk.Publish(t.Context(), rhea, c.ID, c.Version, "")
	w.refused(fault.CorrectionState, got, err)
	w.publish(rhea, w.approve(ravi, c))
	if r := w.record(wheelNut); !strings.Contains(string(r.Document), "Four.") || !slices.Equal(r.Authors, []string{"maud", "orri"}) || r.Reviewer != "ravi" {
		t.Errorf("published %s by %v, %s", r.Document, r.Authors, r.Reviewer)
	}
	if w.record(hubNut).Number != 1 {
		t.Error("what was dropped is published")
	}
}

// A publication is one position: the approved documents and nothing else, with who
// wrote, who approved, why, when and which correction.
func TestPublish(t *testing.T) {
	w := newWorld(t)
	c := w.propose(maud, torque(wheelNut, 1, 112, 83), note(hubNut, 1, "Stake with a round punch."),
		desk.Change{Name: unused, Base: 1, Withdraw: true})
	approved := w.approve(rhea, c)
	got := w.publish(ravi, approved)
	if got.Position != 2 || w.head() != 2 || got.State != desk.Published || got.End.By != "ravi" || got.Content != approved.Content {
		t.Fatalf("got %+v", got)
	}
	for _, d := range approved.Drafts {
		r := w.record(d.Name)
		if r.Number != 2 || r.Position != 2 || r.Withdrawn != (d.Document == nil) || d.Document != nil && r.Hash != d.Hash {
			t.Errorf("%s is %+v", d.Name, r)
		}
		if !slices.Equal(r.Authors, []string{"maud"}) || r.Reviewer != "rhea" || r.Reason != because || r.Key != "correction/"+c.ID || !r.Time.Equal(got.Updated) || !r.Time.Equal(got.End.Time) {
			t.Errorf("%s says %v, %s, %q, %s, %s", d.Name, r.Authors, r.Reviewer, r.Reason, r.Key, r.Time)
		}
	}
}

// Where others published meanwhile, only what was approved is published: other
// fields of the record make it another document, other records do not.
func TestPublishAfterOthers(t *testing.T) {
	w := newWorld(t)
	c := w.approve(rhea, w.propose(maud, torque(wheelNut, 1, 112, 83)))
	w.through(note(hubNut, 1, "Somewhere else."))
	other := w.propose(orri, note(wheelNut, 1, "Beside it."))
	if got := w.publish(rhea, c); got.Position != 3 || got.CheckedAt != 2 {
		t.Errorf("published at %d, checked at %d", got.Position, got.CheckedAt)
	}

	before := w.stored()
	got, err := w.desk.Approve(t.Context(), rhea, other.ID, other.Content, "", "")
	if e := w.refused(fault.RecheckRequired, got, err); e.Metadata["record"] != string(wheelNut) || w.stored() != before {
		t.Errorf("refused with %v", e.Metadata)
	}
	seen := other.Content
	other = w.ok(w.desk.Recheck(t.Context(), maud, other.ID, ""))
	if other.Content == seen || other.Drafts[0].Base != 2 || other.CheckedAt != 3 || !slices.Equal(other.Authors, []string{"orri"}) {
		t.Fatalf("rechecked %+v", other)
	}
	other = w.approve(rhea, other)
	w.through(patch(wheelNut, 2, `{"fitting":{"washers":"none"}}`))
	got, err = w.desk.Publish(t.Context(), rhea, other.ID, other.Version, "")
	w.refused(fault.RecheckRequired, got, err)
	other = w.ok(w.desk.Recheck(t.Context(), rhea, other.ID, ""))
	if other.State != desk.Open {
		t.Fatalf("is %s after its content changed", other.State)
	}
	got, err = w.desk.Publish(t.Context(), rhea, other.ID, other.Version, "")
	w.refused(fault.CorrectionState, got, err)
	w.publish(rhea, w.approve(rhea, other))
	for _, want := range []string{"112 N.m", "Beside it.", `"washers":"none"`} {
		if r := w.record(wheelNut); r.Number != 4 || !strings.Contains(string(r.Document), want) {
			t.Errorf("revision %d lacks %s: %s", r.Number, want, r.Document)
		}
	}

	// The same field: no recheck helps, the author must look.
	clashing := w.propose(maud, note(seatBolt, 1, "Mine."))
	gone := w.propose(maud, note(unused, 1, "Mine."))
	w.through(note(seatBolt, 1, "Theirs."))
	w.through(desk.Change{Name: unused, Base: 1, Withdraw: true})
	for _, c := range []*desk.Correction{clashing, gone} {
		got, err = w.desk.Recheck(t.Context(), maud, c.ID, "")
		w.refused(fault.FieldsClash, got, err)
		got, err = w.desk.Approve(t.Context(), rhea, c.ID, c.Content, "", "")
		w.refused(fault.FieldsClash, got, err)
	}
	clashing = w.ok(w.desk.Amend(t.Context(), maud, clashing.ID, clashing.Version, desk.Proposal{Changes: []desk.Change{note(seatBolt, 2, "Both.")}}))
	w.publish(rhea, w.approve(rhea, clashing))

	// What somebody else published already drops out.
	twice := w.propose(maud, note(seatBolt, 3, "The same."), note(wheelNut, 4, "And more."))
	w.through(note(seatBolt, 3, "The same."))
	twice = w.ok(w.desk.Recheck(t.Context(), maud, twice.ID, ""))
	if len(twice.Drafts) != 1 || twice.Drafts[0].Name != wheelNut {
		t.Errorf("drafts left: %+v", twice.Drafts)
	}
	w.through(note(wheelNut, 4, "And more."))
	got, err = w.desk.Recheck(t.Context(), maud, twice.ID, "")
	w.refused(fault.NothingChanged, got, err)
}

// Rechecking where nothing moved writes nothing, but answers a request id.
func TestRecheckOfNothing(t *testing.T) {
	w := newWorld(t)
	c := w.bring(desk.Open, sumpPlug)
	got := w.ok(w.desk.Recheck(t.Context(), maud, c.ID, "again"))
	if encode(got) != encode(c) || got.Version != c.Version {
		t.Errorf("got\n%s\nwant\n%s", encode(got), encode(c))
	}
	w.through(note(hubNut, 1, "Elsewhere."))
	if again := w.ok(w.desk.Recheck(t.Context(), maud, c.ID, "again")); encode(again) != encode(got) {
		t.Errorf("the answer to one request changed to\n%s", encode(again))
	}
	if now := w.ok(w.desk.Recheck(t.Context(), maud, c.ID, "")); now.CheckedAt != 2 || now.Version != 2 {
		t.Errorf("checked at %d, version %d", now.CheckedAt, now.Version)
	}
}

func TestList(t *testing.T) {
	w := newWorld(t)
	var all []string
	for i := range 7 {
		c := w.bring([]desk.State{desk.Open, desk.Withdrawn, desk.Rejected}[i%3], []specdata.Name{sumpPlug, seatBolt}[i%2])
		all = append(all, c.ID)
		w.clock.Add(int64(time.Hour / time.Second))
	}
	if !slices.IsSorted(all) {
		t.Errorf("ids do not sort by time: %v", all)
	}
	slices.Reverse(all)
	page := func(state desk.State, record specdata.Name, size int32) (ids []string) {
		token := ""
		for {
			cs, next, err := w.desk.List(t.Context(), state, record, ask.Page{Size: size, Token: token})
			if err != nil {
				t.Fatal(tell(err))
			}
			for _, c := range cs {
				ids = append(ids, c.ID)
			}
			if token = next; next == "" {
				return ids
			}
		}
	}
	for _, size := range []int32{0, 1, 2, 3, 7, 2000} {
		if got := page("", "", size); !slices.Equal(got, all) {
			t.Errorf("page size %d lists %v, want %v", size, got, all)
		}
		if got, want := page(desk.Open, "", size), []string{all[0], all[3], all[6]}; !slices.Equal(got, want) {
			t.Errorf("page size %d lists %v open, want %v", size, got, want)
		}
		if got, want := page("", seatBolt, size), []string{all[1], all[3], all[5]}; !slices.Equal(got, want) {
			t.Errorf("page size %d lists %v of the record, want %v", size, got, want)
		}
		if got, want := page(desk.Open, seatBolt, size), []string{all[3]}; !slices.Equal(got, want) {
			t.Errorf("page size %d lists %v open of the record, want %v", size, got, want)
		}
	}
	_, token, err := w.desk.List(t.Context(), "", "", ask.Page{Size: 2})
	if err != nil || token == "" {
		t.Fatal(err)
	}
	for _, x := range []struct {
		state  desk.State
		record specdata.Name
		size   int32
		token  string
		want   fault.Kind
	}{
		{"lost", "", 1, "", fault.InvalidArgument}, {"", "", -1, "", fault.InvalidArgument},
		{desk.Open, "", 2, token, fault.PageTokenInvalid}, {"", "", 2, token + "A", fault.PageTokenInvalid}, {"", "", 2, "!", fault.PageTokenInvalid},
	} {
		cs, _, err := w.desk.List(t.Context(), x.state, x.record, ask.Page{Size: x.size, Token: x.token})
		if cs != nil {
			t.Errorf("%+v lists %v", x, cs)
		}
		w.refused(x.want, nil, err)
	}
}
