package main

import (
	"strings"
	"testing"

	"proofload/tools/lint/house"
)

// TestHouseNoteLoads: the rule that help shows is one that loads.
func TestHouseNoteLoads(t *testing.T) {
	var text strings.Builder
	for line := range strings.Lines(houseNote) {
		if indented, ok := strings.CutPrefix(line, "  "); ok {
			text.WriteString(indented)
		}
	}
	r, err := house.Parse("rules/house-second-reader.yaml", []byte(text.String()))
	if err != nil {
		t.Fatal(err)
	}
	if r.Name != "house-second-reader" {
		t.Errorf("rule is %s", r.Name)
	}
}
