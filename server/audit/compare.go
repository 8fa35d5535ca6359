package audit

import (
	"fmt"
	"slices"

	"golang.org/x/mod/sumdb/tlog"

	"proofload/specdata"
)

// compare holds the leaves against the hashes stored when they were published, and
// those against the tree above them.
func (rep *Report) compare(all []seen, size int64, stored, made []tlog.Hash) {
	if slices.Equal(stored, made) && !slices.ContainsFunc(all, func(e seen) bool { return e.damage != "" }) {
		return
	}
	old := make([]tlog.Hash, size)
	for i := range old {
		old[i] = stored[tlog.StoredHashIndex(0, int64(i))]
	}
	before := len(rep.Faults)
	rep.align(old, all)
	if len(rep.Faults) > before {
		return
	}
	// The leaves are those that were published; so a hash above them was changed.
	for i := range min(len(stored), len(made)) {
		if stored[i] != made[i] {
			level, n := tlog.SplitStoredHashIndex(int64(i))
			rep.add(Fault{What: TreeBroken, Leaf: n << level, Message: fmt.Sprintf("stored hash %d, over leaves %d to %d, is not what they make; the revisions themselves are as published", i, n<<level, (n+1)<<level-1)})
		}
	}
}

func (rep *Report) add(f Fault) { rep.Faults = append(rep.Faults, f) }

// align says how the leaves differ from those published: it finds the longest run of
// both in one order, and what lies between its members is changed, dropped, inserted
// or moved.
func (rep *Report) align(old []tlog.Hash, all []seen) {
	where := make(map[tlog.Hash]int, len(old))
	for i, h := range old {
		where[h] = i
	}
	// place holds the old index of each leaf, -1 for one that was not published. A leaf
	// that occurs twice was published once.
	place := make([]int, len(all))
	for i := range all {
		place[i] = -1
		if at, ok := where[all[i].hash]; ok && all[i].damage == "" {
			place[i] = at
			delete(where, all[i].hash)
		}
	}
	fixed := rising(place)
	gaps := missingNumbers(all)
	lostAt, nextOld := 0, 0
	var strangers []int // leaves since the last fixed one that were not published
	close := func(untilOld int) {
		var lost []int
		for ; lostAt < untilOld; lostAt++ {
			if _, gone := where[old[lostAt]]; gone {
				lost = append(lost, lostAt)
			}
		}
		for i := range max(len(lost), len(strangers)) {
			switch {
			case i >= len(lost):
				rep.inserted(strangers[i], all)
			case i >= len(strangers):
				rep.dropped(lost[i], nextOld, all, &gaps)
			default:
				rep.changed(lost[i], strangers[i], all, &gaps)
			}
		}
		strangers = nil
	}
	for i := range all {
		switch {
		case place[i] < 0:
			strangers = append(strangers, i)
		case fixed[i]:
			close(place[i])
			lostAt, nextOld = place[i]+1, i+1
		default:
			rep.add(Fault{What: Reordered, Leaf: int64(i), Record: all[i].name, Revision: all[i].number, Position: all[i].position,
				Message: fmt.Sprintf("%s revision %d stands at leaf %d; it was published as leaf %d", all[i].name, all[i].number, i, place[i])})
		}
	}
	close(len(old))
}

func (rep *Report) changed(at, here int, all []seen, gaps *[]gap) {
	now := &all[here]
	f := Fault{What: Changed, Leaf: int64(at), Record: now.name, Revision: now.number, Position: now.position}
	f.Message = fmt.Sprintf("leaf %d, now %s revision %d of position %d, is not what was published there: its document, authors, reviewer, reason, time or numbers were changed", at, now.name, now.number, now.position)
	if now.damage != "" {
		f.What = Damaged
		f.Message = fmt.Sprintf("leaf %d: %s", at, now.damage)
	}
	if now.name == "" { // nothing of it can be read
		from, to := rep.around(here, here+1, all)
		f.Position = from
		f.lacking(from, to, gaps)
	}
	rep.add(f)
}

func (rep *Report) inserted(at int, all []seen) {
	e := &all[at]
	f := Fault{What: Inserted, Leaf: int64(at), Record: e.name, Revision: e.number, Position: e.position}
	f.Message = fmt.Sprintf("%s revision %d of position %d stands at leaf %d and was never published there", e.name, e.number, e.position, at)
	if e.damage != "" {
		f.Message = fmt.Sprintf("leaf %d was never published, and cannot be read: %s", at, e.damage)
	}
	rep.add(f)
}

func (rep *Report) dropped(at, next int, all []seen, gaps *[]gap) {
	f := Fault{What: Dropped, Leaf: int64(at)}
	from, to := rep.around(next, next, all)
	f.Position = from
	f.Message = fmt.Sprintf("leaf %d, published at a position from %d to %d, is gone", at, from, to)
	f.lacking(from, to, gaps)
	rep.add(f)
}

// around returns the positions of the nearest revisions before index first and from
// index next on that could be read.
func (rep *Report) around(first, next int, all []seen) (from, to int64) {
	from, to = 1, rep.Head.Position
	for first--; first >= 0; first-- {
		if all[first].name != "" {
			from = all[first].position
			break
		}
	}
	for ; next < len(all); next++ {
		if all[next].name != "" {
			to = all[next].position
			break
		}
	}
	return from, to
}

// lacking names the revision that is missing, where a record lacks a number around there.
func (f *Fault) lacking(from, to int64, gaps *[]gap) {
	for i, g := range *gaps {
		if g.after <= to && g.before >= from {
			f.Record, f.Revision = g.name, g.number
			f.Message += fmt.Sprintf("; by the numbers around it, it was %s revision %d", g.name, g.number)
			*gaps = slices.Delete(*gaps, i, i+1)
			return
		}
	}
}

// gap is a revision number that a record lacks, and the positions of the revisions
// on either side of it.
type gap struct {
	name          specdata.Name
	number        int64
	after, before int64
}

// maxGaps bounds the gaps that are looked at; a history with more is no history.
const maxGaps = 10_000

func missingNumbers(all []seen) []gap {
	type last struct{ number, position int64 }
	newest := map[specdata.Name]last{}
	var out []gap
	for i := range all {
		e := &all[i]
		if e.name == "" {
			continue // could not be read
		}
		l := newest[e.name]
		for n := l.number + 1; n < e.number && len(out) < maxGaps; n++ {
			out = append(out, gap{e.name, n, l.position, e.position})
		}
		newest[e.name] = last{e.number, e.position}
	}
	return out
}

// rising marks the members of a longest rising subsequence; -1 is in none.
func rising(values []int) []bool {
	var tops []int // index of the least last member of a run of each length
	before := make([]int, len(values))
	for i, v := range values {
		if v < 0 {
			continue
		}
		n, _ := slices.BinarySearchFunc(tops, v, func(at, v int) int { return values[at] - v })
		before[i] = -1
		if n > 0 {
			before[i] = tops[n-1]
		}
		if n == len(tops) {
			tops = append(tops, i)
		} else {
			tops[n] = i
		}
	}
	in := make([]bool, len(values))
	if len(tops) > 0 {
		for i := tops[len(tops)-1]; i >= 0; i = before[i] {
			in[i] = true
		}
	}
	return in
}
