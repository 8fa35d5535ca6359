package library

import "proofload/specdata"

// Shortfall holds what a record applies to against what a user of it is for: its
// clauses, restricted to some options where a step is. family is the applicability
// of the record together with the others that take turns with it. none says that
// own meets none of the clauses. short says that the family leaves out rest.
// Sides are not looked at.
func Shortfall(l Library, asked []specdata.Applies, where map[string][]string, own, family []specdata.Applies) (none bool, rest specdata.Applies, short bool) {
	none = true
	for _, c := range asked {
		c, ok := c.Restrict(where)
		if !ok {
			continue
		}
		none = none && !specdata.Meets(own, c)
		if left, open := c.Uncovered(family, Vehicle(l, c.Vehicle)); open && !short {
			rest, short = left, true
		}
	}
	return none, rest, short
}
