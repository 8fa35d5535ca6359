package specdata

import "slices"

// Gap is where a series of records that split one joint between them leaves some
// vehicle without an answer.
type Gap struct {
	// Clause is the index of the clause beside the gap.
	Clause int
	// After says that the gap follows the clause's builds, else it comes before them.
	After bool
	// Missing is what no record of the series covers.
	Missing Applies
	// Inside says that the series goes on beyond the gap. One that merely starts
	// late or stops early may be of something that was not fitted then.
	Inside bool
	// Option is the key of an option whose missing value no record of the series
	// names, "" for a gap in the builds.
	Option string
}

// Gaps lists the gaps beside a record's own clauses in a series on vehicle v. all
// holds the clauses of every record of the series, its own among them. ok is false
// when build ranges cannot be compared.
func Gaps(v *Vehicle, own, all []Applies) (gaps []Gap, ok bool) {
	seen := map[[2]int]bool{}
	for cell := range cells(v, splitBy(all, v.ID), nil) {
		ranges := rangesOf(all, v.ID, cell)
		if len(ranges) == 0 {
			continue
		}
		holes, ok := Holes(v.Built, ranges)
		if !ok {
			return nil, false
		}
		hull, _ := Hull(ranges)
		for _, hole := range holes {
			for i := range own {
				side, beside := besides(&own[i], hole)
				if own[i].Vehicle != v.ID || !own[i].admits(cell) || !beside || seen[[2]int{i, side}] {
					continue
				}
				seen[[2]int{i, side}] = true
				missing := Applies{Vehicle: v.ID, Built: hole, Where: map[string][]string{}}
				for k, value := range cell {
					missing.Where[k] = []string{value}
				}
				gaps = append(gaps, Gap{Clause: i, After: side > 0, Missing: missing, Inside: hole.Within(hull)})
			}
		}
	}
	return append(gaps, missingValues(v, own, all)...), true
}

// besides returns 1 where a hole follows the clause's builds without a break, -1
// where it comes before them.
func besides(a *Applies, hole *Built) (side int, ok bool) {
	if n, ok := a.Built.Gap(hole); ok && n == 0 {
		return 1, true
	}
	if n, ok := hole.Gap(a.Built); ok && n == 0 {
		return -1, true
	}
	return 0, false
}

// missingValues looks at the options by which the series is split: every clause
// names the key, and one of the record's own excludes another's values.
func missingValues(v *Vehicle, own, all []Applies) []Gap {
	var gaps []Gap
	for i := range own {
		if own[i].Vehicle != v.ID {
			continue
		}
		for _, key := range splitBy(own[i:i+1], v.ID) {
			named, split := map[string]bool{}, false
			everywhere := true
			for j := range all {
				values, ok := all[j].Where[key]
				everywhere = everywhere && ok
				split = split || ok && !slices.ContainsFunc(values, func(s string) bool { return slices.Contains(own[i].Where[key], s) })
				for _, s := range values {
					named[s] = true
				}
			}
			if !everywhere || !split {
				continue
			}
			for _, value := range v.Options[key] {
				if !named[value] {
					gaps = append(gaps, Gap{Clause: i, Option: key, Inside: true, Missing: Applies{Vehicle: v.ID, Where: map[string][]string{key: {value}}}})
					break
				}
			}
		}
	}
	return gaps
}
