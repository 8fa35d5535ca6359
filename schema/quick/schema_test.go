package quick_test

import (
	"encoding/json"
	"testing"

	"github.com/gowebpki/jcs"
	"pgregory.net/rapid"

	"proofload/schema"
	"proofload/schema/schematest"
	"proofload/specdata"
)

// canonical uses an RFC 8785 library that the product does not.
func canonical(t interface{ Fatal(...any) }, doc any) []byte {
	b, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	if b, err = jcs.Transform(b); err != nil {
		t.Fatal(err)
	}
	return b
}

// The quick check may say no to anything; what it must never do is say yes where
// the validator says no. On documents made from the schemas it must say yes, or it
// would be of no use.
func TestSurelyValidAgreesWithTheValidator(t *testing.T) {
	for _, k := range specdata.Kinds {
		t.Run(string(k), func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				good := schematest.Document(t, k)
				if vs, err := schema.Validate(k, good); err != nil || len(vs) > 0 {
					t.Fatalf("made from the schema, yet invalid: %v %v", vs, err)
				}
				if b := canonical(t, good); !schema.SurelyValid(k, b) {
					t.Fatalf("valid, but not surely: %s", b)
				}
				bad := schematest.Mutate(t, good)
				vs, err := schema.Validate(k, bad)
				if err != nil {
					t.Fatal(err)
				}
				b := canonical(t, bad)
				if sure := schema.SurelyValid(k, b); sure && len(vs) > 0 {
					t.Fatalf("surely valid, but %v: %s", vs, b)
				}
			})
		})
	}
}

// A keyword that the rules do not know would turn them off and cost a lint run over a
// large library its speed, without anything failing. The schemas of the kinds are held
// above; this is the form of proofload.yaml.
func TestTheMarkerHasARule(t *testing.T) {
	if !schema.SurelyValid(schema.Library, []byte(`{"library":"our-library","title":"Our library"}`)) {
		t.Error("the schema of library uses a keyword that package quick does not know")
	}
}
