package wording

// ShopWrench is a torque wrench of the usual set, with its range in N·m.
type ShopWrench struct {
	Size, Square string
	From, To     float64
}

// ShopWrenches lists the torque wrenches that a shop has, smallest first (common
// practice, no source).
var ShopWrenches = []ShopWrench{
	{"small", "1/4 in", 2, 12},
	{"light", "1/4 in", 5, 25},
	{"medium", "3/8 in", 10, 60},
	{"large", "1/2 in", 40, 210},
	{"heavy", "3/4 in", 140, 760},
	{"lorry", "1 in", 500, 1500},
}

// WrenchFor returns the smallest wrench of the usual set that shows a whole band of
// torque in N·m. It is false where none does.
func WrenchFor(low, high float64) (ShopWrench, bool) {
	for _, w := range ShopWrenches {
		if low >= w.From && high <= w.To {
			return w, true
		}
	}
	return ShopWrench{}, false
}
