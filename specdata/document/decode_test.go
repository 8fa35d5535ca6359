package document

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"proofload/schema/schematest"
	"proofload/specdata"
)

// The plan reads every field of every kind; if it gave up, decoding would still be
// right and five times as slow, with nothing failing.
func TestPlanReadsEverything(t *testing.T) {
	for _, k := range specdata.Kinds {
		rapid.Check(t, func(t *rapid.T) {
			text, err := json.Marshal(schematest.Document(t, k))
			if err != nil {
				t.Fatal(err)
			}
			canonical, err := Canonicalize(text)
			if err != nil {
				t.Fatal(err)
			}
			rec, plain := specdata.New(k), specdata.New(k)
			d := decoder{text: string(canonical)}
			end, err := planOf(reflect.TypeOf(rec).Elem()).read(&d, 0, reflect.ValueOf(rec).Elem())
			if err != nil || end != len(canonical) {
				t.Fatalf("%v at %d\n%s", err, end, canonical)
			}
			if err := json.Unmarshal(canonical, plain); err != nil || !reflect.DeepEqual(rec, plain) {
				t.Fatalf("%v\n%#v\n%#v", err, rec, plain)
			}
		})
	}
}

// What the plan is not for is decoded all the same, or refused in words.
func TestDecodeFallsBack(t *testing.T) {
	for text, want := range map[string]string{
		`{"title":"T","kind":"source","id":"a"}`: "",
		` {"id":"a"} `:                           "",
		`{"id":"a","supersedes":[]}`:             "",
		`{"id":null}`:                            "",
		`{"id":"a","x":1}`:                       "unknown field",
		`{"id":1}`:                               "cannot unmarshal number",
		`{"supersedes":["a" "b"]}`:               "invalid character",
		`{"id":"a"`:                              "unexpected EOF",
		`{"id":"a\`:                              "unexpected EOF",
		`[]`:                                     "cannot unmarshal array",
		``:                                       "EOF",
		`{"source":{"document":"d"}}`:            "unknown field",
		`{"concerns":["a"],"date":"2020-01-01","x"`: "EOF",
	} {
		rec, err := decode(specdata.KindSource, []byte(text))
		if want != "" {
			if err == nil || !strings.Contains(err.Error(), want) {
				t.Errorf("%s gives %v, error %v; want %q", text, rec, err, want)
			}
			continue
		}
		plain := specdata.New(specdata.KindSource)
		if e := json.Unmarshal([]byte(text), plain); err != nil || e != nil || !reflect.DeepEqual(rec, plain) {
			t.Errorf("%s gives %+v (%v), want %+v", text, rec, err, plain)
		}
	}
}

// Decode returns what encoding/json gives, whatever is there.
func TestDecodeIsEncodingJSON(t *testing.T) {
	for _, text := range []string{
		`{"id":"a","kind":"source","title":"T"}`, `{"kind":"source","id":"a"}`, `{"id":"a","new":[1]}`, `{"id":"a"} {}`, `{"id":"a"}x`,
		`{"id":"a`, `{"id":"\ud800"}`, `{"id":"\x"}`, `{"id":1}`, `{"supersedes":["a",]}`, `null`, `[]`, `{}`, ``,
	} {
		got, err := Decode(specdata.KindSource, []byte(text))
		want := specdata.New(specdata.KindSource)
		if e := json.Unmarshal([]byte(text), want); (err == nil) != (e == nil) || e == nil && !reflect.DeepEqual(got, want) {
			t.Errorf("%s gives %+v (%v), encoding/json %+v (%v)", text, got, err, want, e)
		}
	}
	if _, err := Decode("nut", []byte(`{}`)); err == nil {
		t.Error("a kind that does not exist is decoded")
	}
}
