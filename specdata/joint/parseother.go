package joint

import (
	"fmt"
	"math"
	"strings"
)

// otherUnified is the thread of a unified size with a number of threads per inch that
// is neither UNC nor UNF, the zero Thread where ASME B1.1 has none.
func otherUnified(size, step string) Thread {
	for i := range moreUnified {
		if m := &moreUnified[i]; m.size == size && m.tpi == step {
			return moreUnifiedThread(i)
		}
	}
	return Thread{}
}

// parsePipe reads "G 1/4 A", "R 1/8", "Rp 1/2" and "Rc 3/8".
func parsePipe(text, s string) (Thread, error) {
	sort, size, ok := strings.Cut(s, " ")
	size, class, _ := strings.Cut(size, " ")
	if !ok || sort != "G" && sort != "R" && sort != "Rp" && sort != "Rc" {
		return Thread{}, &ThreadError{Text: text, Why: "is no pipe thread; write it like G 1/4 (ISO 228-1), or R, Rp or Rc 1/8 (ISO 7-1)"}
	}
	if class != "" && (sort != "G" || class != "A" && class != "B") {
		return Thread{}, &ThreadError{Text: text, Why: "goes on with " + fmt.Sprintf("%q", clip(class)) + "; after the size only A or B of ISO 228-1 may follow, and only after G"}
	}
	best, off := 0, math.Inf(1)
	want, _ := inches(size)
	for i := range pipes {
		if pipes[i].size == size {
			t := pipeThread(i, sort)
			t.Tolerance = strings.Clone(class)
			return t, nil
		}
		if in, _ := inches(pipes[i].size); math.Abs(in-want) < off {
			best, off = i, math.Abs(in-want)
		}
	}
	return Thread{}, &ThreadError{Text: text, Why: "has a size that ISO 228-1 and ISO 7-1 do not have between 1/16 and 2", Nearest: pipeThread(best, sort)}
}

// parseBA reads "2 BA" and "2BA".
func parseBA(text, s string) (Thread, error) {
	n := strings.TrimSpace(strings.TrimSuffix(s, "BA"))
	for i := range baSizes {
		if baSizes[i].n == n {
			return baThread(i), nil
		}
	}
	return Thread{}, &ThreadError{Text: text, Why: "is no BA size; BS 93 has 0 BA to 10 BA here"}
}

// parseInchSeries reads "3/8-20 BSF", "3/8-16 BSW" and "1/4-18 NPT".
func parseInchSeries(text, s string) (Thread, error) {
	body, series, ok := strings.Cut(s, " ")
	i := strings.LastIndexByte(body, '-')
	if !ok || i <= 0 {
		return Thread{}, &ThreadError{Text: text, Why: "has no threads per inch; write it like 3/8-20 BSF or 1/4-18 NPT"}
	}
	size, step := body[:i], body[i+1:]
	switch series {
	case "BSW", "BSF":
		for k := range britishSizes {
			b := &britishSizes[k]
			if b.size != size {
				continue
			}
			is, other := BSW, BSF
			want, also := b.bsw, b.bsf
			if series == "BSF" {
				is, other, want, also = BSF, BSW, b.bsf, b.bsw
			}
			switch {
			case want != "" && step == want:
				return britishThread(k, is), nil
			case also != "" && step == also:
				return Thread{}, &ThreadError{Text: text, Why: fmt.Sprintf("is named %s; %s with %s threads per inch is %s", series, size, clip(step), other), Nearest: britishThread(k, other)}
			case want == "":
				return Thread{}, &ThreadError{Text: text, Why: fmt.Sprintf("is a size that has no %s in BS 84", series), Nearest: britishThread(k, other)}
			}
			return Thread{}, &ThreadError{Text: text, Why: fmt.Sprintf("is not in BS 84; %s has %s threads per inch in %s", size, want, series), Nearest: britishThread(k, is)}
		}
		return Thread{}, &ThreadError{Text: text, Why: "has a size that BS 84 does not have between 1/8 and 1-1/2"}
	case "NPT", "NPTF":
		for k := range pipes {
			switch p := &pipes[k]; {
			case p.size != size || p.npt == "":
			case step == p.npt:
				return nptThread(k), nil
			default:
				return Thread{}, &ThreadError{Text: text, Why: fmt.Sprintf("is not in ASME B1.20.1; %s has %s threads per inch", size, p.npt), Nearest: nptThread(k)}
			}
		}
		return Thread{}, &ThreadError{Text: text, Why: "has a size that ASME B1.20.1 does not have between 1/16 and 2"}
	}
	return Thread{}, &ThreadError{Text: text, Why: "ends in " + fmt.Sprintf("%q", clip(series)) + "; after the threads per inch only BSW, BSF, NPT or NPTF may follow"}
}
