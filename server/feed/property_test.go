package feed

import (
	"context"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"pgregory.net/rapid"

	"proofload/server/store"
	"proofload/server/store/sqlite"
	"proofload/server/store/storetest"
	"proofload/specdata"
	"proofload/specdata/document"
)

var filters = []Filter{
	{}, {}, {Kinds: []specdata.Kind{specdata.KindFastener}}, {Kinds: []specdata.Kind{specdata.KindSource}}, {Names: []specdata.Name{"fasteners/b-1", "fasteners/b-2"}},
	{Vehicle: "quill-1"}, {Vehicle: "pell-1", Kinds: []specdata.Kind{specdata.KindFastener}}, {Source: "quill-chassis"}, {Vehicle: "nobody"},
}

// library publishes at random: records come, change what they are for and what they
// cite, go and come back, one at a time or many.
type library struct {
	store store.Store
	// newest and gone are the state of each record.
	newest map[string]int64
	gone   map[string]bool
}

func (l *library) publish(t *rapid.T, most int) {
	n := rapid.IntRange(1, most).Draw(t, "changes")
	p := publication()
	taken := map[string]bool{}
	for range n {
		id := fmt.Sprintf("b-%d", rapid.IntRange(0, 2*most).Draw(t, "record"))
		if taken[id] {
			continue
		}
		taken[id] = true
		if l.newest[id] > 0 && !l.gone[id] && rapid.IntRange(0, 4).Draw(t, "withdraw") == 0 {
			p.Changes = append(p.Changes, store.Change{Name: specdata.NewName(specdata.KindFastener, id), Base: l.newest[id]})
			l.gone[id] = true
		} else {
			f := storetest.Fastener(id, "Bolt", "rear hub", "M12x1.5", specdata.JointClamp, rapid.IntRange(10, 90).Draw(t, "torque"),
				rapid.SampledFrom([]string{"quill-chassis", "pell-chassis"}).Draw(t, "source"), rapid.SampledFrom([]string{"quill-1", "pell-1"}).Draw(t, "vehicle"))
			doc, err := document.Canonical(f)
			if err != nil {
				t.Fatal(err)
			}
			p.Changes = append(p.Changes, store.Change{Name: f.Name(), Base: l.newest[id], Document: doc})
			l.gone[id] = false
		}
		l.newest[id]++
	}
	if _, err := l.store.Publish(context.Background(), p); err != nil {
		t.Fatal(err)
	}
}

// follower is one watcher of the property test and what it has seen.
type follower struct {
	seen
	w *Watcher
}

// Whatever is published and filtered, however small the ring and wherever watchers
// begin, stop and go on: each is given every revision it wants, once and in order.
func TestWatchersSeeTheLog(t *testing.T) {
	noLeaks(t)
	folder := t.TempDir()
	round := 0
	rapid.Check(t, func(t *rapid.T) {
		round++
		s, err := sqlite.Open(context.Background(), filepath.Join(folder, fmt.Sprintf("%d.db", round)), sqlite.Options{Readers: 1})
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		f := New(s, Options{Revisions: rapid.IntRange(1, 12).Draw(t, "ring"), Heartbeat: time.Millisecond}, quiet)
		defer f.Close()
		l := &library{store: s, newest: map[string]int64{}, gone: map[string]bool{}}
		var followers []*follower
		defer func() {
			for _, x := range followers {
				x.w.Close()
			}
		}()
		watch := func(t *rapid.T, filter Filter, after int64) *Watcher {
			w, err := f.Watch(context.Background(), &after, filter)
			if err != nil {
				t.Fatal(err)
			}
			return w
		}
		next := func(t *rapid.T, x *follower) *Event {
			e, err := x.w.Next(context.Background())
			if err != nil {
				t.Fatal(err)
			}
			if err := x.take(e); err != nil {
				t.Fatalf("filter %s from %d: %v", x.filter, x.from, err)
			}
			return e
		}
		t.Repeat(map[string]func(*rapid.T){
			"publish":      func(t *rapid.T) { l.publish(t, 3) },
			"publish many": func(t *rapid.T) { l.publish(t, 20) },
			"watch": func(t *rapid.T) {
				if len(followers) == 6 {
					return
				}
				head, err := s.Head(context.Background())
				if err != nil {
					t.Fatal(err)
				}
				x := &follower{seen: seen{filter: rapid.SampledFrom(filters).Draw(t, "filter"), from: rapid.Int64Range(0, head.Position).Draw(t, "after")}}
				x.reached, x.w = x.from, watch(t, x.filter, x.from)
				followers = append(followers, x)
			},
			"take": func(t *rapid.T) {
				for _, x := range followers {
					for range rapid.IntRange(0, 4).Draw(t, "events") {
						next(t, x)
					}
				}
			},
			"reconnect": func(t *rapid.T) {
				for _, x := range followers {
					if rapid.Bool().Draw(t, "which") {
						x.w.Close()
						x.resume()
						if x.w.Resume() != x.reached {
							t.Fatalf("watcher resumes at %d, it was told of %d", x.w.Resume(), x.reached)
						}
						x.w = watch(t, x.filter, x.w.Resume())
					}
				}
			},
		})
		log, facts := whole(t, s)
		head := int64(0)
		if len(log) > 0 {
			head = log[len(log)-1].Position
		}
		for _, x := range followers {
			for x.reached < head {
				next(t, x)
			}
			if err := x.validate(log, facts); err != nil {
				t.Errorf("filter %s from %d: %v", x.filter, x.from, err)
			}
		}
	})
}
