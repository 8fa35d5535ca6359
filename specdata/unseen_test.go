package specdata

import (
	"strings"
	"testing"
)

// What cannot be seen is found wherever it is, and what can be seen in ten scripts
// is not. The characters are those of UAX 9 (table of explicit directional formatting)
// and UAX 44 (Default_Ignorable_Code_Point), from memory.
func TestUnseen(t *testing.T) {
	for _, c := range "\x00\x01\x08\x0b\x0c\x1b\x7f\u0085\u009f\u00ad\u034f\u061c\u115f\u1160\u17b4\u180b\u180e\u200b\u200c\u200d\u200e\u200f" +
		"\u2028\u2029\u202a\u202b\u202c\u202d\u202e\u2060\u2061\u2064\u2066\u2067\u2068\u2069\u206f\u3164\ufe00\ufe0f\ufeff\uffa0\ufff9\ue000\ufdd0\u2800\U0001d159\ufffc\U000e0001\U000e0041\U000e0100\U000f0000" {
		for _, s := range []string{string(c), "as printed" + string(c), string(c) + "note", "Häfen " + string(c) + " "} {
			got, at, ok := Unseen(s)
			if !ok || got != c || at != strings.IndexRune(s, c) {
				t.Errorf("%U in %+q: got %U at %d, found %t", c, s, got, at, ok)
			}
		}
		if err := UnseenError("reason", "a"+string(c)); err == nil || !strings.Contains(err.Error(), "as its character 2;") {
			t.Errorf("%U: error %v", c, err)
		}
	}
	for s, at := range map[string]int{"\r": 0, "a\rb": 1, "a\r\nb\rc": 4, "a\r\r\n": 1} {
		if c, got, ok := Unseen(s); !ok || c != '\r' || got != at {
			t.Errorf("%q: got %q at %d, found %t; want %d", s, c, got, ok, at)
		}
	}
	for _, c := range "\u1680\u2000\u2002\u2003\u2009\u200a\u205f\u3000" {
		if err := UnseenError("reason", "a"+string(c)+"b\u200b"); err == nil || !strings.Contains(err.Error(), "space of another width) as its character 2;") {
			t.Errorf("%U: error %v", c, err)
		}
	}
	for _, s := range []string{
		"", "62 N·m ±10 %, ≤ 0.05 mm, ≥ ¼ in", "a\nb", "a\r\nb", "a\tb", "10\u00a0mm", "20\u202f°C", "Šroub náboje – Łódź", "Подшипник ступицы", "Ρουλεμάν", "軸受", "ベアリング", "베어링",
		"מיסב גלגל", "محمل العجلة", "चक्का धुरा", "ลูกปืนล้อ", "Zoë", "Zoe\u0308", "🔧",
	} {
		if c, at, ok := Unseen(s); ok {
			t.Errorf("%q is refused for %U at %d", s, c, at)
		}
		if err := UnseenError("reason", s); err != nil {
			t.Errorf("%q: %v", s, err)
		}
	}
}
