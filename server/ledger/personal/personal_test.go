package personal_test

import (
	"strings"
	"testing"

	"proofload/server/ledger/personal"
)

// What one person signs is not taken for another's word, content, role or library.
func TestOwnWord(t *testing.T) {
	private, public, err := personal.NewKey("Maud Ibbot")
	if err != nil {
		t.Fatal(err)
	}
	_, other, err := personal.NewKey("Maud Ibbot") // of the same name, made by somebody else
	if err != nil {
		t.Fatal(err)
	}
	content := personal.Content{Drafts: []personal.Part{{Name: "fasteners/x", Hash: strings.Repeat("ab", 32)}}, Reason: "typed 24 for 240", Evidence: []string{"sheet 3"}}
	hash, err := content.Hash()
	if err != nil {
		t.Fatal(err)
	}
	s := personal.Statement{Library: "workshop.example/torque", Content: hash, Role: personal.Author, Person: "Maud Ibbot"}
	signed, err := personal.Sign(s, private)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := personal.Open(signed, public); err != nil || got != s {
		t.Errorf("opened: %v, %v", got, err)
	}
	if got, names, err := personal.Read(signed); err != nil || got != s || len(names) != 1 || names[0] != "Maud.Ibbot" {
		t.Errorf("read: %v, %v, %v", got, names, err)
	}
	if _, err := personal.Open(signed, other); err == nil {
		t.Error("another key of the same name is taken for hers")
	}
	for _, forged := range []string{
		strings.Replace(signed, hash, strings.Repeat("0", 64), 1),
		strings.Replace(signed, "as author", "as reviewer", 1),
		strings.Replace(signed, "workshop.example", "elsewhere.example", 1),
		strings.Replace(signed, "person Maud Ibbot", "person Piet Oram", 1),
		strings.Replace(signed, "\n\n", "\nextra\n\n", 1),
		signed[:len(signed)-6] + "AAA=\n", "", "x",
	} {
		if _, err := personal.Open(forged, public); err == nil {
			t.Errorf("%q is taken for signed", forged)
		}
	}
	s.Person = "Piet Oram"
	if _, err := personal.Sign(s, private); err == nil {
		t.Error("one person's key signs as another")
	}
	b, err := content.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	if got, err := personal.ParseContent(b); err != nil || got.Reason != content.Reason {
		t.Errorf("content read back: %v, %v", got, err)
	}
	if _, err := personal.ParseContent(append([]byte(" "), b...)); err == nil {
		t.Error("another spelling of a content is taken")
	}
	for _, name := range []string{"", "a+b", "Maud\u200bIbbot"} {
		if _, _, err := personal.NewKey(name); err == nil {
			t.Errorf("key for %q", name)
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add("proofload correction\nlibrary l\ncontent c\nas author\nperson p\n\n— p AAAAAAAA\n")
	f.Fuzz(func(t *testing.T, text string) {
		if s, _, err := personal.Read(text); err == nil && !strings.HasPrefix(text, s.Text()) {
			t.Errorf("%q is read as %q", text, s.Text())
		}
	})
}
