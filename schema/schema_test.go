package schema_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"proofload/schema"
	"proofload/specdata"
)

var update = flag.Bool("update", false, "write the golden files anew")

var all = append([]specdata.Kind{schema.Common, schema.Library}, specdata.Kinds...)

// parse reads JSON as the package wants it.
func parse(t testing.TB, text string) any {
	t.Helper()
	dec := json.NewDecoder(strings.NewReader(text))
	dec.UseNumber()
	var v any
	if err := dec.Decode(&v); err != nil {
		t.Fatalf("%s: %v", text, err)
	}
	return v
}

func raw(t testing.TB, k specdata.Kind) map[string]any {
	t.Helper()
	var m map[string]any
	if err := json.Unmarshal(schema.Raw(k), &m); err != nil {
		t.Fatalf("%s: %v", k, err)
	}
	return m
}

func TestRaw(t *testing.T) {
	for _, k := range all {
		m := raw(t, k)
		if m["$id"] != schema.ID(k) {
			t.Errorf("%s calls itself %v, want %s", k, m["$id"], schema.ID(k))
		}
		if m["$schema"] != "https://json-schema.org/draft/2020-12/schema" {
			t.Errorf("%s is of the draft %v", k, m["$schema"])
		}
		if bytes.IndexFunc(schema.Raw(k), func(r rune) bool { return r > '~' || r < ' ' && r != '\n' }) >= 0 {
			t.Errorf("%s holds a character that an editor may not show; write it as an escape", k)
		}
	}
	for _, k := range []specdata.Kind{"", "nut", "../schema", "fastener/v1.json"} {
		if schema.Raw(k) != nil {
			t.Errorf("Raw(%q) gives something", k)
		}
	}
}

func TestValidateUnknownKind(t *testing.T) {
	if _, err := schema.Validate("nut", map[string]any{}); err == nil || !strings.Contains(err.Error(), "allowed: vehicle") {
		t.Errorf("error is %v", err)
	}
}

// A number of nine characters makes the validator panic; that must come out as an
// error, even where the caller did not bound the document.
func TestValidatorPanicIsAnError(t *testing.T) {
	doc := parse(t, `{"kind":"fastener","count":1e1000001}`)
	if _, err := schema.Validate(specdata.KindFastener, doc); err == nil || !strings.Contains(err.Error(), "validator failed") {
		t.Errorf("error is %v", err)
	}
}

// Values that encoding/json never gives are an error too.
func TestValidateForeignValue(t *testing.T) {
	if _, err := schema.Validate(specdata.KindSource, map[string]any{"kind": struct{}{}}); err == nil {
		t.Error("a struct was judged")
	}
}

// every walks over the schemas in a schema's text.
func every(place string, v any, visit func(place string, s map[string]any)) {
	m, ok := v.(map[string]any)
	if !ok {
		return
	}
	visit(place, m)
	for _, k := range []string{"$defs", "properties"} {
		if sub, ok := m[k].(map[string]any); ok {
			for name, s := range sub {
				every(place+"/"+k+"/"+name, s, visit)
			}
		}
	}
	for _, k := range []string{"items", "additionalProperties", "propertyNames"} {
		every(place+"/"+k, m[k], visit)
	}
}

// What editors show and what bounds the cost of judging.
func TestEverySchemaIsDescribedAndBounded(t *testing.T) {
	for _, k := range all {
		every(string(k), raw(t, k), func(place string, s map[string]any) {
			if _, ref := s["$ref"]; ref {
				return
			}
			if d, _ := s["description"].(string); d == "" && !strings.HasSuffix(place, "/propertyNames") && !strings.HasSuffix(place, "/items") {
				t.Errorf("%s has no description", place)
			} else if d != "" && !strings.HasSuffix(d, ".") {
				t.Errorf("%s: description %q is no sentence", place, d)
			}
			switch s["type"] {
			case "object":
				if s["additionalProperties"] == nil {
					t.Errorf("%s is open to any key", place)
				}
			case "array":
				if s["maxItems"] == nil || s["minItems"] == nil || s["items"] == nil {
					t.Errorf("%s is not bounded", place)
				}
			case "integer":
				if s["minimum"] == nil || s["maximum"] == nil {
					t.Errorf("%s is not bounded", place)
				}
			case "string":
				if s["pattern"] == nil {
					t.Errorf("%s takes any text", place)
				}
				if s["maxLength"] == nil && strings.ContainsAny(s["pattern"].(string), "*+") && strings.Count(s["pattern"].(string), "\\.") == 0 {
					t.Errorf("%s has no longest length", place)
				}
			}
			if p, ok := s["pattern"].(string); ok {
				re, err := regexp.Compile(p)
				if err != nil || !strings.HasPrefix(p, "^") || !strings.HasSuffix(p, "$") {
					t.Errorf("%s: pattern %s is not anchored or does not compile: %v", place, p, err)
					return
				}
				examples, _ := s["examples"].([]any)
				for _, e := range examples {
					if w, ok := e.(string); ok && !re.MatchString(w) {
						t.Errorf("%s: example %q does not have the form", place, w)
					}
				}
			}
			if e, ok := s["enum"].([]any); ok {
				seen := map[any]bool{}
				for _, v := range e {
					if seen[v] {
						t.Errorf("%s names %v twice", place, v)
					}
					seen[v] = true
				}
			}
		})
	}
}

// Everything a quantity's form allows is a quantity of the right dimension, and
// every unit of the dimension is allowed.
func TestQuantityForms(t *testing.T) {
	n := 0
	for _, k := range all {
		every(string(k), raw(t, k), func(place string, s map[string]any) {
			dims, ok := s["x-dimensions"].([]any)
			if !ok {
				return
			}
			n++
			re := regexp.MustCompile(s["pattern"].(string))
			for _, u := range specdata.Units {
				for _, number := range []string{"0", "5", "240", "0.5", "999999999.999999999", "1/4", "9/16", "1-1/4"} {
					text := number + " " + u.Symbol
					_, err := specdata.ParseQuantity(text)
					want := err == nil && slices.Contains(dims, any(string(u.Dimension))) && (!strings.Contains(number, "/") || u.Symbol == "in" || u.Symbol == "turn")
					if got := re.MatchString(text); got != want {
						t.Errorf("%s: %q allowed: %v, want %v (%v)", place, text, got, want, err)
					}
				}
			}
			for _, bad := range []string{"240", "240N.m", "240  N.m", "-240 N.m", "0240 N.m", "1e3 N.m", "1,5 N.m", "240 N.m ", " 240 N.m", "240 Nm", "", "N.m", "240 n.m", "240\u00a0N.m", "1000000000 N.m"} {
				if re.MatchString(bad) {
					t.Errorf("%s allows %q", place, bad)
				}
			}
		})
	}
	if n < 10 {
		t.Errorf("%d quantities found; the walk misses them", n)
	}
}

// sound returns a small valid fastener with some members replaced, removed (nil) or added.
func sound(t testing.TB, changes ...any) any {
	v := parse(t, `{"kind":"fastener","id":"a-nut","title":"Nut","applies_to":[{"vehicle":"v"}],"place":"rear hub","count":1,"joint":"clamp",
		"drive":{"turn":"nut","nut":"hex 30 mm"},"tightening":{"stages":[{"torque":"240 N.m"}],"state":"any","drag":"included","impact":"never"},"reuse":{"rule":"reuse"}}`)
	for i := 0; i < len(changes); i += 2 {
		at := strings.Split(changes[i].(string), "/")
		m := v
		for _, t := range at[:len(at)-1] {
			switch w := m.(type) {
			case map[string]any:
				m = w[t]
			case []any:
				m = w[0]
			}
		}
		last := at[len(at)-1]
		if s, ok := changes[i+1].(string); ok {
			m.(map[string]any)[last] = parse(t, s)
		} else {
			delete(m.(map[string]any), last)
		}
	}
	return v
}

// The words people read. A new kind of slip gets a line here; the golden file holds
// what is said about it.
func TestViolationsGolden(t *testing.T) {
	cases := []struct {
		name string
		doc  any
	}{
		{"unit missing", sound(t, "tightening/stages/0/torque", `240`)},
		{"unit misspelt", sound(t, "tightening/stages/0/torque", `"240 Nm"`)},
		{"unit glued on", sound(t, "tightening/stages/0/torque", `"240N.m"`)},
		{"unit that may be a force", sound(t, "tightening/stages/0/torque", `"177 lb"`)},
		{"unit of another dimension", sound(t, "tightening/stages/0/torque", `"240 mm"`)},
		{"negative torque", sound(t, "tightening/stages/0/torque", `"-240 N.m"`)},
		{"number in words", sound(t, "tightening/stages/0/torque", `"tight"`)},
		{"no quantity", sound(t, "tightening/stages/0/torque", `null`)},
		{"fraction of a millimetre", sound(t, "thread", `{"designation":"M10x1.5","hand":"right","into":"steel","engagement":"1/2 mm"}`)},
		{"enum near", sound(t, "joint", `"clmp"`)},
		{"enum far", sound(t, "joint", `"glue"`)},
		{"enum of a list", sound(t, "joint", `["clamp"]`)},
		{"unknown key near", sound(t, "tightening/tolerence", `"10 %"`)},
		{"unknown key far", sound(t, "colour", `"red"`)},
		{"missing key", sound(t, "tightening/state", nil)},
		{"missing key that is misspelt", sound(t, "place", nil, "plase", `"rear hub"`)},
		{"missing text", sound(t, "title", nil)},
		{"id with capitals", sound(t, "id", `"Rear Hub_Nut"`)},
		{"id too long", sound(t, "id", `"`+strings.Repeat("a", 81)+`"`)},
		{"text that is a number", sound(t, "strength", `{"bolt":8.8}`)},
		{"text that is a truth value", sound(t, "title", `true`)},
		{"number that is text", sound(t, "count", `"2"`)},
		{"number out of range", sound(t, "count", `0`)},
		{"number with a fraction", sound(t, "count", `1.5`)},
		{"false that is left out", sound(t, "drive/special", `false`)},
		{"text where keys are wanted", sound(t, "lock", `"stake"`)},
		{"text where a list is wanted", sound(t, "follow_ups", `"alignment"`)},
		{"empty list", sound(t, "applies_to", `[]`)},
		{"empty object", sound(t, "strength", `{}`)},
		{"entry twice", sound(t, "reuse", `{"rule":"replace","renew":["nut","nut"]}`)},
		{"stage of two", sound(t, "tightening/stages/0/angle", `"90 deg"`)},
		{"stage of none", sound(t, "tightening/stages", `[{"all_first":true}]`)},
		{"pair without its torque", sound(t, "tightening/stages", `[{"angle":"90 deg","also":"177 lbf.ft"}]`)},
		{"measure without a limit", sound(t, "reuse", `{"rule":"measure"}`)},
		{"limit without a measure", sound(t, "reuse", `{"rule":"replace","limit":"118.5 mm"}`)},
		{"times of a replaced one", sound(t, "reuse", `{"rule":"replace","times":2}`)},
		{"day that does not exist", sound(t, "source", `{"document":"d","at":"a","entered_by":"e","read_on":"2026-02-30"}`)},
		{"option key with a hyphen", sound(t, "applies_to", `[{"vehicle":"v","where":{"rear-brake":["disc"]}}]`)},
		{"option value with capitals", sound(t, "applies_to", `[{"vehicle":"v","where":{"rear_brake":["Disc"]}}]`)},
		{"text on two lines", sound(t, "title", `"a\nb"`)},
		{"hidden turn of direction", sound(t, "title", `"a\u202eb"`)},
		{"not an object", parse(t, `["a"]`)},
		{"several", sound(t, "joint", `"clmp"`, "count", `65`, "reuse", nil, "x", `1`, "tightening/stages", `[{"torque":"1 N.m"},{"torque":2},{"angle":"90 Deg"}]`)},
	}
	var out bytes.Buffer
	for _, c := range cases {
		vs, err := schema.Validate(specdata.KindFastener, c.doc)
		if err != nil || len(vs) == 0 {
			t.Errorf("%s: %v, %d violations", c.name, err, len(vs))
		}
		fmt.Fprintf(&out, "%s\n", c.name)
		for _, v := range vs {
			fmt.Fprintf(&out, "\t%s = %q\n\t\t%s\n", v.Pointer, v.Value, v.Message)
		}
	}
	const golden = "testdata/violations.golden"
	if *update {
		if err := os.WriteFile(golden, out.Bytes(), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(out.Bytes(), want) {
		t.Errorf("what is said has changed; if it is better, run go test ./schema -run Golden -update\n%s", out.Bytes())
	}
}

// Go's maps have no order; what is said must have one.
func TestViolationsAreAlwaysTheSame(t *testing.T) {
	text := `{"kind":"procedure","x":1,"y":2,"z":3,"applies_to":[{"q":1,"r":2},{"vehicle":"V"}],"tools":[{"id":"A"},{"from":"1 N.m"}]}`
	first, err := schema.Validate(specdata.KindProcedure, parse(t, text))
	if err != nil {
		t.Fatal(err)
	}
	for range 50 {
		again, err := schema.Validate(specdata.KindProcedure, parse(t, text))
		if err != nil || fmt.Sprint(again) != fmt.Sprint(first) {
			t.Fatalf("once %v, then %v (%v)", first, again, err)
		}
	}
}

// However much is wrong, nobody reads more than a hundred.
func TestViolationsEnd(t *testing.T) {
	doc := map[string]any{"kind": "source"}
	for i := range 5000 {
		doc[fmt.Sprintf("k%d", i)] = "v"
	}
	vs, err := schema.Validate(specdata.KindSource, doc)
	if err != nil || len(vs) != schema.MaxViolations {
		t.Errorf("%d violations, %v; want %d", len(vs), err, schema.MaxViolations)
	}
}
