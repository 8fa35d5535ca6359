package specdata_test

import (
	"strings"
	"testing"

	"proofload/specdata"
)

func mentions(text string) string {
	var parts []string
	for _, m := range specdata.Mentions(text) {
		s := m.Quantity.String()
		if s == "" {
			s = "?" + m.Text
		}
		if m.Margin {
			s = "±" + s
		}
		if m.Low {
			s += ".."
		}
		parts = append(parts, s)
	}
	return strings.Join(parts, ", ")
}

func TestMentions(t *testing.T) {
	for text, want := range map[string]string{
		// The spellings of records-and-slips, section F.
		"240 Nm": "240 N.m", "240 N m": "240 N.m", "240 N-m": "240 N.m", "240 N.m": "240 N.m", "240 N*m": "240 N.m", "240 N·m": "240 N.m",
		"240 newton metres": "240 N.m", "240 newton-meter": "240 N.m", "240Nm.": "240 N.m", "240\u00a0N·m": "240 N.m", "240\u202fN·m": "240 N.m",
		"177 lbf·ft": "177 lbf.ft", "177 lb-ft": "177 lbf.ft", "177 lb ft": "177 lbf.ft", "177 ft-lb": "177 lbf.ft", "177 ft.lbs": "177 lbf.ft",
		"177 ft·lbf": "177 lbf.ft", "177 foot-pounds": "177 lbf.ft", "177 pound-feet": "177 lbf.ft", "177 ft/lb": "177 lbf.ft", "177 lbs ft": "177 lbf.ft",
		"70 lbf·in": "70 lbf.in", "70 in-lb": "70 lbf.in", "70 lb.in.": "70 lbf.in", "70 inch pounds": "70 lbf.in",
		"1.5 kgf·m": "1.5 kgf.m", "1.5 kg-m": "1.5 kgf.m", "1.5 kgm": "1.5 kgf.m", "1.5 mkg": "1.5 kgf.m", "150 kgf cm": "150 kgf.cm", "20 oz-in": "20 ozf.in",
		"90°": "90 deg", "90 deg": "90 deg", "90 degrees": "90 deg",
		// Several, ranges, tolerances.
		"110 N·m (81 lbf·ft)":  "110 N.m, 81 lbf.ft",
		"50 Nm + 90°":          "50 N.m, 90 deg",
		"35-40 Nm":             "35 N.m.., 40 N.m",
		"35 to 40 Nm":          "35 N.m.., 40 N.m",
		"35 – 40 Nm":           "35 N.m.., 40 N.m",
		"240 ± 24 N·m":         "240 N.m, ±24 N.m",
		"240 N·m +/- 24 N·m":   "240 N.m, ±24 N.m",
		"240 N·m ± 10 %":       "240 N.m",
		"Stage 1: 20 Nm, then": "20 N.m",
		// Two decimal signs, and the readings that are refused.
		"1,5 Nm": "1.5 N.m", "1,500 Nm": "?1,500 Nm", "1.500 Nm": "?1.500 Nm", "0,500 Nm": "0.500 N.m", "05 Nm": "5 N.m", "00.5 Nm": "0.5 N.m", "0 Nm": "0 N.m", "1234567890123 Nm": "?1234567890123 Nm",
		// What is no torque and no angle.
		"": "", "M10x1.5": "", "13 mm spanner": "", "20 °C": "", "20 degrees C": "", "{torque:quill-1-rear-hub-nut}": "", "quill-1 nm": "",
		"2019-W26 N": "", "5 N": "", "5 N/m": "", "5 kg": "", "5 kg max": "", "5 minutes": "", "5 in long": "", "no 120001": "", "10 moments": "", "10 ft": "", "10 lb": "", "class 10.9": "",
		"T30 Nm": "", "{open 5 Nm": "5 N.m",
	} {
		if got := mentions(text); got != want {
			t.Errorf("Mentions(%q) = %q, want %q", text, got, want)
		}
	}
	ms := specdata.Mentions("Tighten to 110 Nm.")
	if len(ms) != 1 || ms[0].Text != "110 Nm" || ms[0].Start != 11 {
		t.Errorf("place of a mention: %+v", ms)
	}
}

func TestMisread(t *testing.T) {
	for text, want := range map[string][2]string{
		"62 Nrn": {"Nrn", "Nm"}, "62 N·rn": {"N·rn", "N·m"}, "46 Ibf.ft": {"Ibf", "lbf"}, "46 1bf.ft": {"1bf", "lbf"}, "46 lbf.fl": {"lbf.fl", "lbf.ft"},
		"24O Nm": {"24O", "240"}, "1l0 Nm": {"1l0", "110"}, "I10 Nm": {"I10", "110"}, "o.8 Nm": {"o.8", "0.8"},
		"240 Nm": {}, "177 lbf.ft": {}, "177lbf.ft": {}, "": {}, "Oil the lip": {}, "110 or 120": {}, "lb 10": {}, "O-ring, I or l": {}, "20l oil": {"20l", "201"},
	} {
		found, meant := specdata.Misread(text)
		if found != want[0] || meant != want[1] {
			t.Errorf("Misread(%q) = %q, %q; want %q", text, found, meant, want)
		}
	}
}

// What is found is in the text, in order, and reads back as a quantity.
func FuzzMentions(f *testing.F) {
	for _, s := range []string{"110 N·m (81 lbf·ft)", "35-40 Nm ± 2 Nm, then 90°", "1,500 Nm", "{torque:x} 5 ft-lb", "0.5 kgm 24O Nrn", "9\xff9 Nm \u00c2"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		last := -1
		for _, m := range specdata.Mentions(s) {
			if m.Start <= last || !strings.HasPrefix(s[m.Start:], m.Text) {
				t.Fatalf("%q: %+v after %d", s, m, last)
			}
			last = m.Start
			if m.Quantity.IsZero() {
				continue
			}
			if d := m.Quantity.Dimension(); d != specdata.Torque && d != specdata.Angle {
				t.Fatalf("%q: %s is a %s", s, m.Quantity, d)
			}
		}
		if found, meant := specdata.Misread(s); found != "" && (!strings.Contains(s, found) || found == meant) {
			t.Fatalf("%q: misread %q as %q", s, found, meant)
		}
	})
}
