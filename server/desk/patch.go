package desk

import (
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"strings"

	jsonpatch "github.com/evanphx/json-patch/v5"

	"proofload/specdata/document"
)

// Limits on a patch, so that a small request cannot make a large document.
const (
	maxOperations = 1000
	maxDocument   = document.MaxBytes
)

// ErrPatch is the error of a patch that cannot be applied: malformed, of an
// unknown form, failing a test operation, or growing past the limits.
var ErrPatch = errors.New("patch cannot be applied")

// PatchError is an ErrPatch that an operation of a JSON Patch brought about.
type PatchError struct {
	// Index is the operation, counted from 0; Op what it is and Pointer its path.
	Index       int
	Op, Pointer string
	// Why says what went wrong.
	Why string
}

// Error implements error.
func (e *PatchError) Error() string {
	return fmt.Sprintf("%v: operation %d (%s %s): %s", ErrPatch, e.Index, e.Op, e.Pointer, e.Why)
}

// Is makes a PatchError an ErrPatch.
func (e *PatchError) Is(target error) bool { return target == ErrPatch }

// MergePatch applies an RFC 7396 merge patch to a JSON document.
func MergePatch(doc, patch []byte) ([]byte, error) {
	// Strict reading comes first: a key that occurs twice would be read either way.
	patch, err := document.Canonicalize(patch)
	if err != nil {
		return nil, fmt.Errorf("%w: merge patch: %v", ErrPatch, err)
	}
	var probe map[string]json.RawMessage
	if err := json.Unmarshal(patch, &probe); err != nil {
		return nil, fmt.Errorf("%w: merge patch is not a JSON object; write only the members that change, null for those that go", ErrPatch)
	}
	out, err := jsonpatch.MergePatch(doc, patch)
	if err != nil {
		return nil, fmt.Errorf("%w: %v", ErrPatch, err)
	}
	return checkSize(out)
}

// JSONPatch applies an RFC 6902 patch to a JSON document. An operation that cannot
// be done, such as a test that fails, is a *PatchError.
func JSONPatch(doc, patch []byte) ([]byte, error) {
	patch, err := document.Canonicalize(patch)
	if err != nil {
		return nil, fmt.Errorf("%w: JSON patch: %v", ErrPatch, err)
	}
	p, err := jsonpatch.DecodePatch(patch)
	if err != nil {
		return nil, fmt.Errorf("%w: JSON patch is not a list of operations (%v)", ErrPatch, err)
	}
	if len(p) > maxOperations {
		return nil, fmt.Errorf("%w: JSON patch has %d operations; allowed: %d", ErrPatch, len(p), maxOperations)
	}
	if err := exact(p); err != nil {
		return nil, err
	}
	out, err := apply(doc, p)
	if err != nil {
		return nil, blame(doc, p)
	}
	return checkSize(out)
}

func apply(doc []byte, p jsonpatch.Patch) ([]byte, error) {
	o := jsonpatch.NewApplyOptions()
	o.AccumulatedCopySizeLimit = maxDocument // the library's own default is no limit
	o.AllowMissingPathOnRemove = false
	o.SupportNegativeIndices = false // RFC 6901 counts from 0 and from the front
	o.EscapeHTML = false
	return p.ApplyWithOptions(doc, o)
}

// badIndex is what the library takes for the place of a list element and RFC 6901,
// section 4, does not: a sign, leading zeros.
var badIndex = regexp.MustCompile(`^(?:[-+][0-9]+|0[0-9]+)$`)

// exact refuses operations that the library reads more kindly than the standards do:
// pointers of another form (RFC 6901, section 3), a member missing (RFC 6902, section 4).
func exact(p jsonpatch.Patch) error {
	for i, op := range p {
		refuse := func(pointer, why string) error {
			return &PatchError{Index: i, Op: op.Kind(), Pointer: pointer, Why: why}
		}
		members := []string{"path"}
		switch op.Kind() {
		case "add", "replace", "test":
			if _, there := op["value"]; !there {
				return refuse("", "it needs a value; write null where none is meant")
			}
		case "move", "copy":
			members = append(members, "from")
		}
		for _, m := range members {
			var pointer string
			if op[m] == nil || json.Unmarshal(*op[m], &pointer) != nil {
				return refuse("", "it needs "+m+", a JSON pointer like /tightening/stages/0/torque")
			}
			if pointer != "" && pointer[0] != '/' {
				return refuse(pointer, m+" is no JSON pointer; one begins with /")
			}
			if badEscape.MatchString(pointer) {
				return refuse(pointer, m+" holds a ~ that is neither ~0 nor ~1; write ~0 for a ~ itself")
			}
			for token := range strings.SplitSeq(pointer, "/") {
				if badIndex.MatchString(token) {
					return refuse(pointer, "list elements are counted from 0 without signs and leading zeros, - is behind the last; "+token+" is no place")
				}
			}
		}
	}
	return nil
}

var badEscape = regexp.MustCompile(`~(?:[^01]|$)`)

// blame finds the first operation that a failing patch fails at, which the library
// does not tell: the shortest beginning of the patch that fails, by halving.
func blame(doc []byte, p jsonpatch.Patch) error {
	good, bad := 0, len(p)
	var why error
	for bad-good > 1 {
		half := (good + bad) / 2
		if _, err := apply(doc, p[:half]); err != nil {
			bad = half
		} else {
			good = half
		}
	}
	_, why = apply(doc, p[:bad])
	op := p[bad-1]
	path, err := op.Path()
	if err != nil {
		path = ""
	}
	e := &PatchError{Index: bad - 1, Op: op.Kind(), Pointer: path, Why: why.Error()}
	var large *jsonpatch.AccumulatedCopySizeError
	switch {
	case errors.As(why, &large):
		e.Why = fmt.Sprintf("copies come to more than %d bytes in all; write out what is meant", maxDocument)
	case op.Kind() == "test":
		e.Why = "the value there is another than the patch expects; read the record again and redo the patch"
	case errors.Is(why, jsonpatch.ErrMissing):
		e.Why = "there is nothing at that place; check the pointer against the document"
	}
	return e
}

func checkSize(doc []byte) ([]byte, error) {
	if len(doc) > maxDocument {
		return nil, fmt.Errorf("%w: the patched document has %d bytes; allowed: %d", ErrPatch, len(doc), maxDocument)
	}
	return doc, nil
}
