package desk_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"

	"proofload/server/desk"
	"proofload/server/fault"
	"proofload/specdata"
)

// race lets several acts meet on one state of a correction, each on a desk of its
// own, and returns what came of each.
func race(w *world, desks []*desk.Desk, acts ...func(d *desk.Desk) (*desk.Correction, error)) []error {
	errs := make([]error, len(acts))
	start := make(chan struct{})
	var wg sync.WaitGroup
	for i, act := range acts {
		wg.Go(func() {
			<-start
			_, errs[i] = act(desks[i])
		})
	}
	close(start)
	wg.Wait()
	for _, err := range errs {
		var e *fault.Error
		if err != nil && !errors.As(err, &e) {
			w.Fatalf("not the caller's to mend: %v", err)
		}
	}
	return errs
}

func won(errs []error) (n int) {
	for _, err := range errs {
		if err == nil {
			n++
		}
	}
	return n
}

// Of two who decide on the same state, one wins; the other is told that it moved.
func TestRaces(t *testing.T) {
	w := newWorld(t)
	desks := []*desk.Desk{w.desk, w.another()}
	ctx := t.Context()
	amend := func(c *desk.Correction) func(*desk.Desk) (*desk.Correction, error) {
		return func(d *desk.Desk) (*desk.Correction, error) {
			return d.Amend(ctx, orri, c.ID, c.Version, desk.Proposal{Evidence: []string{"another photo"}})
		}
	}
	approve := func(c *desk.Correction, a desk.Actor) func(*desk.Desk) (*desk.Correction, error) {
		return func(d *desk.Desk) (*desk.Correction, error) { return d.Approve(ctx, a, c.ID, c.Content, "", "") }
	}
	publish := func(c *desk.Correction) func(*desk.Desk) (*desk.Correction, error) {
		return func(d *desk.Desk) (*desk.Correction, error) { return d.Publish(ctx, ravi, c.ID, c.Version, "") }
	}
	withdraw := func(c *desk.Correction) func(*desk.Desk) (*desk.Correction, error) {
		return func(d *desk.Desk) (*desk.Correction, error) { return d.Withdraw(ctx, maud, c.ID, c.Version, "", "") }
	}
	reject := func(c *desk.Correction) func(*desk.Desk) (*desk.Correction, error) {
		return func(d *desk.Desk) (*desk.Correction, error) {
			return d.Reject(ctx, rhea, c.ID, c.Content, "not this way, please", "")
		}
	}
	for _, x := range []struct {
		name string
		from desk.State
		acts func(c *desk.Correction) []func(*desk.Desk) (*desk.Correction, error)
		// both says that one may follow on the other; the end must fit even then.
		both bool
	}{
		{"two approvals", desk.Open, func(c *desk.Correction) []func(*desk.Desk) (*desk.Correction, error) {
			return []func(*desk.Desk) (*desk.Correction, error){approve(c, rhea), approve(c, ravi)}
		}, false},
		{"approval and amendment", desk.Open, func(c *desk.Correction) []func(*desk.Desk) (*desk.Correction, error) {
			return []func(*desk.Desk) (*desk.Correction, error){approve(c, rhea), amend(c)}
		}, false},
		{"two publishers", desk.Approved, func(c *desk.Correction) []func(*desk.Desk) (*desk.Correction, error) {
			return []func(*desk.Desk) (*desk.Correction, error){publish(c), publish(c)}
		}, false},
		{"publisher and amendment", desk.Approved, func(c *desk.Correction) []func(*desk.Desk) (*desk.Correction, error) {
			return []func(*desk.Desk) (*desk.Correction, error){publish(c), amend(c)}
		}, false},
		{"publisher and withdrawal", desk.Approved, func(c *desk.Correction) []func(*desk.Desk) (*desk.Correction, error) {
			return []func(*desk.Desk) (*desk.Correction, error){publish(c), withdraw(c)}
		}, false},
		{"publisher and rejection", desk.Approved, func(c *desk.Correction) []func(*desk.Desk) (*desk.Correction, error) {
			return []func(*desk.Desk) (*desk.Correction, error){publish(c), reject(c)}
		}, false},
		{"approval and publisher", desk.Open, func(c *desk.Correction) []func(*desk.Desk) (*desk.Correction, error) {
			next := *c
			next.Version++
			return []func(*desk.Desk) (*desk.Correction, error){approve(c, rhea), publish(&next)}
		}, true},
	} {
		t.Run(x.name, func(t *testing.T) {
			for range 3 {
				c := w.bring(x.from, sumpPlug)
				head := w.head()
				errs := race(w, desks, x.acts(c)...)
				if n := won(errs); n != 1 && !(x.both && n == 2) {
					t.Fatalf("%d of two won: %v, %v", n, tell(errs[0]), tell(errs[1]))
				}
				end := w.ok(w.desk.Get(ctx, c.ID))
				published := end.State == desk.Published
				if want := c.Version + int64(won(errs)); end.Version != want || published != (w.head() == head+1) || !published && w.head() != head {
					t.Fatalf("ends %s at version %d (want %d), head %d before and %d after", end.State, end.Version, want, head, w.head())
				}
			}
		})
	}
}

// Corrections that are fine each by itself and not together do not both get in,
// even when their publishers judge at the same moment.
func TestPublishersOfWhatGoesNotTogether(t *testing.T) {
	w := newWorld(t)
	desks := []*desk.Desk{w.desk, w.another()}
	for i := range 3 {
		name := specdata.Name(fmt.Sprintf("sources/quill-bulletin-%d", i))
		w.through(desk.Change{Name: name, Document: "kind: source\nid: " + name.ID() + "\ntitle: Bulletin " + strings.Repeat("x", i+1) + "\nissuer: Quill Works\ndate: 2026-09-01\ntype: bulletin\nlicence: numbers may be quoted\n"})
		// One withdraws the source that the other begins to rest on.
		gone := w.approve(rhea, w.propose(maud, desk.Change{Name: name, Base: 1, Withdraw: true}))
		rest := w.approve(rhea, w.propose(maud, patch(unused, w.record(unused).Number, `{"source":{"document":"`+name.ID()+`"}}`)))
		errs := race(w, desks,
			func(d *desk.Desk) (*desk.Correction, error) {
				return d.Publish(w.Context(), rhea, gone.ID, gone.Version, "")
			},
			func(d *desk.Desk) (*desk.Correction, error) {
				return d.Publish(w.Context(), rhea, rest.ID, rest.Version, "")
			},
		)
		var e *fault.Error
		if won(errs) != 1 || !slices.ContainsFunc(errs, func(err error) bool { return errors.As(err, &e) && e.Kind == fault.FindingsBlock }) {
			t.Fatalf("%d got in: %s, %s", won(errs), tell(errs[0]), tell(errs[1]))
		}
		if errs[0] == nil { // leave the screw as the next round wants it
			continue
		}
		w.ok(w.desk.Withdraw(t.Context(), maud, gone.ID, gone.Version, "", ""))
	}
}

// Many publishers of different records all get in, each at its own position.
func TestManyPublishers(t *testing.T) {
	w := newWorld(t)
	var cs []*desk.Correction
	for _, id := range []string{"sump-plug", "cab-tilt-bolt", "caliper-bolt", "fuel-strap-nut", "track-rod-clamp-bolt", "tow-coupling-bolt"} {
		cs = append(cs, w.approve(rhea, w.propose(maud, note(specdata.Name("fasteners/wain-7-"+id), 1, "Looked at again."))))
	}
	var positions []int64
	var mu sync.Mutex
	var wg sync.WaitGroup
	desks := []*desk.Desk{w.desk, w.another(), w.another()}
	for i, c := range cs {
		wg.Go(func() {
			got, err := desks[i%3].Publish(w.Context(), ravi, c.ID, c.Version, "")
			if err != nil {
				t.Error(tell(err))
				return
			}
			mu.Lock()
			defer mu.Unlock()
			positions = append(positions, got.Position)
		})
	}
	wg.Wait()
	slices.Sort(positions)
	if want := []int64{2, 3, 4, 5, 6, 7}; !slices.Equal(positions, want) {
		t.Errorf("published at %v, want %v", positions, want)
	}
}
