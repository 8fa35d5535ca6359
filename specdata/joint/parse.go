package joint

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// ThreadError says why a designation is no thread of a standard series.
type ThreadError struct {
	// Text is the designation as given.
	Text string
	// Why is what is wrong and what is allowed.
	Why string
	// Nearest is the nearest thread that exists; it is zero where there is none to name.
	Nearest Thread
}

// Error returns the reason and, where one exists, the nearest thread.
func (e *ThreadError) Error() string {
	s := fmt.Sprintf("thread %q %s", clip(e.Text), e.Why)
	if !e.Nearest.IsZero() {
		s += fmt.Sprintf("; the nearest that exists is %s", e.Nearest)
	}
	return s
}

func clip(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}

// ParseThread reads a designation: "M24x1.5", "M24×1.5", "M10" (the coarse pitch),
// "M14x1.5-6g LH", "7/16-20 UNF", "1/2-13 UNC-2A", "#10-24 UNC". The unified series
// may be left out, since the threads per inch decide it. Pipe threads are "G 1/4",
// "R 1/8", "Rp 1/2", "Rc 3/8" and "1/4-18 NPT", Whitworth "3/8-16 BSW" and "3/8-20 BSF",
// BA "2 BA". Anything no series of ISO 261 (M3 to M39), ASME B1.1 (#8 to 1-1/2),
// ISO 228-1, ISO 7-1 or ASME B1.20.1 (1/16 to 2), BS 84 (to 1-1/2) or BS 93 has is
// refused with a *ThreadError that names the nearest thread.
func ParseThread(text string) (Thread, error) {
	s := strings.TrimSpace(text)
	left := false
	if n := len(s); n > 3 && (s[n-3] == ' ' || s[n-3] == '-') && strings.EqualFold(s[n-2:], "LH") {
		left, s = true, s[:n-3]
	}
	var t Thread
	var err error
	switch {
	case s != "" && (s[0] == 'M' || s[0] == 'm'):
		t, err = parseMetric(text, s[1:])
	case s != "" && (s[0] == 'G' || s[0] == 'R'):
		t, err = parsePipe(text, s)
	case strings.HasSuffix(s, "BA"):
		t, err = parseBA(text, s)
	case strings.HasSuffix(s, "BSW"), strings.HasSuffix(s, "BSF"), strings.HasSuffix(s, "NPT"), strings.HasSuffix(s, "NPTF"):
		t, err = parseInchSeries(text, s)
	default:
		t, err = parseUnified(text, s)
	}
	if err != nil {
		return Thread{}, err
	}
	t.LeftHand = left
	return t, nil
}

func parseMetric(text, s string) (Thread, error) {
	size, rest := cutNumber(s)
	if size == "" {
		return Thread{}, &ThreadError{Text: text, Why: "has no diameter after the M; write it like M10x1.5"}
	}
	step := ""
	if r, ok := cutTimes(rest); ok {
		if step, rest = cutNumber(r); step == "" {
			return Thread{}, &ThreadError{Text: text, Why: "has no pitch after the ×; write it like M10x1.5"}
		}
	}
	tol := ""
	if rest != "" {
		if digits, ok := strings.CutPrefix(rest, ","); ok && digits != "" && digits[0] >= '0' && digits[0] <= '9' {
			return Thread{}, &ThreadError{Text: text, Why: "has a decimal comma; write the point: " + strings.Replace(text, ",", ".", 1)}
		}
		if rest[0] != '-' || !tolerance(rest[1:]) {
			return Thread{}, &ThreadError{Text: text, Why: "goes on with " + strconv.Quote(clip(rest)) + "; after the pitch only a tolerance class like -6g and LH may follow"}
		}
		tol = strings.Clone(rest[1:])
	}
	for i := range metricSizes {
		m := &metricSizes[i]
		if m.text != size {
			continue
		}
		if step == "" {
			if m.coarse.text == "" {
				return Thread{}, &ThreadError{Text: text, Why: "names no pitch and M" + size + " has no coarse one in ISO 261; it has " + m.pitchList(), Nearest: m.thread(m.fine[0])}
			}
			t := m.thread(m.coarse)
			t.Tolerance = tol
			return t, nil
		}
		if step == m.coarse.text {
			t := m.thread(m.coarse)
			t.Tolerance = tol
			return t, nil
		}
		for _, p := range m.fine {
			if p.text == step {
				t := m.thread(p)
				t.Tolerance = tol
				return t, nil
			}
		}
		return Thread{}, &ThreadError{Text: text, Why: "is in no series of ISO 261; M" + size + " has " + m.pitchList(), Nearest: m.nearest(number(step))}
	}
	m := nearestSize(number(size))
	near := m.thread(m.pitches()[0])
	if step != "" {
		near = m.nearest(number(step))
	}
	return Thread{}, &ThreadError{Text: text, Why: "has a diameter that no series of ISO 261 has between M3 and M39", Nearest: near}
}

// pitchList names the pitches of the size for a message: "pitch 1.5 (coarse), 1.25, 1 and 0.75".
func (m *metricSize) pitchList() string {
	ps := m.pitches()
	var b strings.Builder
	b.WriteString("pitch ")
	for i, p := range ps {
		switch {
		case i > 0 && i == len(ps)-1:
			b.WriteString(" and ")
		case i > 0:
			b.WriteString(", ")
		}
		b.WriteString(p.text)
		if p.text == m.coarse.text {
			b.WriteString(" (coarse)")
		}
	}
	return b.String()
}

// nearest is the thread of the size whose pitch is nearest to mm; of two as near,
// the one in ISO 262, then the coarser.
func (m *metricSize) nearest(mm float64) Thread {
	ps := m.pitches()
	best := ps[0]
	for _, p := range ps[1:] {
		d, b := math.Abs(p.mm-mm), math.Abs(best.mm-mm)
		if d < b-1e-9 || (d < b+1e-9 && p.selected && !best.selected) {
			best = p
		}
	}
	return m.thread(best)
}

func nearestSize(mm float64) *metricSize {
	best := &metricSizes[0]
	for i := range metricSizes {
		m := &metricSizes[i]
		d, b := math.Abs(m.mm-mm), math.Abs(best.mm-mm)
		// A size with a coarse pitch is the likelier one to have been meant.
		if d < b-1e-9 || (d < b+1e-9 && m.coarse.selected && !best.coarse.selected) {
			best = m
		}
	}
	return best
}

func parseUnified(text, s string) (Thread, error) {
	body, tail, _ := strings.Cut(s, " ")
	series, tol := "", ""
	if tail != "" {
		series, tol, _ = strings.Cut(tail, "-")
		if tol == "" && len(tail) > len(series) || tol != "" && !tolerance(tol) {
			return Thread{}, &ThreadError{Text: text, Why: "ends in " + strconv.Quote(clip(tail)) + "; after the size only UNC, UNF, UNEF, UNS or UN, a tolerance class like -2A and LH may follow"}
		}
	}
	i := strings.LastIndexByte(body, '-')
	if i <= 0 {
		return Thread{}, &ThreadError{Text: text, Why: "is neither metric (M10x1.5), unified (7/16-20 UNF), a pipe thread (G 1/4, R 1/8, 1/4-18 NPT), Whitworth (3/8-20 BSF) nor BA (2 BA)"}
	}
	size, step := body[:i], body[i+1:]
	for k := range unifiedSizes {
		u := &unifiedSizes[k]
		if u.text != size && (u.text[0] != '#' || u.text[1:] != size) {
			continue
		}
		var t Thread
		switch step {
		case u.unc:
			t = u.thread(UNC)
		case u.unf:
			t = u.thread(UNF)
		default:
			// The others are rare, so that one is only read where its series is named: 7/16-18
			// alone is more likely a misread 7/16-20.
			if t = otherUnified(u.text, step); !t.IsZero() && strings.EqualFold(series, t.Series.String()) {
				break
			}
			near := u.thread(UNC)
			if n := number(step); math.Abs(n-u.nf) < math.Abs(n-u.nc) {
				near = u.thread(UNF)
			}
			return Thread{}, &ThreadError{Text: text, Why: fmt.Sprintf("is in no series of ASME B1.1; %s has %s threads per inch in UNC and %s in UNF", u.text, u.unc, u.unf), Nearest: near}
		}
		if series != "" && !strings.EqualFold(series, t.Series.String()) {
			return Thread{}, &ThreadError{Text: text, Why: fmt.Sprintf("is named %s; %s with %s threads per inch is %s", clip(series), u.text, step, t.Series), Nearest: t}
		}
		t.Tolerance = strings.Clone(tol)
		return t, nil
	}
	e := &ThreadError{Text: text, Why: "has a size that ASME B1.1 does not have in UNC or UNF between #8 and 1-1/2"}
	if d, ok := inches(size); ok {
		best := &unifiedSizes[0]
		for k := range unifiedSizes {
			if u := &unifiedSizes[k]; math.Abs(u.in-d) < math.Abs(best.in-d) {
				best = u
			}
		}
		e.Nearest = best.thread(UNC)
		if n := number(step); math.Abs(n-best.nf) < math.Abs(n-best.nc) {
			e.Nearest = best.thread(UNF)
		}
	}
	return Thread{}, e
}

// cutNumber splits a plain decimal off the front and gives it in its shortest
// form ("1.50" is "1.5"), the form the series print.
func cutNumber(s string) (num, rest string) {
	i, dots := 0, 0
	for i < len(s) && (s[i] >= '0' && s[i] <= '9' || s[i] == '.') {
		if s[i] == '.' {
			dots++
		}
		i++
	}
	num, rest = s[:i], s[i:]
	if dots > 1 || strings.HasPrefix(num, ".") || strings.HasSuffix(num, ".") || len(num) > 1 && num[0] == '0' && num[1] != '.' {
		return "", s
	}
	if dots == 1 {
		num = strings.TrimSuffix(strings.TrimRight(num, "0"), ".")
	}
	return num, rest
}

// cutTimes removes a multiplication sign in any of its usual spellings.
func cutTimes(s string) (string, bool) {
	for _, x := range [...]string{"x", "×", "X", "*"} {
		if r, ok := strings.CutPrefix(s, x); ok {
			return r, true
		}
	}
	return s, false
}

// tolerance reports whether s is written like a tolerance class: one or two of a
// grade digit and a position letter ("6g", "5g6g", "2A").
func tolerance(s string) bool {
	if len(s) != 2 && len(s) != 4 {
		return false
	}
	for i := 0; i < len(s); i += 2 {
		if s[i] < '1' || s[i] > '9' || !strings.ContainsRune("efghEFGHAB", rune(s[i+1])) {
			return false
		}
	}
	return true
}

// number reads a plain decimal; text that is none is 0, which is far from every series.
func number(s string) float64 {
	f, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(f, 0) || math.IsNaN(f) {
		return 0
	}
	return f
}

// Diameters in inches of the number sizes, base + step·n (ASME B1.1, from memory).
const numberBase, numberStep = 0.060, 0.013

// inches reads an inch size: "7/16", "1-1/2", "0.4375", "#6" (ASME B1.1: 0.060 + 0.013·n).
func inches(s string) (float64, bool) {
	if n, ok := strings.CutPrefix(s, "#"); ok {
		return numberBase + numberStep*number(n), number(n) > 0
	}
	whole := 0.0
	if w, r, ok := strings.Cut(s, "-"); ok {
		whole, s = number(w), r
	}
	if a, b, ok := strings.Cut(s, "/"); ok {
		if number(b) == 0 {
			return 0, false
		}
		return whole + number(a)/number(b), number(a) > 0
	}
	return whole + number(s), number(s) > 0
}
