package specdata

import (
	"bytes"
	"encoding/json"
	"slices"
)

// WaiversGiven returns the waivers of a document that are new or other than those of the
// document before, which is nil where there was none. Documents that cannot be read have none.
func WaiversGiven(before, after []byte) []Waiver {
	old := waiversOf(before)
	return slices.DeleteFunc(waiversOf(after), func(w Waiver) bool { return slices.Contains(old, w) })
}

func waiversOf(document []byte) []Waiver {
	var head struct{ Waivers []Waiver }
	if !bytes.Contains(document, []byte("waivers")) || json.Unmarshal(document, &head) != nil {
		return nil
	}
	return head.Waivers
}
