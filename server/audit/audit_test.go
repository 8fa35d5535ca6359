package audit_test

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"proofload/server/audit"
	"proofload/server/ledger"
	"proofload/server/store"
	"proofload/specdata"
)

// forgeries is how many random forgeries each of the two tests makes; the goal of
// the project is 100,000 with none unseen.
var forgeries = flag.Int("forgeries", 1000, "random forgeries to make")

// kind is one way to forge a history. It returns the leaf it touched first.
type kind struct {
	name string
	// sloppy forgers leave the tree as it was; want is what an audit calls it then.
	want  audit.What
	forge func(*rand.Rand, *history) (leaf int)
}

// one takes a revision that the forger changes.
func one(random *rand.Rand, h *history) (int, *store.Revision) {
	i := random.IntN(len(h.revisions))
	return i, h.revisions[i]
}

var kinds = []kind{
	{"document", audit.Changed, func(random *rand.Rand, h *history) int {
		i, r := one(random, h)
		r.Document = []byte(strings.Replace(string(r.Document), " N.m", "0 N.m", 1))
		r.Hash = hashOf(r.Document)
		return i
	}},
	{"document, and not its hash", audit.Damaged, func(random *rand.Rand, h *history) int {
		i, r := one(random, h)
		r.Document[random.IntN(len(r.Document))] ^= 1
		return i
	}},
	{"author", audit.Changed, func(random *rand.Rand, h *history) int {
		i, r := one(random, h)
		r.Authors = append(r.Authors, "mallory")
		return i
	}},
	{"reviewer", audit.Changed, func(random *rand.Rand, h *history) int {
		i, r := one(random, h)
		r.Reviewer += "x"
		return i
	}},
	{"reason", audit.Changed, func(random *rand.Rand, h *history) int {
		i, r := one(random, h)
		r.Reason += " "
		return i
	}},
	{"time", audit.Changed, func(random *rand.Rand, h *history) int {
		i, r := one(random, h)
		r.Time = r.Time.Add(time.Duration(1 + random.IntN(1e9)))
		return i
	}},
	{"withdrawal", audit.Changed, func(random *rand.Rand, h *history) int {
		i, r := one(random, h)
		r.Withdrawn = !r.Withdrawn
		return i
	}},
	{"record", audit.Changed, func(random *rand.Rand, h *history) int {
		i, r := one(random, h)
		r.Name = specdata.Name("fasteners/nut-z" + fmt.Sprint(random.IntN(9)))
		return i
	}},
	{"dropped", audit.Dropped, func(random *rand.Rand, h *history) int {
		i := random.IntN(len(h.revisions) - 1) // the last one is "truncated"
		h.revisions = slices.Delete(h.revisions, i, i+1)
		return i
	}},
	{"inserted", audit.Inserted, func(random *rand.Rand, h *history) int {
		i, r := one(random, h)
		c := *r
		c.Name, c.Number = "fasteners/nut-slipped-in", 1
		h.revisions = slices.Insert(h.revisions, i, &c)
		return i
	}},
	{"inserted again", audit.Inserted, func(random *rand.Rand, h *history) int {
		i, r := one(random, h)
		c := *r
		h.revisions = slices.Insert(h.revisions, i+1, &c)
		return i + 1
	}},
	{"swapped", audit.Reordered, func(random *rand.Rand, h *history) int {
		i := random.IntN(len(h.revisions) - 1)
		h.revisions[i], h.revisions[i+1] = h.revisions[i+1], h.revisions[i]
		return i
	}},
	{"moved far", audit.Reordered, func(random *rand.Rand, h *history) int {
		i := random.IntN(len(h.revisions) - 2)
		r := h.revisions[i]
		h.revisions = slices.Insert(slices.Delete(h.revisions, i, i+1), i+2, r)
		return i
	}},
}

func show(fs []audit.Fault) string {
	var b strings.Builder
	for _, f := range fs {
		fmt.Fprintf(&b, "\n  %s: %s", f.What, f.Message)
	}
	return b.String()
}

func report(t *testing.T, h *history, kept ...ledger.Checkpoint) *audit.Report {
	t.Helper()
	rep, err := audit.History(t.Context(), h, origin, kept)
	if err != nil {
		t.Fatal(err)
	}
	return rep
}

// A history as it was published has no fault, whatever was kept of it.
func TestHonestHistory(t *testing.T) {
	for seed := range uint64(60) {
		random := rand.New(rand.NewPCG(seed, 1))
		h := honest(random)
		var kept []ledger.Checkpoint
		for p := int64(1); p <= h.head.Position; p++ {
			kept = append(kept, h.checkpoint(t, p))
		}
		random.Shuffle(len(kept), func(i, j int) { kept[i], kept[j] = kept[j], kept[i] })
		rep := report(t, h, kept...)
		if len(rep.Faults) > 0 || rep.Fitting != len(kept) || rep.Root != h.checkpoint(t, h.head.Position).Root {
			t.Fatalf("seed %d: %d of %d checkpoints fit%s", seed, rep.Fitting, len(kept), show(rep.Faults))
		}
	}
}

// Anyone who changes the revisions and leaves the stored tree is found without anything
// kept, and the very leaf is named.
func TestForgeriesUnderTheTree(t *testing.T) {
	found := map[audit.What]int{}
	for n := range *forgeries {
		random := rand.New(rand.NewPCG(uint64(n), 2))
		k := kinds[n%len(kinds)]
		h := honest(random)
		was := h.clone()
		leaf := k.forge(random, h)
		rep := report(t, h)
		i := slices.IndexFunc(rep.Faults, func(f audit.Fault) bool { return f.What == k.want })
		if i < 0 {
			t.Fatalf("forgery %d, %s at leaf %d: not found as %s%s", n, k.name, leaf, k.want, show(rep.Faults))
		}
		f := rep.Faults[i]
		found[f.What]++
		switch k.want {
		case audit.Reordered: // which of two neighbours moved cannot be told
			if f.Leaf < int64(leaf) || f.Leaf > int64(leaf)+2 {
				t.Errorf("forgery %d, %s at leaf %d: found at %d%s", n, k.name, leaf, f.Leaf, show(rep.Faults))
			}
		case audit.Dropped:
			gone := was.revisions[leaf]
			if f.Leaf != int64(leaf) {
				t.Errorf("forgery %d, %s at leaf %d: found at %d%s", n, k.name, leaf, f.Leaf, show(rep.Faults))
			}
			last := !slices.ContainsFunc(was.revisions[leaf+1:], func(r *store.Revision) bool { return r.Name == gone.Name })
			if !last && (f.Record != gone.Name || f.Revision != gone.Number) {
				t.Errorf("forgery %d: %s revision %d was dropped%s", n, gone.Name, gone.Number, show(rep.Faults))
			}
		default:
			if f.Leaf != int64(leaf) || len(rep.Faults) != 1 {
				t.Errorf("forgery %d, %s at leaf %d: found at %d%s", n, k.name, leaf, f.Leaf, show(rep.Faults))
			}
			if now := h.revisions[leaf]; k.want != audit.Damaged && (f.Record != now.Name || f.Revision != now.Number || f.Position != now.Position) {
				t.Errorf("forgery %d: stands now %s revision %d%s", n, now.Name, now.Number, show(rep.Faults))
			}
		}
	}
	t.Logf("%d forgeries found: %v", *forgeries, found)
}

// Anyone who makes numbers, hashes and the tree again over the forgery fits themselves,
// and is found by any checkpoint that was kept from behind it; the leaf lies in the
// range that is named.
func TestForgeriesWithTheTree(t *testing.T) {
	found := map[audit.What]int{}
	for n := range *forgeries {
		random := rand.New(rand.NewPCG(uint64(n), 3))
		h := honest(random)
		was := h.clone()
		leaf := 0
		name := "truncated"
		switch k := n % (len(kinds) + 3); {
		case k < len(kinds):
			name, leaf = kinds[k].name, kinds[k].forge(random, h)
			for _, r := range h.revisions {
				r.Hash = hashOf(r.Document)
			}
		case k == len(kinds):
			leaf = len(h.revisions) - 1 - random.IntN(2)
			h.revisions = h.revisions[:leaf]
		case k == len(kinds)+1:
			name = "rolled back and published anew" // the split view, from the other side
			back := 1 + random.Int64N(h.head.Position-1)
			leaf = slices.IndexFunc(h.revisions, func(r *store.Revision) bool { return r.Position > back })
			h.revisions = h.revisions[:leaf]
			h.seal()
			h.publish(random, 1+random.IntN(4))
		default:
			name, leaf = "all of another history", 0
			*h = *honest(rand.New(rand.NewPCG(uint64(n), 4)))
		}
		h.renumber()
		h.seal()
		// What a reader keeps: one from behind the forged leaf, and some from before it.
		behind := was.revisions[min(leaf, len(was.revisions)-1)].Position
		kept := []ledger.Checkpoint{was.checkpoint(t, behind+random.Int64N(was.head.Position-behind+1))}
		good := int64(0)
		for p := int64(1); p < behind; p++ {
			if random.IntN(3) == 0 {
				kept = append(kept, was.checkpoint(t, p))
				good = kept[len(kept)-1].Size
			}
		}
		rep := report(t, h, kept...)
		i := slices.IndexFunc(rep.Faults, func(f audit.Fault) bool {
			return f.What == audit.Rewritten || f.What == audit.RolledBack || f.What == audit.SplitView
		})
		if i < 0 {
			t.Fatalf("forgery %d, %s at leaf %d: not found%s", n, name, leaf, show(rep.Faults))
		}
		f := rep.Faults[i]
		found[f.What]++
		if f.What == audit.Rewritten && (f.Leaf != good || good > int64(leaf)) {
			t.Errorf("forgery %d, %s at leaf %d: said to lie from leaf %d on, kept checkpoints fit up to %d%s", n, name, leaf, f.Leaf, good, show(rep.Faults))
		}
	}
	t.Logf("%d forgeries found: %v", *forgeries, found)
}

// What is not found by a kept checkpoint alone: a change behind it, under a tree made
// again. The newest checkpoint is the one to keep.
func TestNothingKeptNothingFound(t *testing.T) {
	random := rand.New(rand.NewPCG(9, 9))
	h := honest(random)
	was := h.clone()
	h.revisions[len(h.revisions)-1].Reason = "another"
	h.seal()
	if rep := report(t, h); len(rep.Faults) > 0 {
		t.Errorf("without anything kept a consistent history has%s", show(rep.Faults))
	}
	if rep := report(t, h, was.checkpoint(t, h.head.Position-1)); len(rep.Faults) > 0 || rep.Fitting != 1 {
		t.Errorf("a checkpoint from before the change finds%s", show(rep.Faults))
	}
	if rep := report(t, h, was.checkpoint(t, h.head.Position)); len(rep.Faults) != 1 || rep.Faults[0].What != audit.Rewritten {
		t.Errorf("the newest checkpoint finds%s", show(rep.Faults))
	}
}

func TestOtherFaults(t *testing.T) {
	fresh := func() *history { return honest(rand.New(rand.NewPCG(5, 5))) }
	for _, c := range []struct {
		name string
		edit func(*history) []ledger.Checkpoint
		want audit.What
		say  string
	}{
		{"an inner hash", func(h *history) []ledger.Checkpoint { h.tree[2][0]++; return nil }, audit.TreeBroken, "the revisions themselves are as published"},
		{"hashes cut off", func(h *history) []ledger.Checkpoint { h.tree = h.tree[:len(h.tree)-3]; return nil }, audit.Changed, "not what was published"},
		{"a number left out", func(h *history) []ledger.Checkpoint { h.revisions[3].Number += 5; h.seal(); return nil }, audit.Impossible, "count without gaps"},
		{"a position left out", func(h *history) []ledger.Checkpoint {
			for _, r := range h.revisions[4:] {
				r.Position += 2
			}
			h.seal()
			return nil
		}, audit.Impossible, "count without gaps"},
		{"a time before", func(h *history) []ledger.Checkpoint {
			h.revisions[len(h.revisions)-1].Time = epoch.Add(-time.Hour)
			h.seal()
			return nil
		}, audit.Impossible, "follows"},
		{"a head that says more", func(h *history) []ledger.Checkpoint { h.head.Position++; return nil }, audit.Impossible, "the store says"},
		{"another library's checkpoint", func(h *history) []ledger.Checkpoint {
			c := h.checkpoint(t, 2)
			c.Origin = "elsewhere"
			return []ledger.Checkpoint{c}
		}, audit.Foreign, "elsewhere"},
		{"two checkpoints of one size", func(h *history) []ledger.Checkpoint {
			a, b := h.checkpoint(t, 2), h.checkpoint(t, 2)
			b.Root[0]++
			return []ledger.Checkpoint{a, b}
		}, audit.SplitView, "two histories"},
		{"a checkpoint of another position", func(h *history) []ledger.Checkpoint {
			c := h.checkpoint(t, 2)
			c.Position++
			return []ledger.Checkpoint{c}
		}, audit.SplitView, "ends position"},
	} {
		h := fresh()
		rep := report(t, h, c.edit(h)...)
		if !slices.ContainsFunc(rep.Faults, func(f audit.Fault) bool { return f.What == c.want && strings.Contains(f.Message, c.say) }) {
			t.Errorf("%s: want %s, %q%s", c.name, c.want, c.say, show(rep.Faults))
		}
	}
	if rep := report(t, &history{}); len(rep.Faults) > 0 {
		t.Errorf("an empty history has%s", show(rep.Faults))
	}
}
