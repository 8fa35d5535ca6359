package desk_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"proofload/server/desk"
)

func TestMerge(t *testing.T) {
	cases := []struct {
		name, base, current, proposed, want string
		clash                               []string
	}{
		{"different fields go together", `{"a":"1","b":"1"}`, `{"a":"2","b":"1"}`, `{"a":"1","b":"2"}`, `{"a":"2","b":"2"}`, nil},
		{"the same change twice", `{"a":"1"}`, `{"a":"2"}`, `{"a":"2"}`, `{"a":"2"}`, nil},
		{"one field two ways", `{"a":"1"}`, `{"a":"2"}`, `{"a":"3"}`, "", []string{"/a"}},
		{"deep fields", `{"t":{"x":"1","y":"1"}}`, `{"t":{"x":"2","y":"1"}}`, `{"t":{"x":"1","y":"2"}}`, `{"t":{"x":"2","y":"2"}}`, nil},
		{"stages of one length merge", `{"s":[{"t":"1"},{"t":"1"}]}`, `{"s":[{"t":"2"},{"t":"1"}]}`, `{"s":[{"t":"1"},{"t":"2"}]}`, `{"s":[{"t":"2"},{"t":"2"}]}`, nil},
		{"one step, two fields", `{"s":[{"id":"a","t":"1","u":"1"}]}`, `{"s":[{"id":"a","t":"2","u":"1"}]}`, `{"s":[{"id":"a","t":"1","u":"2"}]}`, `{"s":[{"id":"a","t":"2","u":"2"}]}`, nil},
		{"steps swapped, one changed", `{"s":[{"id":"a","u":"1"},{"id":"b","u":"1"}]}`, `{"s":[{"id":"b","u":"1"},{"id":"a","u":"1"}]}`, `{"s":[{"id":"a","u":"2"},{"id":"b","u":"1"}]}`, "", []string{"/s/0"}},
		{"an operation moved up, its old place changed", `{"s":[{"do":"x","t":"1"},{"do":"y","t":"1"}]}`, `{"s":[{"do":"y","t":"1"},{"do":"z","t":"1"}]}`, `{"s":[{"do":"x","t":"1"},{"do":"y","t":"2"}]}`, "", []string{"/s/1"}},
		{"one stage, two fields", `{"s":[{"t":"1","u":"1"}]}`, `{"s":[{"t":"2","u":"1"}]}`, `{"s":[{"t":"1","u":"2"}]}`, "", []string{"/s/0"}},
		{"a stage added beside a stage changed", `{"s":["1"]}`, `{"s":["2"]}`, `{"s":["1","9"]}`, "", []string{"/s"}},
		{"removed here, changed there", `{"a":"1"}`, `{}`, `{"a":"2"}`, "", []string{"/a"}},
		{"removed here, untouched there", `{"a":"1","b":"1"}`, `{"b":"1"}`, `{"a":"1","b":"2"}`, `{"b":"2"}`, nil},
		{"added on both sides alike", `{}`, `{"a":"1"}`, `{"a":"1"}`, `{"a":"1"}`, nil},
		{"added on both sides differently", `{}`, `{"a":"1"}`, `{"a":"2"}`, "", []string{"/a"}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			got, clashes, err := desk.Merge([]byte(c.base), []byte(c.current), []byte(c.proposed))
			if err != nil {
				t.Fatal(err)
			}
			var at []string
			for _, x := range clashes {
				at = append(at, x.Pointer)
			}
			if string(got) != c.want || !slices.Equal(at, c.clash) {
				t.Errorf("merged %s, clashes %v; want %s, %v", got, at, c.want, c.clash)
			}
		})
	}
}

func randomDoc(t *rapid.T, label string) map[string]any {
	doc := map[string]any{}
	for _, k := range []string{"a", "b", "c"} {
		switch rapid.IntRange(0, 3).Draw(t, label+k) {
		case 0:
		case 1:
			doc[k] = rapid.SampledFrom([]string{"1", "2"}).Draw(t, label+k+"v")
		case 2:
			doc[k] = map[string]any{"x": rapid.SampledFrom([]string{"1", "2"}).Draw(t, label+k+"x")}
		case 3:
			doc[k] = []any{"1", rapid.SampledFrom([]string{"1", "2"}).Draw(t, label+k+"l")}
		}
	}
	return doc
}

// Laws of a three-way merge: one side unchanged gives the other, both alike give
// that, and which side is which does not matter.
func TestMergeLaws(t *testing.T) {
	enc := func(v any) []byte {
		b, err := json.Marshal(v)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	same := func(a, b []byte) bool {
		var x, y any
		return json.Unmarshal(a, &x) == nil && json.Unmarshal(b, &y) == nil && reflect.DeepEqual(x, y)
	}
	rapid.Check(t, func(t *rapid.T) {
		b, c, p := enc(randomDoc(t, "b")), enc(randomDoc(t, "c")), enc(randomDoc(t, "p"))
		must := func(base, current, proposed, want []byte) {
			got, clashes, err := desk.Merge(base, current, proposed)
			if err != nil || len(clashes) > 0 || !same(got, want) {
				t.Fatalf("merge of %s, %s, %s gave %s, %v, %v; want %s", base, current, proposed, got, clashes, err, want)
			}
		}
		must(b, b, p, p)
		must(b, c, b, c)
		must(b, p, p, p)
		one, clash1, _ := desk.Merge(b, c, p)
		two, clash2, _ := desk.Merge(b, p, c)
		if len(clash1) != len(clash2) || len(clash1) == 0 && !same(one, two) {
			t.Fatalf("merge depends on the side: %s %v, %s %v", one, clash1, two, clash2)
		}
	})
}

func TestPatchRefusals(t *testing.T) {
	doc := []byte(`{"m":{"a":"` + strings.Repeat("x", 1000) + `"},"b":"1","l":["1","2"]}`)
	var doubling []string
	for i := range 40 { // each copies a member into itself, so the document doubles
		doubling = append(doubling, fmt.Sprintf(`{"op":"copy","from":"/m","path":"/m/c%d"}`, i))
	}
	bomb := `[` + strings.Join(doubling, ",") + `]`
	cases := []struct {
		name  string
		apply func([]byte, []byte) ([]byte, error)
		patch string
	}{
		{"merge patch that is a list", desk.MergePatch, `[]`},
		{"merge patch that is not JSON", desk.MergePatch, `{`},
		{"operations that are no list", desk.JSONPatch, `{"op":"remove"}`},
		{"test that fails", desk.JSONPatch, `[{"op":"test","path":"/b","value":"2"}]`},
		{"removal of what is not there", desk.JSONPatch, `[{"op":"remove","path":"/nope"}]`},
		{"negative index", desk.JSONPatch, `[{"op":"replace","path":"/l/-1","value":"x"}]`},
		{"negative index of an addition", desk.JSONPatch, `[{"op":"add","path":"/l/-1","value":"x"}]`},
		{"two zeros", desk.JSONPatch, `[{"op":"replace","path":"/l/00","value":"x"}]`},
		{"leading zero", desk.JSONPatch, `[{"op":"replace","path":"/l/01","value":"x"}]`},
		{"signed index", desk.JSONPatch, `[{"op":"replace","path":"/l/+1","value":"x"}]`},
		{"leading zero to copy from", desk.JSONPatch, `[{"op":"copy","from":"/l/01","path":"/c"}]`},
		{"test without a value", desk.JSONPatch, `[{"op":"test","path":"/b"}]`},
		{"addition without a value", desk.JSONPatch, `[{"op":"add","path":"/c"}]`},
		{"no path", desk.JSONPatch, `[{"op":"remove"}]`},
		{"no from", desk.JSONPatch, `[{"op":"move","path":"/c"}]`},
		{"pointer without its slash", desk.JSONPatch, `[{"op":"remove","path":"b"}]`},
		{"tilde of another form", desk.JSONPatch, `[{"op":"add","path":"/~2","value":"x"}]`},
		{"index beyond the end", desk.JSONPatch, `[{"op":"add","path":"/l/4","value":"x"}]`},
		{"copy bomb", desk.JSONPatch, bomb},
		{"too many operations", desk.JSONPatch, `[` + strings.Repeat(`{"op":"test","path":"/b","value":"1"},`, 1000) + `{"op":"test","path":"/b","value":"1"}]`},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			if out, err := c.apply(doc, []byte(c.patch)); !errors.Is(err, desk.ErrPatch) {
				t.Errorf("gave %.60s, %v; want ErrPatch", out, err)
			}
		})
	}
}
