package schema

import (
	"github.com/santhosh-tekuri/jsonschema/v5"

	"proofload/schema/quick"
	"proofload/specdata"
)

// SurelyValid reports whether the bytes are surely the RFC 8785 form of a document
// that is valid for its kind. False says nothing: ask Validate.
func SurelyValid(k specdata.Kind, canonical []byte) bool {
	c, err := compiled()
	return err == nil && c.quick[k].Surely(canonical)
}

// rules holds the quick rule of each kind.
type rules map[specdata.Kind]*quick.Rule

func (r rules) add(k specdata.Kind, s *jsonschema.Schema) { r[k] = quick.New(s) }
