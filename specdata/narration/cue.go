// Package narration holds what a presenter says against the procedure that is shown:
// transcripts with times are read, aligned with the steps, and judged like sentences.
package narration

import (
	"bytes"
	"fmt"
	"path"
	"strconv"
	"strings"
	"unicode/utf8"
)

// MaxBytes is the longest transcript that is read. Two hours of speech have about 150 kB.
const MaxBytes = 4 << 20

// maxCues bounds how many cues a transcript may have.
const maxCues = 50_000

// Cue is a piece of speech with its time.
type Cue struct {
	// Start and End are seconds from the beginning. Plain text has no ends; there each
	// cue ends where the next begins.
	Start, End float64
	Text       string
	// Line is where the text is in the file, from 1.
	Line int
}

// FileError says what is wrong with a transcript, and where.
type FileError struct {
	File         string
	Line, Column int
	Message      string
}

// Error implements error.
func (e *FileError) Error() string {
	if e.Line == 0 {
		return e.File + ": " + e.Message
	}
	return fmt.Sprintf("%s:%d:%d: %s", e.File, e.Line, e.Column, e.Message)
}

// reading reads one file.
type reading struct {
	file  string
	lines []string
	cues  []Cue
}

func (r *reading) errorf(line, column int, format string, args ...any) error {
	return &FileError{r.file, line, column, fmt.Sprintf(format, args...)}
}

// Read reads a transcript: WebVTT (.vtt), SubRip (.srt) or plain text with [m:ss] marks
// (.txt). The error is a *FileError with line and column.
func Read(file string, data []byte) ([]Cue, error) {
	r := &reading{file: file}
	if len(data) > MaxBytes {
		return nil, r.errorf(0, 0, "transcript has %d bytes; allowed: %d, which is more than a day of speech; give the text track, not the video", len(data), MaxBytes)
	}
	if err := r.decode(data); err != nil {
		return nil, err
	}
	var err error
	switch ext := strings.ToLower(path.Ext(file)); {
	case ext == ".vtt" || len(r.lines) > 0 && strings.HasPrefix(r.lines[0], "WEBVTT"):
		err = r.vtt()
	case ext == ".srt":
		err = r.srt()
	case ext == ".txt":
		err = r.plain()
	default:
		return nil, r.errorf(0, 0, "transcript is of the kind %q; allowed: .vtt (WebVTT), .srt (SubRip), .txt (plain text with [m:ss] marks)", ext)
	}
	if err != nil {
		return nil, err
	}
	if len(r.cues) == 0 {
		return nil, r.errorf(max(len(r.lines), 1), 1, "transcript has no cues; write %s", r.example())
	}
	return r.cues, nil
}

func (r *reading) example() string {
	switch strings.ToLower(path.Ext(r.file)) {
	case ".vtt":
		return `a line "00:01:02.000 --> 00:01:05.000" with the words below it`
	case ".srt":
		return `a line "00:01:02,000 --> 00:01:05,000" with the words below it`
	}
	return `the time before the words, like "[1:02] Chock the wheels."`
}

// decode takes the lines apart and refuses what is not UTF-8.
func (r *reading) decode(data []byte) error {
	switch {
	case bytes.HasPrefix(data, []byte{0xff, 0xfe}), bytes.HasPrefix(data, []byte{0xfe, 0xff}):
		return r.errorf(1, 1, "transcript is UTF-16; save it as UTF-8")
	}
	data = bytes.TrimPrefix(data, []byte{0xef, 0xbb, 0xbf})
	data = bytes.ReplaceAll(data, []byte("\r\n"), []byte("\n"))
	data = bytes.ReplaceAll(data, []byte("\r"), []byte("\n"))
	r.lines = strings.Split(string(data), "\n")
	for i, line := range r.lines {
		if j := strings.IndexByte(line, 0); j >= 0 {
			return r.errorf(i+1, utf8.RuneCountInString(line[:j])+1, "transcript has the character zero; it is not text, or UTF-16 without its mark; save it as UTF-8")
		}
		if !utf8.ValidString(line) {
			column := 1
			for j := 0; j < len(line); column++ {
				c, size := utf8.DecodeRuneInString(line[j:])
				if c == utf8.RuneError && size == 1 {
					break
				}
				j += size
			}
			return r.errorf(i+1, column, "transcript is not UTF-8: byte 0x%02x; save it as UTF-8", line[byteOf(line, column)])
		}
	}
	return nil
}

func byteOf(line string, column int) int {
	at := 0
	for range column - 1 {
		_, size := utf8.DecodeRuneInString(line[at:])
		at += size
	}
	return min(at, len(line)-1)
}

// add adds a cue and refuses one that ends before it begins, or begins before the one
// before it has ended.
func (r *reading) add(start, end float64, text string, line int) error {
	if end <= start {
		return r.errorf(line, 1, "cue ends at %s, which is not after its start %s; correct its times", Clock(end), Clock(start))
	}
	if n := len(r.cues); n > 0 {
		before := r.cues[n-1]
		switch {
		case start < before.Start:
			return r.errorf(line, 1, "cue starts at %s, before the one above it (%s); put the cues in order of time", Clock(start), Clock(before.Start))
		case start < before.End-0.0005:
			return r.errorf(line, 1, "cue starts at %s while the one above it lasts until %s; cues that overlap cannot be read in order, so end that one sooner", Clock(start), Clock(before.End))
		}
		if n >= maxCues {
			return r.errorf(line, 1, "transcript has over %d cues", maxCues)
		}
	}
	if text = strings.TrimSpace(text); text != "" {
		r.cues = append(r.cues, Cue{start, end, text, line + 1})
	}
	return nil
}

// vtt reads WebVTT (W3C Candidate Recommendation, 4 April 2019, section 4): header, notes,
// styles and regions are passed over, tags taken out.
func (r *reading) vtt() error {
	if !strings.HasPrefix(r.lines[0], "WEBVTT") || len(r.lines[0]) > 6 && r.lines[0][6] != ' ' && r.lines[0][6] != '\t' {
		return r.errorf(1, 1, "first line is %.40q; a WebVTT file begins with WEBVTT", r.lines[0])
	}
	return r.blocks(1, false)
}

// srt reads SubRip: a number, a line of times, the words.
func (r *reading) srt() error { return r.blocks(0, true) }

func (r *reading) blocks(i int, comma bool) error {
	for i < len(r.lines) {
		if strings.TrimSpace(r.lines[i]) == "" {
			i++
			continue
		}
		from := i
		for i < len(r.lines) && strings.TrimSpace(r.lines[i]) != "" {
			i++
		}
		block := r.lines[from:i]
		times := -1
		for k, line := range block[:min(2, len(block))] {
			if strings.Contains(line, "-->") {
				times = k
				break
			}
		}
		if times < 0 {
			word, _, _ := strings.Cut(block[0], " ")
			if !comma && (word == "NOTE" || word == "STYLE" || word == "REGION" || from <= 1 || strings.Contains(block[0], ":")) {
				continue
			}
			return r.errorf(from+1, 1, "block %.40q has no line of times; write %s", block[0], r.example())
		}
		start, end, err := r.times(from+times, block[times], comma)
		if err != nil {
			return err
		}
		if err := r.add(start, end, plainWords(strings.Join(block[times+1:], " ")), from+times+1); err != nil {
			return err
		}
	}
	return nil
}

// times reads "00:01:02.000 --> 00:01:05.000", settings behind it passed over.
func (r *reading) times(index int, line string, comma bool) (start, end float64, err error) {
	a, b, _ := strings.Cut(line, "-->")
	fields := strings.Fields(b)
	if len(fields) == 0 {
		return 0, 0, r.errorf(index+1, len([]rune(line))+1, "line of times has no end; write %s", r.example())
	}
	for i, s := range []string{strings.TrimSpace(a), fields[0]} {
		v, ok := clock(s)
		if !ok {
			return 0, 0, r.errorf(index+1, utf8.RuneCountInString(line[:max(0, strings.Index(line, s))])+1, "time %.20q is none; write hours:minutes:seconds, like 00:01:02.000", s)
		}
		if i == 0 {
			start = v
		} else {
			end = v
		}
	}
	return start, end, nil
}

// clock reads h:mm:ss.mmm or m:ss, with a point or a comma before the thousandths.
func clock(s string) (float64, bool) {
	parts := strings.Split(strings.ReplaceAll(s, ",", "."), ":")
	if len(parts) < 2 || len(parts) > 3 {
		return 0, false
	}
	total := 0.0
	for i, p := range parts {
		last := i == len(parts)-1
		whole, places, point := strings.Cut(p, ".")
		if whole == "" || len(whole) > 4 || point && (!last || places == "" || len(places) > 6) || strings.Trim(whole+places, "0123456789") != "" {
			return 0, false
		}
		v, err := strconv.ParseFloat(p, 64)
		if err != nil || i > 0 && v >= 60 {
			return 0, false
		}
		total = total*60 + v
	}
	return total, true
}

// plain reads text with [m:ss] marks; what is before the first mark is at 0:00.
func (r *reading) plain() error {
	type piece struct {
		start float64
		text  []byte
		line  int
	}
	pieces := []piece{{}}
	say := func(words string) {
		last := &pieces[len(pieces)-1]
		last.text = append(append(last.text, words...), ' ')
	}
	marked := false
	for i, line := range r.lines {
		rest := line
		for {
			open := strings.IndexByte(rest, '[')
			closing := -1
			if open >= 0 {
				closing = strings.IndexByte(rest[open:], ']')
			}
			if open < 0 || closing < 0 {
				break
			}
			inside := rest[open+1 : open+closing]
			at, ok := clock(strings.TrimSpace(inside))
			if !ok {
				if strings.Contains(inside, ":") && strings.Trim(inside, "0123456789:. ,") == "" {
					return r.errorf(i+1, utf8.RuneCountInString(line[:len(line)-len(rest)+open])+2, "time %.20q is none; write minutes:seconds, like [1:02]", inside)
				}
				// Something else in brackets, like [music].
				say(rest[:open])
				rest = rest[open+closing+1:]
				continue
			}
			say(rest[:open])
			if at < pieces[len(pieces)-1].start {
				return r.errorf(i+1, utf8.RuneCountInString(line[:len(line)-len(rest)+open])+1, "time %s is before the one above it (%s); put the marks in order of time", Clock(at), Clock(pieces[len(pieces)-1].start))
			}
			marked = true
			pieces = append(pieces, piece{start: at, line: i + 1})
			if len(pieces) > maxCues {
				return r.errorf(i+1, 1, "transcript has over %d marks", maxCues)
			}
			rest = rest[open+closing+1:]
		}
		say(rest)
		if pieces[len(pieces)-1].line == 0 {
			pieces[len(pieces)-1].line = i + 1
		}
	}
	if !marked {
		return r.errorf(1, 1, "text has no [m:ss] mark; write %s", r.example())
	}
	for i, p := range pieces {
		text := strings.TrimSpace(string(p.text))
		if text == "" {
			continue
		}
		end := p.start + max(2, float64(len(text))/15)
		if i+1 < len(pieces) && pieces[i+1].start > p.start {
			end = pieces[i+1].start
		}
		r.cues = append(r.cues, Cue{p.start, end, text, p.line})
	}
	return nil
}

// plainWords takes tags and entities out of a cue.
func plainWords(text string) string {
	var b strings.Builder
	for text != "" {
		open := strings.IndexByte(text, '<')
		if open < 0 {
			break
		}
		closing := strings.IndexByte(text[open:], '>')
		if closing < 0 {
			break
		}
		b.WriteString(text[:open])
		text = text[open+closing+1:]
	}
	b.WriteString(text)
	return strings.NewReplacer("&amp;", "&", "&lt;", "<", "&gt;", ">", "&nbsp;", " ", "&lrm;", "", "&rlm;", "").Replace(b.String())
}

// Clock returns seconds as m:ss or h:mm:ss.
func Clock(seconds float64) string {
	s := int(seconds)
	if s >= 3600 {
		return fmt.Sprintf("%d:%02d:%02d", s/3600, s/60%60, s%60)
	}
	return fmt.Sprintf("%d:%02d", s/60, s%60)
}
