package desk

import (
	"encoding/json"
	"errors"
	"fmt"

	jsonpatch "github.com/evanphx/json-patch/v5"
)

// Limits on a patch, so that a small request cannot make a large document.
const (
	maxOperations = 1000
	maxDocument   = 1 << 20
)

// ErrPatch is the error of a patch that cannot be applied: malformed, of an
// unknown form, failing a test operation, or growing past the limits.
var ErrPatch = errors.New("patch cannot be applied")

// MergePatch applies an RFC 7396 merge patch to a JSON document.
func MergePatch(doc, patch []byte) ([]byte, error) {
	var probe map[string]json.RawMessage
	if err := json.Unmarshal(patch, &probe); err != nil {
		return nil, fmt.Errorf("%w: merge patch is not a JSON object (%v)", ErrPatch, err)
	}
	out, err := jsonpatch.MergePatch(doc, patch)
	if err != nil {
		return nil, fmt.Errorf("%w: %v", ErrPatch, err)
	}
	return checkSize(out)
}

// JSONPatch applies an RFC 6902 patch to a JSON document. A failing test
// operation is ErrPatch too, with the pointer it failed at.
func JSONPatch(doc, patch []byte) ([]byte, error) {
	p, err := jsonpatch.DecodePatch(patch)
	if err != nil {
		return nil, fmt.Errorf("%w: JSON patch is not a list of operations (%v)", ErrPatch, err)
	}
	if len(p) > maxOperations {
		return nil, fmt.Errorf("%w: JSON patch has %d operations; allowed: %d", ErrPatch, len(p), maxOperations)
	}
	o := jsonpatch.NewApplyOptions()
	o.AccumulatedCopySizeLimit = maxDocument // the library's own default is no limit
	o.AllowMissingPathOnRemove = false
	o.EscapeHTML = false
	out, err := p.ApplyWithOptions(doc, o)
	if err != nil {
		return nil, fmt.Errorf("%w: %v", ErrPatch, err)
	}
	return checkSize(out)
}

func checkSize(doc []byte) ([]byte, error) {
	if len(doc) > maxDocument {
		return nil, fmt.Errorf("%w: the patched document has %d bytes; allowed: %d", ErrPatch, len(doc), maxDocument)
	}
	return doc, nil
}
