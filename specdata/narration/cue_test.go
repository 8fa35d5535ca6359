package narration_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"proofload/specdata/lexicon"
	"proofload/specdata/library"
	"proofload/specdata/narration"
)

func TestRead(t *testing.T) {
	for _, c := range []struct {
		file, data string
		want       []narration.Cue
	}{
		{"a.vtt", "WEBVTT - made by hand\n\nNOTE nothing\n\n1\n00:01.000 --> 00:02.500 align:start\n<v Ann>Chock the\nwheels &amp; wait.\n\n1:00:02.500 --> 1:00:03.000\nNow.\n", []narration.Cue{{1, 2.5, "Chock the wheels & wait.", 7}, {3602.5, 3603, "Now.", 11}}},
		{"a.srt", "\ufeff1\r\n00:00:01,000 --> 00:00:02,000\r\nOff.\r\n\r\n2\r\n00:00:02,000 --> 00:00:04,000\r\nOn.\r\n", []narration.Cue{{1, 2, "Off.", 3}, {2, 4, "On.", 7}}},
		{"a.txt", "[0:05] Chock the wheels. [0:09] [music] Jack it up.\nand on stands\n", []narration.Cue{{5, 9, "Chock the wheels.", 1}, {9, 11.2, "Jack it up. and on stands", 1}}},
	} {
		got, err := narration.Read(c.file, []byte(c.data))
		if err != nil {
			t.Errorf("%s: %v", c.file, err)
			continue
		}
		for i := range got { // the end of the last cue of plain text is a guess
			if c.file == "a.txt" && i == len(got)-1 {
				got[i].End = c.want[i].End
			}
			got[i].Text = strings.Join(strings.Fields(got[i].Text), " ")
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s reads as %+v, want %+v", c.file, got, c.want)
		}
	}
}

// Every broken file is told where and how.
func TestBroken(t *testing.T) {
	for _, c := range []struct {
		file, data, want string
		line, column     int
	}{
		{"a.vtt", "WEBVTT\n\n00:05.000 --> 00:04.000\nback\n", "is not after its start", 3, 1},
		{"a.vtt", "WEBVTT\n\n00:01.000 --> 00:04.000\na\n\n00:03.000 --> 00:05.000\nb\n", "cues that overlap", 6, 1},
		{"a.vtt", "WEBVTT\n\n00:05.000 --> 00:06.000\na\n\n00:03.000 --> 00:04.000\nb\n", "in order of time", 6, 1},
		{"a.vtt", "WEBVTT\n\n", "has no cues", 3, 1},
		{"a.vtt", "1\n00:01.000 --> 00:02.000\na\n", "begins with WEBVTT", 1, 1},
		{"a.srt", "1\n00:01:75,000 --> 00:02:00,000\na\n", "time \"00:01:75,000\" is none", 2, 1},
		{"a.srt", "1\nhello\n", "no line of times", 1, 1},
		{"a.srt", "1\n00:00:01,000 -->\na\n", "has no end", 2, 17},
		{"a.txt", "Chock the wheels.\n", "no [m:ss] mark", 1, 1},
		{"a.txt", "[0:10] a\n[0:05] b\n", "in order of time", 2, 1},
		{"a.txt", "[0:75] a\n", "time \"0:75\" is none", 1, 2},
		{"a.txt", "[0:01] a\n[0:02] caf\xe9 b\n", "not UTF-8: byte 0xe9", 2, 11},
		{"a.txt", "\xff\xfe[\x000\x00", "UTF-16", 1, 1},
		{"a.mp4", "x", "of the kind \".mp4\"", 0, 0},
		{"a.txt", strings.Repeat("x", 50<<20), "has 52428800 bytes", 0, 0},
	} {
		_, err := narration.Read(c.file, []byte(c.data))
		var e *narration.FileError
		if !errors.As(err, &e) || !strings.Contains(e.Message, c.want) || e.Line != c.line || e.Column != c.column {
			t.Errorf("%.20q: error is %v, want %q at %d:%d", c.data, err, c.want, c.line, c.column)
		}
	}
}

func FuzzCues(f *testing.F) {
	f.Add("a.vtt", "WEBVTT\n\n00:01.000 --> 00:02.500\nChock the wheels.\n")
	f.Add("a.srt", "1\n00:00:01,000 --> 00:00:02,000\nOff.\n")
	f.Add("a.txt", "[0:05] Chock the wheels. [0:09] Jack it up.")
	f.Add("a.txt", "[0:05] torque it to two [0:06] hundred and forty [x] newton metres")
	l := demoLibrary(f)
	p := library.Procedure(l, "quill-1-rear-hub-bearing")
	f.Fuzz(func(t *testing.T, file, data string) {
		cues, err := narration.Read(file, []byte(data))
		if err != nil {
			var e *narration.FileError
			if !errors.As(err, &e) {
				t.Fatalf("error %v is no *FileError", err)
			}
			return
		}
		last := 0.0
		for _, c := range cues {
			if c.Start < last || c.End <= c.Start {
				t.Fatalf("cue %+v behind %g", c, last)
			}
			last = c.Start
		}
		if len(data) < 2000 {
			_, _ = narration.Check(t.Context(), p, l, lexicon.Default(), "", cues)
		}
	})
}

// BenchmarkTwoHours checks a transcript of two hours (about 18,000 words).
func BenchmarkTwoHours(b *testing.B) {
	l := demoLibrary(b)
	p := library.Procedure(l, "quill-1-rear-hub-bearing")
	once, err := narration.Read("a.txt", []byte(file(b, "quill-1-rear-hub-bearing.txt")))
	if err != nil {
		b.Fatal(err)
	}
	var cues []narration.Cue
	for at := 0.0; at < 7200; at += 284 {
		for _, c := range once {
			c.Start, c.End = c.Start+at, c.End+at
			cues = append(cues, c)
		}
	}
	b.ReportAllocs()
	for b.Loop() {
		_, _ = narration.Check(b.Context(), p, l, lexicon.Default(), "", cues)
	}
}
