// Package act has acts: what a person with authority did, as the log holds it. Giving
// a token, approving a correction, naming a release and accepting a finding are acts.
// Each is a leaf of the ledger, proved as a revision is; so nobody, the operator of the
// server included, does one of them without a trace.
package act

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"

	"proofload/specdata"
	"proofload/specdata/document"
)

// What says what was done.
type What string

// The acts.
const (
	TokenGiven   What = "token-given"
	TokenAsked   What = "token-asked" // by one administrator where two are needed
	TokenRevoked What = "token-revoked"
	Approved     What = "correction-approved"
	Rejected     What = "correction-rejected"
	Withdrawn    What = "correction-withdrawn"
	Signed       What = "correction-signed"
	Released     What = "release-named"
	WaiverGiven  What = "waiver-given"
	WaiverEnded  What = "waiver-ended"
	KeyChanged   What = "key-changed"
)

// AtStart is who gives out the first tokens of a new store.
const AtStart = "the server at its start"

// All lists the acts.
var All = []What{TokenGiven, TokenAsked, TokenRevoked, Approved, Rejected, Withdrawn, Signed, Released, WaiverGiven, WaiverEnded, KeyChanged}

// Act is one thing that was done. When it was done is in its leaf.
type Act struct {
	What What `json:"act"`
	// About is the resource it was done to: "tokens/0f3c9a51d2be", "corrections/…".
	About string `json:"about"`
	// By is the person who did it, or AtStart; "" is somebody at the console of the server.
	By string `json:"by"`
	// Details are what else is to be known, by name.
	Details map[string]string `json:"details,omitempty"`
	// ID is the name's; no two acts of a log have the same.
	ID string `json:"id"`
	// Second is the other administrator, where two were needed.
	Second string `json:"second,omitempty"`
	// Title is the act in a line.
	Title string `json:"title"`
	// Token is the id of the token that By used.
	Token string `json:"token,omitempty"`
}

// Name returns the act's name in the log.
func (a *Act) Name() specdata.Name { return specdata.Name(specdata.Acts + "/" + a.ID) }

// Document returns the act's canonical JSON (RFC 8785). The error says what is not in
// order about it.
func (a *Act) Document() ([]byte, error) {
	if err := a.valid(); err != nil {
		return nil, err
	}
	b, err := json.Marshal(a)
	if err != nil {
		return nil, err
	}
	return document.Canonicalize(b)
}

// Parse reads the canonical document of an act. The error says why it is not the named one.
func Parse(name specdata.Name, text []byte) (*Act, error) {
	var a Act
	dec := json.NewDecoder(bytes.NewReader(text))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&a); err != nil {
		return nil, fmt.Errorf("act is not JSON of the known form: %w", err)
	}
	canonical, err := a.Document()
	if err != nil {
		return nil, err
	}
	if !bytes.Equal(canonical, text) {
		return nil, fmt.Errorf("act %s is not in canonical form", a.ID)
	}
	if a.Name() != name {
		return nil, fmt.Errorf("act is %s, not %s", a.Name(), name)
	}
	return &a, nil
}

func (a *Act) valid() error {
	switch {
	case !specdata.ValidID(a.ID):
		return fmt.Errorf("act id %q is not lower-case words joined by hyphens, at most %d characters", specdata.Shorten(a.ID), specdata.MaxID)
	case !slices.Contains(All, a.What):
		return fmt.Errorf("act %s is %q; allowed: %v", a.ID, specdata.Shorten(string(a.What)), All)
	case a.About == "" || a.Title == "":
		return fmt.Errorf("act %s does not say what it is about, or has no title", a.ID)
	}
	return nil
}
