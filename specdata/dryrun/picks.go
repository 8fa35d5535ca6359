package dryrun

import (
	"cmp"
	"slices"

	"proofload/specdata"
	"proofload/specdata/library"
)

// Picks is what to lay out before the job.
type Picks struct {
	// Drives lists the sockets, bits and keys by what they fit ("hex 18 mm"), with how often each is used.
	Drives []DrivePick
	// Tools lists the tools of the set-up block that operations use, then the rest of the block.
	Tools []specdata.Tool
	// NewParts is the order list.
	NewParts []specdata.NewPart
	// Consumables is what the job uses up.
	Consumables []specdata.Consumable
}

// DrivePick is one drive size and the fasteners it is for.
type DrivePick struct {
	Fits string
	// Holds says that it holds rather than turns.
	Holds     bool
	Fasteners []string
}

// PickList works out what a procedure needs from what it does, for the variants that were
// run.
func (r *Result) PickList(l library.Library) Picks {
	p := r.Procedure
	var vs []Variant
	for _, o := range r.Outcomes {
		vs = append(vs, o.Variant)
	}
	set := SetUpOf(l, p, vs)
	picks := Picks{NewParts: things(set.Parts), Consumables: things(set.Consumables)}
	type use struct {
		fits  string
		holds bool
	}
	uses := map[use][]string{}
	note := func(fits string, holds bool, id string) {
		if fits == "" {
			return
		}
		k := use{fits, holds}
		if !slices.Contains(uses[k], id) {
			uses[k] = append(uses[k], id)
		}
	}
	usedTools := map[string]bool{}
	seen := map[string]bool{}
	for _, o := range r.Outcomes {
		for _, a := range o.Acts {
			if a.Tool != "" {
				usedTools[a.Tool] = true
			}
			if a.Through != "" {
				usedTools[a.Through] = true
			}
		}
		for _, t := range o.Torques {
			f := t.Fastener
			if seen[f.ID] || f.Drive == nil {
				continue
			}
			seen[f.ID] = true
			if f.Drive.Turn == "nut" {
				note(f.Drive.Nut, false, f.ID)
				note(f.Drive.Head, true, f.ID)
			} else {
				note(f.Drive.Head, false, f.ID)
				note(f.Drive.Nut, true, f.ID)
			}
		}
	}
	for k, ids := range uses {
		slices.Sort(ids)
		picks.Drives = append(picks.Drives, DrivePick{k.fits, k.holds, ids})
	}
	slices.SortFunc(picks.Drives, func(a, b DrivePick) int {
		return cmp.Or(cmp.Compare(len(a.Fits), len(b.Fits)), cmp.Compare(a.Fits, b.Fits), cmp.Compare(boolInt(a.Holds), boolInt(b.Holds)))
	})
	for _, used := range []bool{true, false} {
		for _, t := range things(set.Tools) {
			if usedTools[t.ID] == used {
				picks.Tools = append(picks.Tools, t)
			}
		}
	}
	return picks
}

func boolInt(b bool) int {
	if b {
		return 1
	}
	return 0
}
