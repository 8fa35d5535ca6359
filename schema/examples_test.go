package schema

import (
	"encoding/json"
	"maps"
	"slices"
	"strings"
	"testing"

	"proofload/specdata"
)

// Every text that a record may hold shows an example of its own, which is of its form:
// a make is not explained with a nut.
func TestEveryTextHasAnExampleThatFits(t *testing.T) {
	s, err := compiled()
	if err != nil {
		t.Fatal(err)
	}
	// What is alike wherever it is explains itself with one example for all.
	shared := map[string]bool{"build_point": true, "option": true, "fit": true}
	texts := 0
	for _, k := range append([]specdata.Kind{Common, Library}, specdata.Kinds...) {
		var walk func(v any, place string)
		walk = func(v any, place string) {
			m := object(v)
			for _, e := range list(v) {
				walk(e, place)
			}
			properties := object(m["properties"])
			for _, key := range slices.Sorted(maps.Keys(properties)) {
				p := object(properties[key])
				target := s.resolve(ID(k), p)
				if target["type"] != "string" || target["enum"] != nil || target["const"] != nil {
					continue
				}
				texts++
				own := p["examples"]
				if own == nil && (p["$ref"] == nil || target["x-dimensions"] != nil || shared[lastOf(p["$ref"])]) {
					own = target["examples"]
				}
				if own == nil && p["$ref"] != nil && len(words(target["examples"])) > 0 && target["description"] == s.resolve(ID(k), map[string]any{"$ref": p["$ref"]})["description"] {
					own = target["examples"]
				}
				if len(list(own)) == 0 {
					t.Errorf("%s %s/%s: no example of its own", k, place, key)
				}
				for _, e := range list(own) {
					text, ok := e.(string)
					most, bounded := target["maxLength"].(float64)
					if !ok || !fits(target, text) || bounded && float64(len([]rune(text))) > most {
						b, _ := json.Marshal(e)
						t.Errorf("%s %s/%s: example %s is not of its form", k, place, key, b)
					}
					if units := unitsOf(target); units != nil {
						if q, err := specdata.ParseQuantity(text); err != nil || !slices.Contains(units, q.Unit().Symbol) {
							t.Errorf("%s %s/%s: example %q is no quantity of its dimension", k, place, key, text)
						}
					}
				}
			}
			for _, key := range slices.Sorted(maps.Keys(m)) {
				walk(m[key], place+"/"+key)
			}
		}
		walk(s.raw[ID(k)], "")
	}
	if texts < 80 {
		t.Errorf("only %d texts were found in the schemas", texts)
	}
}

func lastOf(ref any) string {
	s := show(ref)
	return s[strings.LastIndexByte(s, '/')+1:]
}
