package document

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"github.com/gowebpki/jcs"
	"pgregory.net/rapid"

	"proofload/specdata/document/scalar"
)

// The sample of RFC 8785, section 3.2.2 and 3.2.3 (text and sorting), from memory.
func TestCanonicalizeSamples(t *testing.T) {
	for _, tt := range []struct{ in, want string }{
		{`{
			"numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
			"string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
			"literals": [null, true, false]
		}`, `{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],"string":"€$\u000f\nA'B\"\\\\\"/"}`},
		{`{"\u20ac":"Euro Sign","\r":"Carriage Return","\ufb33":"Hebrew Letter Dalet With Dagesh","1":"One","\ud83d\ude00":"Emoji: Grinning Face","\u0080":"Control","\u00f6":"Latin Small Letter O With Diaeresis"}`,
			"{\"\\r\":\"Carriage Return\",\"1\":\"One\",\"\u0080\":\"Control\",\"ö\":\"Latin Small Letter O With Diaeresis\",\"€\":\"Euro Sign\",\"😀\":\"Emoji: Grinning Face\",\"\ufb33\":\"Hebrew Letter Dalet With Dagesh\"}"},
		{` [ ] `, `[]`},
		{`{"b":{"d":1,"c":2},"a":[]}`, `{"a":[],"b":{"c":2,"d":1}}`},
		{`-0`, `0`},
	} {
		got, err := Canonicalize([]byte(tt.in))
		if err != nil || string(got) != tt.want {
			t.Errorf("%s\ngives %s (%v)\nwant  %s", tt.in, got, err, tt.want)
		}
	}
}

// The table of RFC 8785, appendix B, from memory: doubles by their bits.
func TestNumbersOfRFC8785(t *testing.T) {
	for bits, want := range map[uint64]string{
		0x0000000000000000: "0",
		0x8000000000000000: "0",
		0x0000000000000001: "5e-324",
		0x8000000000000001: "-5e-324",
		0x7fefffffffffffff: "1.7976931348623157e+308",
		0xffefffffffffffff: "-1.7976931348623157e+308",
		0x4340000000000000: "9007199254740992",
		0xc340000000000000: "-9007199254740992",
		0x4430000000000000: "295147905179352830000",
		0x44b52d02c7e14af5: "9.999999999999997e+22",
		0x44b52d02c7e14af6: "1e+23",
		0x44b52d02c7e14af7: "1.0000000000000001e+23",
		0x444b1ae4d6e2ef4e: "999999999999999700000",
		0x444b1ae4d6e2ef4f: "999999999999999900000",
		0x444b1ae4d6e2ef50: "1e+21",
		0x3eb0c6f7a0b5ed8c: "9.999999999999997e-7",
		0x3eb0c6f7a0b5ed8d: "0.000001",
		0x41b3de4355555553: "333333333.3333332",
		0x41b3de4355555554: "333333333.33333325",
		0x41b3de4355555555: "333333333.3333333",
		0x41b3de4355555556: "333333333.3333334",
		0x41b3de4355555557: "333333333.33333343",
		0xbecbf647612f3696: "-0.0000033333333333333333",
		0x43143ff3c1cb0959: "1424953923781206.2",
	} {
		lit, err := json.Marshal(math.Float64frombits(bits))
		if err != nil {
			t.Fatal(err)
		}
		got, err := scalar.AppendNumber(nil, string(lit))
		if err != nil || string(got) != want {
			t.Errorf("%#x gives %s (%v), want %s", bits, got, err, want)
		}
	}
}

// value draws any JSON value that I-JSON allows.
func value(depth int) *rapid.Generator[any] {
	texts := rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"", "\u2028", "\x7f", "é", "e\u0301", "\U0001f600", "\ufb33", "\\", "\"", "\b\f\n\r\t\x01", "<>&"}))
	plain := []*rapid.Generator[any]{
		rapid.Just[any](nil), rapid.Bool().AsAny(), texts.AsAny(),
		rapid.IntRange(-1<<53, 1<<53).AsAny(),
		rapid.Float64Range(-1e29, 1e29).Filter(inLimits).AsAny(), rapid.Float64Range(-1e-6, 1e-6).Filter(inLimits).AsAny(),
	}
	if depth == 0 {
		return rapid.OneOf(plain...)
	}
	return rapid.OneOf(append(plain, rapid.SliceOfN(value(depth-1), 0, 4).AsAny(), rapid.MapOfN(texts, value(depth-1), 0, 5).AsAny())...)
}

// inLimits keeps what Go writes with an exponent that is allowed.
func inLimits(f float64) bool { return f == 0 || math.Abs(f) > 1e-29 }

// An implementation that is not ours gives the same bytes, whatever the spacing.
func TestCanonicalizeAgreesWithAnotherImplementation(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := value(3).Draw(t, "value")
		text, err := json.Marshal(v)
		if err != nil {
			t.Fatal(err)
		}
		if rapid.Bool().Draw(t, "spaced") {
			var b bytes.Buffer
			if err := json.Indent(&b, text, " ", "\t"); err != nil {
				t.Fatal(err)
			}
			text = b.Bytes()
		}
		got, err := Canonicalize(text)
		if err != nil {
			if strings.ContainsRune(string(text), 0) || bytes.Contains(text, []byte(`\u0000`)) {
				return // refused on purpose
			}
			t.Fatalf("%v\n%s", err, text)
		}
		if text[0] != '{' && text[0] != '[' && text[0] != ' ' {
			return // the other one takes only objects and lists
		}
		want, err := jcs.Transform(text)
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		if !bytes.Equal(got, want) {
			t.Fatalf("%s\ngives %s\nwant  %s", text, got, want)
		}
		again, err := Canonicalize(got)
		if err != nil || !bytes.Equal(again, got) {
			t.Fatalf("canonical form %s is not its own (%v)", got, err)
		}
	})
}

// Keys sort by UTF-16 code units (RFC 8785, 3.2.3).
func TestKeyOrder(t *testing.T) {
	ordered := []string{"", "\r", "1", "10", "a", "ab", "a\u0080", "\u0080", "ö", "€", "\ud7ff", "\U00010000", "\U0001f600", "\U0010ffff", "\ue000", "\ufb33", "\uffff"}
	for i, a := range ordered {
		for j, b := range ordered {
			if got := compareKeys(a, b); (got < 0) != (i < j) || (got > 0) != (i > j) {
				t.Errorf("compareKeys(%q, %q) is %d", a, b, got)
			}
		}
	}
}

func FuzzCanonicalize(f *testing.F) {
	for _, s := range []string{`{"a":1}`, `[1e3,-0,0.1]`, `"\ud83d\ude00"`, `{"b":[],"a":{}}`, "\"\u2028\"", `{"a":1,"a":2}`, `1e1000001`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		got, err := Canonicalize(data)
		if err != nil {
			return
		}
		var v any
		if err := json.Unmarshal(data, &v); err != nil {
			t.Fatalf("took what is not JSON: %v", err)
		}
		if got[0] == '{' || got[0] == '[' {
			if want, err := jcs.Transform(data); err != nil || !bytes.Equal(got, want) {
				t.Fatalf("gives %s, want %s (%v)", got, want, err)
			}
		}
	})
}
