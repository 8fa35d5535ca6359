package claim

import (
	"math"
	"strconv"
	"strings"

	"proofload/specdata/lexicon"
)

// Number is a number as a text states it, in digits or words.
type Number struct {
	// Readings lists every plausible value, the likeliest first: "to forty" is 40 and,
	// misheard, 240.
	Readings []float64
	// Step is the place value of the last digit said: 1 for "62", 0.01 for "point oh five".
	Step float64
	// From and To are the first token and the one behind the last.
	From, To int
}

var ones = map[string]int{
	"one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9, "niner": 9,
	"ten": 10, "eleven": 11, "twelve": 12, "thirteen": 13, "fourteen": 14, "fifteen": 15, "sixteen": 16, "seventeen": 17, "eighteen": 18, "nineteen": 19,
	"won": 1, "ate": 8,
}

var tens = map[string]int{
	"twenty": 20, "thirty": 30, "forty": 40, "fourty": 40, "fifty": 50, "sixty": 60, "seventy": 70, "eighty": 80, "ninety": 90,
}

// zero are the words for the digit 0 inside a number.
var zero = map[string]bool{"oh": true, "o": true, "zero": true, "nought": true, "naught": true}

// mistaken are words that a recogniser writes for a digit, read as one only next to a number.
var mistaken = map[string]int{"to": 2, "too": 2, "for": 4, "fore": 4, "won": 1, "ate": 8, "tree": 3, "sex": 6}

// numberAt reads the number that starts at a token; ok is false where none does.
func numberAt(ts []lexicon.Token, i int) (n Number, ok bool) {
	n.From = i
	switch w := ts[i].Stem; {
	case isDigit(ts[i]):
		return digits(ts, i)
	case (w == "a" || w == "an") && i+1 < len(ts) && (ts[i+1].Stem == "hundred" || ts[i+1].Stem == "thousand"):
		v, to := scaled(ts, i+1, 1)
		n.add(float64(v), to)
	case w == "hundred" || w == "thousand":
		v, to := scaled(ts, i, 1)
		n.add(float64(v), to)
	case w == "point" && i+1 < len(ts):
		n.To, n.Readings, n.Step = i, []float64{0}, 1
	case zero[w]:
		if i+1 >= len(ts) || ts[i+1].Stem != "point" && !digitWord(ts[i+1].Stem) {
			if w != "zero" && w != "nought" {
				return n, false
			}
		}
		n.add(0, i+1)
	case ones[w] > 0 && w != "won" && w != "ate" || tens[w] > 0:
		words(ts, i, &n)
	default:
		return n, false
	}
	n.fraction(ts)
	return n, n.To > i
}

func (n *Number) add(v float64, to int) {
	n.Readings, n.To, n.Step = append(n.Readings, v), to, 1
}

func isDigit(t lexicon.Token) bool { return t.Text[0] >= '0' && t.Text[0] <= '9' }

func digitWord(w string) bool { return zero[w] || ones[w] > 0 && ones[w] < 10 }

// joined reports whether a token goes on with the phrase of the one before it.
func joined(t lexicon.Token) bool { return t.Before == "" || t.Before == "-" || t.Before == "·" }

// small reads one to ninety-nine in words.
func small(ts []lexicon.Token, i int) (v, to int) {
	if i >= len(ts) {
		return 0, i
	}
	w := ts[i].Stem
	if t := tens[w]; t > 0 {
		if i+1 < len(ts) && joined(ts[i+1]) && ones[ts[i+1].Stem] > 0 && ones[ts[i+1].Stem] < 10 {
			return t + ones[ts[i+1].Stem], i + 2
		}
		return t, i + 1
	}
	if ones[w] > 0 {
		return ones[w], i + 1
	}
	return 0, i
}

// scaled reads what follows a factor: "hundred and forty", "thousand two hundred".
func scaled(ts []lexicon.Token, i, factor int) (v, to int) {
	if i >= len(ts) {
		return factor, i
	}
	switch ts[i].Stem {
	case "hundred":
		v, to = factor*100, i+1
		at := to
		if at < len(ts) && ts[at].Stem == "and" {
			at++
		}
		if at < len(ts) && joined(ts[at]) {
			if s, end := small(ts, at); end > at {
				v, to = v+s, end
			}
		}
		if to < len(ts) && ts[to].Stem == "thousand" {
			v, to = v*1000, to+1
		}
	case "thousand":
		v, to = factor*1000, i+1
		at := to
		if at < len(ts) && ts[at].Stem == "and" {
			at++
		}
		if s, end := small(ts, at); end > at {
			if end < len(ts) && ts[end].Stem == "hundred" {
				s, end = scaled(ts, end, s)
			}
			v, to = v+s, end
		}
	default:
		return factor, i
	}
	return v, to
}

// words reads a number in words: "two hundred and forty", "two forty", "one oh five",
// "two four zero", "sixty-two".
func words(ts []lexicon.Token, i int, n *Number) {
	first, to := small(ts, i)
	if to < len(ts) && (ts[to].Stem == "hundred" || ts[to].Stem == "thousand") {
		v, end := scaled(ts, to, first)
		n.add(float64(v), end)
		return
	}
	if first >= 10 || to >= len(ts) || !joined(ts[to]) {
		if first >= 10 && first < 100 && to < len(ts) && joined(ts[to]) && zero[ts[to].Stem] && to+1 < len(ts) && digitWord(ts[to+1].Stem) {
			n.add(float64(first*100+ones[ts[to+1].Stem]), to+2) // "ten oh five"
			return
		}
		n.add(float64(first), to)
		return
	}
	next := ts[to].Stem
	if isDigit(ts[to]) && len(ts[to].Text) == 2 { // "one 60", as recognisers mix them
		if v, err := strconv.Atoi(ts[to].Text); err == nil && v >= 10 {
			n.add(float64(first*100+v), to+1)
			return
		}
	}
	if tens[next] > 0 || ones[next] >= 10 { // "two forty", "one thirteen"
		v, end := small(ts, to)
		n.add(float64(first*100+v), end)
		return
	}
	// Digits one by one: "one oh five", "two four zero", "seven zero".
	v, end := first, to
	for end < len(ts) && end < i+3 && joined(ts[end]) && digitWord(ts[end].Stem) {
		v, end = v*10+ones[ts[end].Stem], end+1
	}
	n.add(float64(v), end)
}

// digits reads a number in digits: "110", "4.5", "1,100", "1/2", "2 40".
func digits(ts []lexicon.Token, i int) (n Number, ok bool) {
	text := ts[i].Text
	n = Number{From: i, To: i + 1, Step: 1}
	if num, den, frac := strings.Cut(text, "/"); frac {
		a, err1 := strconv.ParseFloat(num, 64)
		b, err2 := strconv.ParseFloat(den, 64)
		if err1 != nil || err2 != nil || b == 0 || math.IsInf(a/b, 0) {
			return n, false
		}
		n.Readings, n.Step = []float64{a / b}, 0
		return n, true
	}
	whole, places, point := strings.Cut(strings.ReplaceAll(text, ",", "."), ".")
	if point && len(places) == 3 && strings.Contains(text, ",") && !strings.Contains(text, ".") {
		v, err := strconv.ParseFloat(whole+places, 64) // thousands
		if err != nil || math.IsInf(v, 0) {
			return n, false
		}
		n.Readings = []float64{v}
		return n, true
	}
	v, err := strconv.ParseFloat(strings.Trim(whole+"."+places, "."), 64)
	if err != nil || math.IsInf(v, 0) {
		return n, false
	}
	n.Readings = []float64{v}
	if point {
		n.Step = math.Pow(10, -float64(len(places)))
		return n, true
	}
	// "2 40 newton metres", as recognisers part "two forty".
	if len(text) == 1 && v > 0 && i+1 < len(ts) && joined(ts[i+1]) && isDigit(ts[i+1]) && len(ts[i+1].Text) == 2 {
		if w, err := strconv.Atoi(ts[i+1].Text); err == nil {
			n.Readings, n.To = []float64{v*100 + float64(w)}, i+2
			return n, true
		}
	}
	n.fraction(ts)
	return n, true
}

// fraction adds "point nine eight" and "and a half".
func (n *Number) fraction(ts []lexicon.Token) {
	at := n.To
	if at+1 < len(ts) && ts[at].Stem == "point" {
		end, scale, add := at+1, 0.1, 0.0
		for end < len(ts) && (digitWord(ts[end].Stem) || isDigit(ts[end]) && len(ts[end].Text) == 1) && scale > 1e-6 {
			d := ones[ts[end].Stem]
			if isDigit(ts[end]) {
				d = int(ts[end].Text[0] - '0')
			}
			add, scale, end = add+float64(d)*scale, scale/10, end+1
		}
		if end == at+1 && isDigit(ts[end]) { // "point 05"
			if v, err := strconv.ParseFloat("0."+ts[end].Text, 64); err == nil {
				add, scale, end = v, math.Pow(10, -float64(len(ts[end].Text))-1), end+1
			}
		}
		if end == at+1 {
			if v, to := small(ts, end); to > end && v >= 10 { // "point twenty five"
				add, scale, end = float64(v)/100, 0.001, to
			}
		}
		if end > at+1 {
			for i := range n.Readings {
				n.Readings[i] += add
			}
			n.To, n.Step = end, scale*10
		}
		return
	}
	if at+2 < len(ts) && ts[at].Stem == "and" && ts[at+1].Stem == "a" && (ts[at+2].Stem == "half" || ts[at+2].Stem == "quarter") {
		part := 0.5
		if ts[at+2].Stem == "quarter" {
			part = 0.25
		}
		for i := range n.Readings {
			n.Readings[i] += part
		}
		n.To, n.Step = at+3, 0
	}
}

// hundredths reads "three hundredths", "five thousandths", "two tenths".
func (n *Number) hundredths(ts []lexicon.Token) {
	if n.To >= len(ts) || !joined(ts[n.To]) {
		return
	}
	part := map[string]float64{"tenth": 0.1, "hundredth": 0.01, "thousandth": 0.001}[ts[n.To].Stem]
	if part == 0 {
		return
	}
	for i := range n.Readings {
		n.Readings[i] *= part
	}
	n.To, n.Step = n.To+1, n.Step*part
}

// misheard adds the readings of a number beside a word that a recogniser may have
// written for a digit: "to forty" may be 240, "sixty to" 62 where a unit follows.
func misheard(ts []lexicon.Token, n Number, unitFollows func(int) bool) Number {
	v := n.Readings[0]
	if n.From > 0 && joined(ts[n.From]) && v >= 10 && v < 100 && v == math.Trunc(v) {
		if d := mistaken[ts[n.From-1].Stem]; d > 0 {
			n.Readings = append(n.Readings, float64(d)*100+v)
		}
	}
	if n.To < len(ts) && joined(ts[n.To]) && math.Mod(v, 10) == 0 && v >= 20 && unitFollows(n.To+1) {
		if d := mistaken[ts[n.To].Stem]; d > 0 {
			n.Readings, n.To = append(n.Readings, v+float64(d)), n.To+1
		}
	}
	return n
}

// Is reports whether one of the readings is a value, to the place that was said.
func (n *Number) Is(v float64) bool {
	for _, r := range n.Readings {
		if math.Abs(r-v) <= math.Max(n.Step/2, 1e-9)*1.0001 {
			return true
		}
	}
	return false
}
