package schema_test

import (
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"proofload/schema"
	"proofload/specdata"
)

// look follows the references of a schema.
func look(t testing.TB, root, s map[string]any) (inRoot, found map[string]any) {
	t.Helper()
	ref, ok := s["$ref"].(string)
	if !ok {
		return root, s
	}
	address, fragment, _ := strings.Cut(ref, "#/")
	if address != "" {
		root = raw(t, schema.Common)
	}
	var v any = root
	for _, part := range strings.Split(fragment, "/") {
		v = v.(map[string]any)[part]
	}
	m, ok := v.(map[string]any)
	if !ok {
		t.Fatalf("%s leads nowhere", ref)
	}
	return look(t, root, m)
}

func strs(v any) []string {
	var out []string
	for _, e := range v.([]any) {
		out = append(out, e.(string))
	}
	return out
}

// Every field of every struct is a property, every property a field; required is
// what a struct always writes; types fit; and what a struct leaves out when it is
// zero cannot be written as zero, so that a record has one document only.
func TestSchemasAndStructsAgree(t *testing.T) {
	for _, k := range specdata.Kinds {
		root := raw(t, k)
		agree(t, string(k), root, root, reflect.TypeOf(specdata.New(k)).Elem())
	}
}

func agree(t *testing.T, place string, root, s map[string]any, typ reflect.Type) {
	root, s = look(t, root, s)
	for typ.Kind() == reflect.Pointer {
		typ = typ.Elem()
	}
	switch {
	case typ == reflect.TypeFor[specdata.Quantity]():
		if s["type"] != "string" || s["x-dimensions"] == nil {
			t.Errorf("%s is a quantity in Go and %v in the schema", place, s)
		}
	case typ.Kind() == reflect.String:
		if s["type"] != "string" && s["enum"] == nil && s["const"] == nil {
			t.Errorf("%s is text in Go and %v in the schema", place, s)
		}
		if p, ok := s["pattern"].(string); ok && matches(p, "") && !strings.Contains(place, "/waivers/items/") {
			t.Errorf("%s may be written as empty text", place)
		}
	case typ.Kind() == reflect.Int:
		if s["type"] != "integer" || s["minimum"].(float64) < 1 {
			t.Errorf("%s is a whole number in Go and %v in the schema, or may be written as 0", place, s)
		}
	case typ.Kind() == reflect.Bool:
		if s["const"] != true {
			t.Errorf("%s may be written as false", place)
		}
	case typ.Kind() == reflect.Slice:
		if s["type"] != "array" || s["minItems"].(float64) < 1 {
			t.Errorf("%s is a list in Go and %v in the schema, or may be written as empty", place, s)
		}
		agree(t, place+"/items", root, s["items"].(map[string]any), typ.Elem())
	case typ.Kind() == reflect.Map:
		if s["type"] != "object" || s["minProperties"].(float64) < 1 {
			t.Errorf("%s is a map in Go and %v in the schema, or may be written as empty", place, s)
		}
		agree(t, place+"/additionalProperties", root, s["additionalProperties"].(map[string]any), typ.Elem())
	case typ.Kind() == reflect.Struct:
		agreeStruct(t, place, root, s, typ)
	default:
		t.Errorf("%s is a %s, which no document holds", place, typ)
	}
}

func agreeStruct(t *testing.T, place string, root, s map[string]any, typ reflect.Type) {
	properties := s["properties"].(map[string]any)
	var required []string
	seen := map[string]bool{}
	for _, f := range reflect.VisibleFields(typ) {
		if f.Anonymous {
			continue
		}
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		seen[name] = true
		if options == "" {
			required = append(required, name)
		}
		p, ok := properties[name].(map[string]any)
		if !ok {
			t.Errorf("%s has no property %q for the field %s.%s", place, name, typ.Name(), f.Name)
			continue
		}
		agree(t, place+"/"+name, root, p, f.Type)
	}
	for name := range properties {
		if !seen[name] {
			t.Errorf("%s has the property %q, which %s has no field for", place, name, typ.Name())
		}
	}
	var want []string
	if r, ok := s["required"]; ok {
		want = strs(r)
	}
	slices.Sort(required)
	slices.Sort(want)
	if !slices.Equal(required, want) {
		t.Errorf("%s requires %v, but %s always writes %v", place, want, typ.Name(), required)
	}
}

// Closed sets that Go declares as constants.
func TestEnumsAreTheConstants(t *testing.T) {
	fastener, procedure, common := raw(t, specdata.KindFastener), raw(t, specdata.KindProcedure), raw(t, schema.Common)
	at := func(m map[string]any, path ...string) []string {
		for _, p := range path {
			m = m[p].(map[string]any)
		}
		return strs(m["enum"])
	}
	for _, tt := range []struct {
		name string
		got  []string
		want []string
	}{
		{"joint kinds", at(fastener, "properties", "joint"), as(specdata.JointKinds)},
		{"surface conditions", at(fastener, "$defs", "surface", "properties", "condition"), specdata.SurfaceConditions},
		{"verbs", at(procedure, "$defs", "operation", "properties", "do"), as(specdata.Verbs)},
		{"sides", at(common, "$defs", "side"), as([]specdata.Side{specdata.SideLeft, specdata.SideRight, specdata.SideEach, specdata.SideCentre})},
		{"states", at(common, "$defs", "state"), as([]specdata.VehicleState{specdata.StateAny, specdata.StateOnGround, specdata.StateRideHeight, specdata.StateDroop, specdata.StateCold, specdata.StateLoaded})},
	} {
		if !slices.Equal(tt.got, tt.want) {
			t.Errorf("%s: the schema has %v, the constants are %v", tt.name, tt.got, tt.want)
		}
	}
	for _, k := range specdata.Kinds {
		if got := raw(t, k)["properties"].(map[string]any)["kind"].(map[string]any)["const"]; got != string(k) {
			t.Errorf("the schema of %s is for the kind %v", k, got)
		}
	}
	id := common["$defs"].(map[string]any)["id"].(map[string]any)
	if int(id["maxLength"].(float64)) != specdata.MaxID {
		t.Errorf("ids have %v characters at most, want %d", id["maxLength"], specdata.MaxID)
	}
	for _, s := range []string{"a", "a-b", "a1-2", "A", "a_b", "-a", "a-", "a--b", "", "ä", "a b", "a\n"} {
		if matches(id["pattern"].(string), s) != specdata.ValidID(s) {
			t.Errorf("the schema and ValidID disagree about the id %q", s)
		}
	}
}

// Build points of the schema are those that Go reads, apart from weeks and days
// that a certain year does not have.
func TestBuildPoints(t *testing.T) {
	pattern := raw(t, schema.Common)["$defs"].(map[string]any)["build_point"].(map[string]any)["pattern"].(string)
	for _, s := range []string{
		"2019-06-30", "2019-W26", "2020-W53", "no 1", "no 120001", "no 999999999999", "2019-13-01", "2019-W54", "2019-W00", "2019-W1", "2019", "no 0", "no 01",
		"no", "no 1000000000000", "120001", "2019-6-30", "2019-06-32", "2019-W26-1", "", "19-W26", "2019-w26",
	} {
		err := (&specdata.Built{From: s}).Check()
		if want := err == nil && s != ""; matches(pattern, s) != want {
			t.Errorf("%q: the schema allows it: %v, Go: %v", s, !want, err)
		}
	}
}

func matches(pattern, s string) bool { return regexp.MustCompile(pattern).MatchString(s) }

func as[S ~string](in []S) []string {
	out := make([]string, len(in))
	for i, s := range in {
		out[i] = string(s)
	}
	return out
}
