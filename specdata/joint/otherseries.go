package joint

import "math"

// profile is the shape of a thread in pitches.
type profile struct {
	depth float64 // (d − d2)/P
	minor float64 // (d − D1)/P
	root  float64 // (d − d3)/P
	flank float64 // 1/(2·cos β), β half the flank angle
}

var (
	profile60 = profile{pitchPP, minorPP, rootPP, flank60}
	// BS 84 and ISO 228-1: H = 0.960491·P, rounded at H/6, so h = 0.640327·P; 55°.
	whitworth = profile{0.640327, 2 * 0.640327, 2 * 0.640327, 1 / (2 * math.Cos(27.5*pi/180))}
	// BS 93: h = 0.6·P; 47½°.
	ba = profile{0.6, 1.2, 1.2, 1 / (2 * math.Cos(23.75*pi/180))}
	// ASME B1.20.1: 60°, thread height 0.8·P.
	npt = profile{0.8, 1.6, 1.6, flank60}
)

func (s Series) profile() *profile {
	switch s {
	case PipeParallel, PipeTaper, BSW, BSF:
		return &whitworth
	case BA:
		return &ba
	case NPT:
		return &npt
	}
	return &profile60
}

// moreUnified is what ASME B1.1 has beside UNC and UNF: UNEF, the constant pitches and
// the selected special ones (UNS); testdata/reference/other_threads.csv says which of
// them were read where. The thread per inch decides the series.
var moreUnified = []struct {
	size string
	tpi  string
	n    float64
	s    Series
}{
	{"#12", "32", 32, UNEF}, {"1/4", "32", 32, UNEF}, {"5/16", "32", 32, UNEF}, {"3/8", "32", 32, UNEF}, {"7/16", "28", 28, UNEF}, {"1/2", "28", 28, UNEF},
	{"9/16", "24", 24, UNEF}, {"5/8", "24", 24, UNEF}, {"3/4", "20", 20, UNEF}, {"7/8", "20", 20, UNEF}, {"1", "20", 20, UNEF},
	{"1-1/8", "18", 18, UNEF}, {"1-1/4", "18", 18, UNEF}, {"1-3/8", "18", 18, UNEF}, {"1-1/2", "18", 18, UNEF},
	{"1/4", "24", 24, UNS}, {"1/4", "27", 27, UNS}, {"5/16", "27", 27, UNS}, {"3/8", "18", 18, UNS}, {"3/8", "27", 27, UNS},
	{"7/16", "18", 18, UNS}, {"7/16", "24", 24, UNS}, {"7/16", "27", 27, UNS}, {"1/2", "12", 12, UNS}, {"1/2", "14", 14, UNS}, {"1/2", "18", 18, UNS},
	{"1/2", "24", 24, UNS}, {"1/2", "27", 27, UNS}, {"9/16", "14", 14, UNS}, {"9/16", "27", 27, UNS}, {"5/8", "14", 14, UNS}, {"5/8", "27", 27, UNS},
	{"3/4", "14", 14, UNS}, {"3/4", "18", 18, UNS}, {"3/4", "24", 24, UNS}, {"7/8", "10", 10, UNS}, {"7/8", "18", 18, UNS}, {"7/8", "24", 24, UNS},
	{"1", "10", 10, UNS}, {"1", "14", 14, UNS}, {"1", "18", 18, UNS}, {"1", "24", 24, UNS}, {"1-1/8", "10", 10, UNS}, {"1-1/8", "14", 14, UNS},
	{"1-1/4", "10", 10, UNS}, {"1-1/4", "14", 14, UNS},
	{"5/16", "20", 20, UN}, {"3/8", "20", 20, UN}, {"7/16", "16", 16, UN}, {"1/2", "16", 16, UN}, {"9/16", "16", 16, UN}, {"5/8", "12", 12, UN},
	{"5/8", "16", 16, UN}, {"3/4", "12", 12, UN}, {"7/8", "12", 12, UN}, {"7/8", "16", 16, UN}, {"1", "16", 16, UN}, {"1-1/8", "8", 8, UN},
	{"1-1/8", "16", 16, UN}, {"1-1/4", "8", 8, UN}, {"1-1/4", "16", 16, UN}, {"1-3/8", "8", 8, UN}, {"1-3/8", "16", 16, UN}, {"1-1/2", "8", 8, UN}, {"1-1/2", "16", 16, UN},
}

// pipes is ISO 228-1 and ISO 7-1 from 1/16 to 2: threads per inch and the major
// diameter at the gauge plane in mm; and ASME B1.20.1, whose sizes have the outer
// diameter of their pipe in inches.
var pipes = []struct {
	size    string
	tpi, mm float64
	npt     string
	nptTPI  float64
	pipe    float64
}{
	{"1/16", 28, 7.723, "27", 27, 0.3125}, {"1/8", 28, 9.728, "27", 27, 0.405}, {"1/4", 19, 13.157, "18", 18, 0.540}, {"3/8", 19, 16.662, "18", 18, 0.675},
	{"1/2", 14, 20.955, "14", 14, 0.840}, {"5/8", 14, 22.911, "", 0, 0}, {"3/4", 14, 26.441, "14", 14, 1.050}, {"7/8", 14, 30.201, "", 0, 0},
	{"1", 11, 33.249, "11.5", 11.5, 1.315}, {"1-1/4", 11, 41.910, "11.5", 11.5, 1.660}, {"1-1/2", 11, 47.803, "11.5", 11.5, 1.900}, {"2", 11, 59.614, "11.5", 11.5, 2.375},
}

// britishSizes is BS 84 from 1/8 to 1-1/2 in: Whitworth coarse and fine threads per inch.
var britishSizes = []struct {
	size     string
	in       float64
	bsw, bsf string
	nw, nf   float64
}{
	{"1/8", 0.125, "40", "", 40, 0}, {"3/16", 0.1875, "24", "32", 24, 32}, {"7/32", 0.21875, "", "28", 0, 28}, {"1/4", 0.25, "20", "26", 20, 26},
	{"9/32", 0.28125, "", "26", 0, 26}, {"5/16", 0.3125, "18", "22", 18, 22}, {"3/8", 0.375, "16", "20", 16, 20}, {"7/16", 0.4375, "14", "18", 14, 18},
	{"1/2", 0.5, "12", "16", 12, 16}, {"9/16", 0.5625, "12", "16", 12, 16}, {"5/8", 0.625, "11", "14", 11, 14}, {"3/4", 0.75, "10", "12", 10, 12},
	{"7/8", 0.875, "9", "11", 9, 11}, {"1", 1, "8", "10", 8, 10}, {"1-1/8", 1.125, "7", "9", 7, 9}, {"1-1/4", 1.25, "7", "9", 7, 9}, {"1-1/2", 1.5, "6", "8", 6, 8},
}

// baSizes is BS 93 from 0 to 10 BA in mm.
var baSizes = []struct {
	n     string
	d, mm float64
}{
	{"0", 6, 1}, {"1", 5.3, 0.9}, {"2", 4.7, 0.81}, {"3", 4.1, 0.73}, {"4", 3.6, 0.66}, {"5", 3.2, 0.59}, {"6", 2.8, 0.53}, {"7", 2.5, 0.48}, {"8", 2.2, 0.43},
	{"9", 1.9, 0.39}, {"10", 1.7, 0.35},
}

// otherThreads lists the threads beside ISO metric, UNC and UNF.
func otherThreads() []Thread {
	var all []Thread
	for i := range moreUnified {
		all = append(all, moreUnifiedThread(i))
	}
	for i := range pipes {
		p := &pipes[i]
		for _, sort := range pipeSorts {
			all = append(all, pipeThread(i, sort))
		}
		if p.npt != "" {
			all = append(all, nptThread(i))
		}
	}
	for i := range britishSizes {
		b := &britishSizes[i]
		if b.bsw != "" {
			all = append(all, britishThread(i, BSW))
		}
		if b.bsf != "" {
			all = append(all, britishThread(i, BSF))
		}
	}
	for i := range baSizes {
		all = append(all, baThread(i))
	}
	return all
}

func moreUnifiedThread(i int) Thread {
	m := &moreUnified[i]
	in, _ := inches(m.size)
	return Thread{Major: in * inch, Pitch: inch / m.n, Series: m.s, size: m.size, step: m.tpi, selected: true}
}

// pipeSorts are the letters of the pipe threads with the Whitworth profile: outside
// parallel and tapered, inside parallel and tapered.
var pipeSorts = []string{"G", "R", "Rp", "Rc"}

func pipeThread(i int, sort string) Thread {
	p := &pipes[i]
	s := PipeParallel
	if sort == "R" || sort == "Rc" {
		s = PipeTaper
	}
	return Thread{Major: p.mm * millimetre, Pitch: inch / p.tpi, Series: s, size: p.size, step: sort, selected: true}
}

func nptThread(i int) Thread {
	p := &pipes[i]
	return Thread{Major: p.pipe * inch, Pitch: inch / p.nptTPI, Series: NPT, size: p.size, step: p.npt, selected: true}
}

func britishThread(i int, s Series) Thread {
	b := &britishSizes[i]
	t := Thread{Major: b.in * inch, Series: s, size: b.size, selected: true}
	if s == BSW {
		t.step, t.Pitch = b.bsw, inch/b.nw
	} else {
		t.step, t.Pitch = b.bsf, inch/b.nf
	}
	return t
}

func baThread(i int) Thread {
	b := &baSizes[i]
	return Thread{Major: b.d * millimetre, Pitch: b.mm * millimetre, Series: BA, size: b.n, selected: true}
}
