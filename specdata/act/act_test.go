package act_test

import (
	"strings"
	"testing"

	"proofload/specdata/act"
)

func TestDocument(t *testing.T) {
	a := &act.Act{What: act.TokenGiven, About: "tokens/0f3c9a51d2be", By: "Runa Estby", ID: "token-0f3c9a51d2be-given", Title: "token given to Maud <Ibbot>", Details: map[string]string{"roles": "editor", "person": "Maud <Ibbot>"}}
	doc, err := a.Document()
	if err != nil {
		t.Fatal(err)
	}
	// RFC 8785: members sorted, nothing escaped that need not be.
	want := `{"about":"tokens/0f3c9a51d2be","act":"token-given","by":"Runa Estby","details":{"person":"Maud <Ibbot>","roles":"editor"},"id":"token-0f3c9a51d2be-given","title":"token given to Maud <Ibbot>"}`
	if string(doc) != want {
		t.Errorf("document is\n%s\nwant\n%s", doc, want)
	}
	got, err := act.Parse(a.Name(), doc)
	if err != nil || got.By != a.By || got.Details["roles"] != "editor" {
		t.Errorf("read back: %+v, %v", got, err)
	}
	for what, text := range map[string]string{
		"another name":     strings.Replace(want, "token-0f3c9a51d2be-given", "token-0f3c9a51d2be-giver", 1),
		"another order":    `{"act":"token-given","about":"x","by":"","id":"token-0f3c9a51d2be-given","title":"t"}`,
		"an unknown act":   `{"about":"x","act":"token-eaten","by":"","id":"token-0f3c9a51d2be-given","title":"t"}`,
		"an unknown field": `{"about":"x","act":"token-given","by":"","colour":"red","id":"token-0f3c9a51d2be-given","title":"t"}`,
		"no title":         `{"about":"x","act":"token-given","by":"","id":"token-0f3c9a51d2be-given","title":""}`,
		"no JSON":          `{`,
	} {
		if _, err := act.Parse(a.Name(), []byte(text)); err == nil {
			t.Errorf("%s is read", what)
		}
	}
}
