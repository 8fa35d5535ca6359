package scalar

import "testing"

// Sources: YAML 1.2.2, 10.2.2 (JSON schema) and 10.3.2 (core schema) for what is sure;
// yaml.org/type/bool.html, int.html and float.html of YAML 1.1 for what older readers
// take for something else (from memory).
func TestMeaning(t *testing.T) {
	for text, want := range map[string]Kind{
		"": Null, "null": Null, "true": Boolean, "false": Boolean,
		"0": Number, "-1": Number, "12.5": Number, "1e3": Number, "1.5E+2": Number,
		"yes": Unclear, "No": Unclear, "ON": Unclear, "off": Unclear, "y": Unclear, "True": Unclear, "NULL": Unclear, "~": Unclear, "=": Unclear,
		"010": Unclear, "0x1F": Unclear, "0o17": Unclear, "0b11": Unclear, "1_000": Unclear, "+5": Unclear, ".5": Unclear, "5.": Unclear,
		"1:30": Unclear, "12:30:45": Unclear, ".inf": Unclear, "-.INF": Unclear, ".NaN": Unclear,
		"M10x1.25": Text, "240 N.m": Text, "2026-09-14": Text, "yesterday": Text, "12a": Text, "é": Text, "1.2.3": Text,
	} {
		if got := Meaning(text); got != want {
			t.Errorf("Meaning(%q) = %d, want %d", text, got, want)
		}
	}
}

// RFC 8259, section 6, gives the grammar.
func TestIsNumber(t *testing.T) {
	for text, want := range map[string]bool{
		"0": true, "-0": true, "10": true, "0.5": true, "1e5": true, "1E-5": true, "-12.75e+3": true,
		"": false, "-": false, "01": false, "+1": false, "1.": false, ".1": false, "1e": false, "1e+": false, "1 ": false, "0x1": false, "Infinity": false,
	} {
		if got := IsNumber(text); got != want {
			t.Errorf("IsNumber(%q) = %v, want %v", text, got, want)
		}
	}
}

// RFC 7493, 2.2: whole numbers up to 2^53 in size are kept exactly by every reader.
func TestCheckNumber(t *testing.T) {
	for text, fine := range map[string]bool{
		"9007199254740992": true, "9007199254740993": false, "1e30": true, "1e31": false, "1e-30": true, "1e-31": false,
		"0.1234567890123456789012345678901": false, "12": true,
	} {
		if got := CheckNumber(text) == ""; got != fine {
			t.Errorf("CheckNumber(%q) = %q", text, CheckNumber(text))
		}
	}
}

// "#2" and "# 2" are the ends of names in a shop; a word behind a space is a comment.
func TestCutsText(t *testing.T) {
	for behind, want := range map[string]bool{"2": true, " 2": true, "b": true, " read again": false, "": false, " ": false} {
		if got := CutsText(behind); got != want {
			t.Errorf("CutsText(%q) = %v, want %v", behind, got, want)
		}
	}
}

func TestTypographic(t *testing.T) {
	for text, want := range map[string]bool{"“a”": true, "‘a’": true, "a": false, "“": false, "“a": false, "it’s": false} {
		if got := Typographic(text); got != want {
			t.Errorf("Typographic(%q) = %v, want %v", text, got, want)
		}
	}
}
