package document_test

import (
	"fmt"
	"strings"

	"proofload/specdata/document"
)

// A document is read once, strictly; every finding has its place and its mend.
func ExampleRead() {
	_, findings := document.Read("vehicles/fox-1.yaml", []byte("kind: vehicle\nid: fox-1\nmake: Foxglove\nmodell: Fox\n"))
	last := findings[len(findings)-1]
	fmt.Printf("%s line %d\n", last.File, last.Line)
	fmt.Println(strings.Split(last.Message, ";")[0])
	// Output:
	// vehicles/fox-1.yaml line 4
	// key "modell" is unknown here
}

// The canonical form is what is hashed and signed: RFC 8785 JSON, whatever the
// order and the spaces were.
func ExampleCanonicalize() {
	c, err := document.Canonicalize([]byte(`{ "kind": "source", "id": "a", "aged": true }`))
	fmt.Println(string(c), err)
	// Output: {"aged":true,"id":"a","kind":"source"} <nil>
}
