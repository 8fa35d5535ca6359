package specdata

import (
	"strconv"
	"strings"
)

// Shown is the value of a fastener that a sentence shows through a placeholder:
// {torque:FASTENER} shows the whole tightening, {stage:FASTENER/N} one stage of it,
// so that a step about stage 2 gives the number of stage 2 and no other.
type Shown struct {
	// Placeholder is what is in the sentence, braces included.
	Placeholder string
	Fastener    string
	// Stage counts from 1; 0 is the whole tightening, -1 a stage that is not a number.
	Stage int
}

// WholeSeries is the placeholder of a fastener's whole tightening, OneStage that of
// one of its stages, counted from 1.
func WholeSeries(fastener string) string { return "{torque:" + fastener + "}" }

// OneStage is described at WholeSeries.
func OneStage(fastener string, n int) string {
	return "{stage:" + fastener + "/" + strconv.Itoa(n) + "}"
}

// ValuesShown lists the values that a sentence shows, in order.
func ValuesShown(text string) []Shown {
	var all []Shown
	for {
		i := strings.IndexByte(text, '{')
		if i < 0 {
			return all
		}
		text = text[i:]
		j := strings.IndexByte(text, '}')
		if j < 0 {
			return all
		}
		s, ok := shownBy(text[:j+1])
		if !ok {
			text = text[1:]
			continue
		}
		all = append(all, s)
		text = text[j:]
	}
}

func shownBy(placeholder string) (Shown, bool) {
	inside := placeholder[1 : len(placeholder)-1]
	if id, ok := strings.CutPrefix(inside, "torque:"); ok {
		return Shown{placeholder, id, 0}, true
	}
	id, ok := strings.CutPrefix(inside, "stage:")
	if !ok {
		return Shown{}, false
	}
	id, number, _ := strings.Cut(id, "/")
	n, err := strconv.Atoi(number)
	if err != nil || n < 1 || strconv.Itoa(n) != number {
		n = -1
	}
	return Shown{placeholder, id, n}, true
}
