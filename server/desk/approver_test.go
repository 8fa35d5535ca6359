package desk

import "testing"

// The last fence before a publication names its reviewer: an approval of other content
// is none, nor is one by an author, under whatever spelling.
func TestApprover(t *testing.T) {
	approval := func(by, content string) Decision { return Decision{By: by, Approved: true, Content: content} }
	for _, x := range []struct {
		what      string
		decisions []Decision
		want      string
	}{
		{"nobody", nil, ""},
		{"another person", []Decision{approval("Piet Oram", "seen")}, "Piet Oram"},
		{"the last of several", []Decision{approval("Piet Oram", "seen"), approval("Una Birk", "seen")}, "Una Birk"},
		{"other content", []Decision{approval("Piet Oram", "old")}, ""},
		{"a rejection", []Decision{{By: "Piet Oram", Content: "seen"}}, ""},
		{"an author", []Decision{approval("Anna Lind", "seen")}, ""},
		{"an author who looks alike", []Decision{approval("\u0410nna Lind", "seen")}, ""},
		{"an author behind another person", []Decision{approval("Piet Oram", "seen"), approval("ANNA LIND", "seen")}, "Piet Oram"},
	} {
		c := &Correction{Content: "seen", Authors: []string{"Anna Lind"}, Decisions: x.decisions}
		if got, ok := c.approver(); got != x.want || ok != (x.want != "") {
			t.Errorf("%s: approved by %q, %t, want %q", x.what, got, ok, x.want)
		}
	}
}
