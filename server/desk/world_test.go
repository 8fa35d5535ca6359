package desk_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"proofload/server/check"
	"proofload/server/desk"
	"proofload/server/fault"
	"proofload/server/snapshot"
	"proofload/server/store"
	"proofload/server/store/sqlite"
	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/library"
	"proofload/tools/lint"
	"proofload/tools/lint/rules"
)

// The people of the tests. Pat does both.
var (
	maud = desk.Actor{Name: "maud"}
	orri = desk.Actor{Name: "orri"}
	rhea = desk.Actor{Name: "rhea"}
	ravi = desk.Actor{Name: "ravi"}
	pat  = desk.Actor{Name: "pat"}
)

const (
	wheelNut = specdata.Name("fasteners/quill-1-wheel-nut")
	hubNut   = specdata.Name("fasteners/quill-1-rear-hub-nut")
	seatBolt = specdata.Name("fasteners/quill-1-front-seat-bolt")
	// sumpPlug is of a vehicle of few records, which judging it is quick for.
	sumpPlug = specdata.Name("fasteners/wain-7-sump-plug")
	// unused is used by nothing.
	unused = specdata.Name("fasteners/pell-1-knock-sensor-bolt")
)

// world is a store with the demo library, judged by the rules that judge everywhere.
type world struct {
	testing.TB
	store store.Store
	desk  *desk.Desk
	reads *desk.Reads
	file  string
	clock *atomic.Int64 // Unix seconds; every look at it is a second later
}

func (w *world) now() time.Time { return time.Unix(w.clock.Add(1), 0) }

func judge(ctx context.Context, lib library.Library, only []specdata.Name, old library.Library) (*check.Report, error) {
	rep, err := lint.Run(ctx, lint.Options{Rules: rules.All, Library: lib, Only: only, Old: old, Date: time.Date(2026, 11, 2, 0, 0, 0, 0, time.UTC)})
	if err != nil {
		return nil, err
	}
	return &check.Report{Findings: rep.Findings, NotChecked: rep.NotChecked}, nil
}

func newWorld(t testing.TB) *world {
	t.Helper()
	w := &world{TB: t, file: filepath.Join(t.TempDir(), "desk.db"), clock: &atomic.Int64{}}
	w.clock.Store(time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC).Unix())
	w.open()
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	p := store.Publication{Authors: []string{"demo"}, Reviewer: "demo", Reason: "the demo library", Time: w.now()}
	for _, k := range specdata.Kinds {
		for e := range lib.All(k) {
			p.Changes = append(p.Changes, store.Change{Name: e.Name(), Document: e.Canonical})
		}
	}
	if _, err := w.store.Publish(t.Context(), p); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { w.store.Close() })
	return w
}

// open opens the store and a desk on it, as a start of the server does.
func (w *world) open() {
	w.Helper()
	s, err := sqlite.Open(w.Context(), w.file, sqlite.Options{})
	if err != nil {
		w.Fatal(err)
	}
	w.store = s
	w.reads = desk.NewReads(s, w.log())
	w.desk = w.another()
}

// another returns a second desk on the same store, as another server has.
func (w *world) another() *desk.Desk {
	w.Helper()
	follower, err := snapshot.NewFollower(w.Context(), w.store)
	if err != nil {
		w.Fatal(err)
	}
	return desk.New(desk.Deps{Follower: follower, Check: judge, Affected: lint.AffectedBy, Reads: w.reads, Now: w.now})
}

func (w *world) head() int64 {
	w.Helper()
	h, err := w.store.Head(w.Context())
	if err != nil {
		w.Fatal(err)
	}
	return h.Position
}

// record returns the newest revision of a record.
func (w *world) record(n specdata.Name) *store.Revision {
	w.Helper()
	r, err := w.store.Get(w.Context(), n, w.head())
	if err != nil {
		w.Fatal(err)
	}
	return r
}

// torque is a change of a fastener's torque, with the pair and the quote beside it,
// so that it is in order.
func torque(n specdata.Name, base int64, newtonMetres, poundFeet int) desk.Change {
	return desk.Change{Name: n, Base: base, MergePatch: fmt.Sprintf(
		`{"tightening":{"stages":[{"torque":"%[1]d N.m","also":"%[2]d lbf.ft"}]},"source":{"quote":"%[1]d N.m (%[2]d lbf.ft)"}}`, newtonMetres, poundFeet)}
}

func patch(n specdata.Name, base int64, merge string) desk.Change {
	return desk.Change{Name: n, Base: base, MergePatch: merge}
}

// note is a change that no rule minds.
func note(n specdata.Name, base int64, text string) desk.Change {
	return patch(n, base, fmt.Sprintf(`{"note":%q}`, text))
}

const because = "read again in the sheet"

func proposal(changes ...desk.Change) desk.Proposal {
	return desk.Proposal{Changes: changes, Reason: because, Evidence: []string{"sheet 1 row 1"}}
}

func (w *world) propose(a desk.Actor, changes ...desk.Change) *desk.Correction {
	w.Helper()
	return w.ok(w.desk.Propose(w.Context(), a, proposal(changes...), false))
}

func (w *world) ok(c *desk.Correction, err error) *desk.Correction {
	w.Helper()
	if err != nil {
		w.Fatalf("refused: %s", tell(err))
	}
	return c
}

func (w *world) approve(a desk.Actor, c *desk.Correction) *desk.Correction {
	w.Helper()
	return w.ok(w.desk.Approve(w.Context(), a, c.ID, c.Content, "", ""))
}

func (w *world) publish(a desk.Actor, c *desk.Correction) *desk.Correction {
	w.Helper()
	return w.ok(w.desk.Publish(w.Context(), a, c.ID, c.Version, ""))
}

// through takes a change through its whole life.
func (w *world) through(changes ...desk.Change) *desk.Correction {
	w.Helper()
	return w.publish(rhea, w.approve(rhea, w.propose(maud, changes...)))
}

func tell(err error) string {
	var e *fault.Error
	if errors.As(err, &e) {
		return fmt.Sprintf("%s: %s %v %v %v", e.Kind, e.Message, e.Metadata, e.Violations, e.Clashes)
	}
	return fmt.Sprint(err)
}

// refused checks that something was refused with a kind and returns the error.
func (w *world) refused(want fault.Kind, c *desk.Correction, err error) *fault.Error {
	w.Helper()
	var e *fault.Error
	if !errors.As(err, &e) || e.Kind != want || c != nil {
		w.Fatalf("got %v, %s; want %s", c, tell(err), want)
	}
	if row := e.Kind.Row(); row.Status < 400 || row.Status > 499 {
		w.Fatalf("%s is status %d", e.Kind, row.Status)
	}
	return e
}

func encode(v any) string {
	b, err := json.Marshal(v)
	if err != nil {
		return err.Error()
	}
	return string(b)
}

// stored is everything the store holds for corrections, to see that nothing changed.
func (w *world) stored() string {
	w.Helper()
	var b strings.Builder
	for _, space := range []string{"corrections", "answers"} {
		notes, err := w.store.ListNotes(w.Context(), store.NoteQuery{Space: space, Limit: store.MaxLimit})
		if err != nil {
			w.Fatal(err)
		}
		for _, n := range notes {
			fmt.Fprintf(&b, "%s %s %d %s\n", n.Space, n.Key, n.Version, n.Body)
		}
	}
	fmt.Fprintf(&b, "head %d", w.head())
	return b.String()
}

func (w *world) log() *slog.Logger {
	return slog.New(slog.NewTextHandler(w.Output(), nil))
}
