package desk

import (
	"encoding/json"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strconv"

	"proofload/specdata"
)

// Clash is a field that two corrections changed from one base to different values.
type Clash struct {
	// Pointer is the deepest JSON pointer that both touched.
	Pointer string
	// Base, Current and Proposed are the three values as JSON, "" where there is none.
	Base, Current, Proposed string
}

// Merge carries the changes that lead from base to proposed over to current, all
// three JSON documents. Changes to different fields go together; a field that
// both sides changed to different values is a clash, and then there is no merged
// document. Lists of the same length merge element by element; a list that grew
// or shrank counts as one field, and so does an element that both sides changed,
// unless an id says that it is still the same thing: with an operation or a stage
// moved to another place, field by field would mix two of them into a third.
func Merge(base, current, proposed []byte) (merged []byte, clashes []Clash, err error) {
	var b, c, p any
	for _, x := range []struct {
		doc []byte
		to  *any
		is  string
	}{{base, &b, "base"}, {current, &c, "current"}, {proposed, &p, "proposed"}} {
		if err := json.Unmarshal(x.doc, x.to); err != nil {
			return nil, nil, fmt.Errorf("%s document is not JSON: %w", x.is, err)
		}
	}
	out, clashes := merge("", b, c, p)
	if len(clashes) > 0 {
		return nil, clashes, nil
	}
	merged, err = json.Marshal(out)
	return merged, nil, err
}

// absent stands for a member that is not there, which JSON null is not.
type absent struct{}

func merge(at string, b, c, p any) (any, []Clash) {
	switch {
	case reflect.DeepEqual(c, p), reflect.DeepEqual(b, p):
		return c, nil
	case reflect.DeepEqual(b, c):
		return p, nil
	}
	if bo, co, po, ok := three[map[string]any](b, c, p); ok {
		return mergeObjects(at, bo, co, po)
	}
	if bl, cl, pl, ok := three[[]any](b, c, p); ok && len(bl) == len(cl) && len(bl) == len(pl) {
		out := make([]any, len(bl))
		var clashes []Clash
		for i := range bl {
			v, more := mergeElement(at+"/"+strconv.Itoa(i), bl[i], cl[i], pl[i])
			out[i] = v
			clashes = append(clashes, more...)
		}
		return out, clashes
	}
	return nil, []Clash{{Pointer: at, Base: text(b), Current: text(c), Proposed: text(p)}}
}

func mergeElement(at string, b, c, p any) (any, []Clash) {
	touched := !reflect.DeepEqual(b, c) && !reflect.DeepEqual(b, p) && !reflect.DeepEqual(c, p)
	if bo, co, po, ok := three[map[string]any](b, c, p); touched && ok {
		id, named := bo["id"].(string)
		if !named || co["id"] != id || po["id"] != id {
			return nil, []Clash{{Pointer: at, Base: text(b), Current: text(c), Proposed: text(p)}}
		}
	}
	return merge(at, b, c, p)
}

func mergeObjects(at string, b, c, p map[string]any) (any, []Clash) {
	keys := slices.Collect(maps.Keys(b))
	keys = slices.AppendSeq(keys, maps.Keys(c))
	keys = slices.AppendSeq(keys, maps.Keys(p))
	slices.Sort(keys)
	out := map[string]any{}
	var clashes []Clash
	for _, k := range slices.Compact(keys) {
		v, more := merge(at+"/"+specdata.EscapePointer(k), member(b, k), member(c, k), member(p, k))
		clashes = append(clashes, more...)
		if _, gone := v.(absent); !gone {
			out[k] = v
		}
	}
	return out, clashes
}

func member(m map[string]any, k string) any {
	if v, ok := m[k]; ok {
		return v
	}
	return absent{}
}

func three[T any](b, c, p any) (bt, ct, pt T, ok bool) {
	bt, ok1 := b.(T)
	ct, ok2 := c.(T)
	pt, ok3 := p.(T)
	return bt, ct, pt, ok1 && ok2 && ok3
}

func text(v any) string {
	if _, gone := v.(absent); gone {
		return ""
	}
	b, err := json.Marshal(v)
	if err != nil {
		return ""
	}
	return string(b)
}
