package audit

import (
	"fmt"
	"slices"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"proofload/server/ledger"
	"proofload/server/store/recheck"
)

// possible looks for what no sequence of publications leaves, in a history whose tree
// fits: anyone who rewrote both was careless.
func (rep *Report) possible(all []seen) {
	var order recheck.Order
	position := int64(0)
	for i := range all {
		e := &all[i]
		for _, wrong := range order.Next(e.name, e.number, e.position, e.withdrawn, e.time) {
			rep.add(Fault{What: Impossible, Leaf: int64(i), Record: e.name, Revision: e.number, Position: e.position,
				Message: fmt.Sprintf("leaf %d, %s revision %d: %s", i, e.name, e.number, wrong)})
		}
		position = e.position
	}
	if size := int64(len(all)); size != rep.Head.Revisions || position != rep.Head.Position {
		rep.add(Fault{What: Impossible, Leaf: size, Position: position, Message: fmt.Sprintf("the log holds %d revisions up to position %d, the store says %d and %d", size, position, rep.Head.Revisions, rep.Head.Position)})
	}
}

// checkpoints holds the tree against kept checkpoints. Where the history was rewritten
// so that it fits itself, the kept ones tell between which leaves.
func (rep *Report) checkpoints(all []seen, made []tlog.Hash, origin string, kept []ledger.Checkpoint) error {
	kept = slices.Clone(kept)
	slices.SortStableFunc(kept, func(a, b ledger.Checkpoint) int { return int(a.Size - b.Size) })
	// What was done is known to the leaf, where the tree that was stored tells it.
	exact := slices.ContainsFunc(rep.Faults, func(f Fault) bool { return f.What != Impossible })
	good := int64(0) // leaves up to which a kept checkpoint fits
	for i, c := range kept {
		if origin != "" && c.Origin != origin {
			rep.add(Fault{What: Foreign, Leaf: -1, Position: c.Position, Message: fmt.Sprintf("kept checkpoint of position %d is of the library %s; this is %s", c.Position, c.Origin, origin)})
			continue
		}
		if i > 0 && kept[i-1].Size == c.Size && kept[i-1].Origin == c.Origin && kept[i-1].Text() != c.Text() {
			rep.add(Fault{What: SplitView, Leaf: c.Size, Position: c.Position, Message: fmt.Sprintf("two kept checkpoints of %d leaves differ; their signer showed two histories", c.Size)})
		}
		if c.Size > int64(len(all)) {
			rep.add(Fault{What: RolledBack, Leaf: int64(len(all)), Position: rep.Head.Position,
				Message: fmt.Sprintf("history ends with %d leaves at position %d; a kept checkpoint has %d leaves at position %d, so %d were cut off", len(all), rep.Head.Position, c.Size, c.Position, c.Size-int64(len(all)))})
			continue
		}
		root, err := ledger.Root(c.Size, reader(made))
		if err != nil {
			return err
		}
		if root != c.Root {
			if exact {
				rep.add(Fault{What: Rewritten, Leaf: c.Size - 1, Position: c.Position, Message: fmt.Sprintf("kept checkpoint of position %d does not fit; it was made before what is said here happened", c.Position)})
				return nil
			}
			first, last := place(all, good), place(all, c.Size-1)
			rep.add(Fault{What: Rewritten, Leaf: good, Position: first, Message: fmt.Sprintf("history of the kept checkpoint of position %d is another: a leaf from %d to %d (positions %d to %d) was changed, dropped or inserted, and the tree made again over it", c.Position, good, c.Size-1, first, last)})
			return nil // nothing behind it can fit
		}
		good = c.Size
		switch {
		case c.Size > 0 && (all[c.Size-1].position != c.Position || !all[c.Size-1].time.Equal(c.Time)):
			rep.add(Fault{What: SplitView, Leaf: c.Size - 1, Position: c.Position, Message: fmt.Sprintf("kept checkpoint says that leaf %d ends position %d of %s; it is of position %d of %s", c.Size-1, c.Position, c.Time.Format(time.RFC3339Nano), all[c.Size-1].position, all[c.Size-1].time.UTC().Format(time.RFC3339Nano))})
		case c.Size < int64(len(all)) && all[c.Size].position == c.Position:
			rep.add(Fault{What: SplitView, Leaf: c.Size, Position: c.Position, Message: fmt.Sprintf("kept checkpoint says that position %d has %d leaves; it has more", c.Position, c.Size)})
		default:
			rep.Fitting++
		}
	}
	return nil
}

func place(all []seen, i int64) int64 {
	if i < int64(len(all)) {
		return all[i].position
	}
	return 0
}
