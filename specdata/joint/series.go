package joint

// Series is the standard series a thread belongs to.
type Series uint8

// The series. The zero Series is no thread.
const (
	NoSeries     Series = iota
	Coarse              // ISO 261, coarse pitch
	Fine                // ISO 261, fine pitches
	UNC                 // ASME B1.1, unified coarse
	UNF                 // ASME B1.1, unified fine
	UNEF                // ASME B1.1, unified extra-fine
	UNS                 // ASME B1.1, unified special
	UN                  // ASME B1.1, unified constant pitch
	PipeParallel        // ISO 228-1 (G) and the parallel ones of ISO 7-1 (Rp)
	PipeTaper           // ISO 7-1 (R, Rc)
	NPT                 // ASME B1.20.1
	BSW                 // BS 84, Whitworth coarse
	BSF                 // BS 84, Whitworth fine
	BA                  // BS 93
)

// String returns the name of the series.
func (s Series) String() string {
	switch s {
	case Coarse:
		return "ISO metric coarse"
	case Fine:
		return "ISO metric fine"
	case UNC:
		return "UNC"
	case UNF:
		return "UNF"
	case UNEF:
		return "UNEF"
	case UNS:
		return "UNS"
	case UN:
		return "UN"
	case PipeParallel:
		return "parallel pipe thread"
	case PipeTaper:
		return "tapered pipe thread"
	case NPT:
		return "NPT"
	case BSW:
		return "BSW"
	case BSF:
		return "BSF"
	case BA:
		return "BA"
	}
	return "no series"
}

const (
	millimetre = 1e-3
	inch       = 0.0254 // exact, NIST SP 811
)

// pitch is one pitch of a size: its value and its only printed form.
type pitch struct {
	text     string
	mm       float64
	selected bool // in ISO 262, the selection for screws, bolts and nuts
}

// metricSize is one nominal diameter of ISO 261 with its pitches.
type metricSize struct {
	text   string // digits after the M
	mm     float64
	coarse pitch // text is empty where ISO 261 has only fine pitches
	fine   []pitch
}

func sel(text string, mm float64) pitch { return pitch{text, mm, true} }
func gen(text string, mm float64) pitch { return pitch{text, mm, false} }

// metricSizes is ISO 261:1998 from M3 to M39 with the ISO 262:1998 selection
// marked. The coarse pitches and the fine ones of the selection are confirmed by
// testdata/reference/metric_threads.csv; the other fine pitches are from memory.
var metricSizes = []metricSize{
	{"3", 3, sel("0.5", 0.5), []pitch{gen("0.35", 0.35)}},
	{"3.5", 3.5, sel("0.6", 0.6), []pitch{gen("0.35", 0.35)}},
	{"4", 4, sel("0.7", 0.7), []pitch{gen("0.5", 0.5)}},
	{"4.5", 4.5, gen("0.75", 0.75), []pitch{gen("0.5", 0.5)}},
	{"5", 5, sel("0.8", 0.8), []pitch{gen("0.5", 0.5)}},
	{"5.5", 5.5, pitch{}, []pitch{gen("0.5", 0.5)}},
	{"6", 6, sel("1", 1), []pitch{gen("0.75", 0.75)}},
	{"7", 7, sel("1", 1), []pitch{gen("0.75", 0.75)}},
	{"8", 8, sel("1.25", 1.25), []pitch{sel("1", 1), gen("0.75", 0.75)}},
	{"9", 9, gen("1.25", 1.25), []pitch{gen("1", 1), gen("0.75", 0.75)}},
	{"10", 10, sel("1.5", 1.5), []pitch{sel("1.25", 1.25), sel("1", 1), gen("0.75", 0.75)}},
	{"11", 11, gen("1.5", 1.5), []pitch{gen("1", 1), gen("0.75", 0.75)}},
	{"12", 12, sel("1.75", 1.75), []pitch{sel("1.5", 1.5), sel("1.25", 1.25), gen("1", 1)}},
	{"14", 14, sel("2", 2), []pitch{sel("1.5", 1.5), gen("1.25", 1.25), gen("1", 1)}},
	{"15", 15, pitch{}, []pitch{gen("1.5", 1.5), gen("1", 1)}},
	{"16", 16, sel("2", 2), []pitch{sel("1.5", 1.5), gen("1", 1)}},
	{"17", 17, pitch{}, []pitch{gen("1.5", 1.5), gen("1", 1)}},
	{"18", 18, sel("2.5", 2.5), []pitch{sel("2", 2), sel("1.5", 1.5), gen("1", 1)}},
	{"20", 20, sel("2.5", 2.5), []pitch{sel("2", 2), sel("1.5", 1.5), gen("1", 1)}},
	{"22", 22, sel("2.5", 2.5), []pitch{sel("2", 2), sel("1.5", 1.5), gen("1", 1)}},
	{"24", 24, sel("3", 3), []pitch{sel("2", 2), gen("1.5", 1.5), gen("1", 1)}},
	{"25", 25, pitch{}, []pitch{gen("2", 2), gen("1.5", 1.5), gen("1", 1)}},
	{"26", 26, pitch{}, []pitch{gen("1.5", 1.5)}},
	{"27", 27, sel("3", 3), []pitch{sel("2", 2), gen("1.5", 1.5), gen("1", 1)}},
	{"28", 28, pitch{}, []pitch{gen("2", 2), gen("1.5", 1.5), gen("1", 1)}},
	{"30", 30, sel("3.5", 3.5), []pitch{gen("3", 3), sel("2", 2), gen("1.5", 1.5), gen("1", 1)}},
	{"32", 32, pitch{}, []pitch{gen("2", 2), gen("1.5", 1.5)}},
	{"33", 33, sel("3.5", 3.5), []pitch{gen("3", 3), sel("2", 2), gen("1.5", 1.5)}},
	{"35", 35, pitch{}, []pitch{gen("1.5", 1.5)}},
	{"36", 36, sel("4", 4), []pitch{sel("3", 3), gen("2", 2), gen("1.5", 1.5)}},
	{"38", 38, pitch{}, []pitch{gen("1.5", 1.5)}},
	{"39", 39, sel("4", 4), []pitch{sel("3", 3), gen("2", 2), gen("1.5", 1.5)}},
}

// pitches lists every pitch of the size, coarse first.
func (m *metricSize) pitches() []pitch {
	if m.coarse.text == "" {
		return m.fine
	}
	return append([]pitch{m.coarse}, m.fine...)
}

// thread builds the thread of one pitch.
func (m *metricSize) thread(p pitch) Thread {
	s := Fine
	if p.text == m.coarse.text {
		s = Coarse
	}
	return Thread{Major: m.mm * millimetre, Pitch: p.mm * millimetre, Series: s, size: m.text, step: p.text, selected: p.selected}
}

// unifiedSize is one size of ASME B1.1 with its coarse and fine threads per inch.
type unifiedSize struct {
	text     string
	in       float64
	unc, unf string
	nc, nf   float64
}

// unifiedSizes is ASME B1.1 from #8 to 1-1/2 (UNC and UNF; moreUnified has
// the others). UNC is confirmed by testdata/reference/unified_threads.csv, UNF in
// part by worked_examples.csv; the rest of UNF is from memory.
var unifiedSizes = []unifiedSize{
	{"#8", 0.164, "32", "36", 32, 36},
	{"#10", 0.190, "24", "32", 24, 32},
	{"#12", 0.216, "24", "28", 24, 28},
	{"1/4", 0.25, "20", "28", 20, 28},
	{"5/16", 0.3125, "18", "24", 18, 24},
	{"3/8", 0.375, "16", "24", 16, 24},
	{"7/16", 0.4375, "14", "20", 14, 20},
	{"1/2", 0.5, "13", "20", 13, 20},
	{"9/16", 0.5625, "12", "18", 12, 18},
	{"5/8", 0.625, "11", "18", 11, 18},
	{"3/4", 0.75, "10", "16", 10, 16},
	{"7/8", 0.875, "9", "14", 9, 14},
	{"1", 1, "8", "12", 8, 12},
	{"1-1/8", 1.125, "7", "12", 7, 12},
	{"1-1/4", 1.25, "7", "12", 7, 12},
	{"1-3/8", 1.375, "6", "12", 6, 12},
	{"1-1/2", 1.5, "6", "12", 6, 12},
}

func (u *unifiedSize) thread(s Series) Thread {
	t := Thread{Major: u.in * inch, Series: s, size: u.text, selected: true}
	if s == UNC {
		t.step, t.Pitch = u.unc, inch/u.nc
	} else {
		t.step, t.Pitch = u.unf, inch/u.nf
	}
	return t
}

// AllThreads lists every thread of the series this package carries, metric first,
// each size with its coarse pitch first.
func AllThreads() []Thread {
	var all []Thread
	for i := range metricSizes {
		for _, p := range metricSizes[i].pitches() {
			all = append(all, metricSizes[i].thread(p))
		}
	}
	for i := range unifiedSizes {
		all = append(all, unifiedSizes[i].thread(UNC), unifiedSizes[i].thread(UNF))
	}
	return append(all, otherThreads()...)
}
