package ledger

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// Proof shows that a revision is in the tree that a signed checkpoint names. Its
// JSON is that of the service's answer, so that a saved answer is a proof file.
type Proof struct {
	// Name is the resource name, "<collection>/<id>/revisions/<n>/proof".
	Name string `json:"name"`
	// Leaf is the leaf's bytes, which begin what is hashed.
	Leaf   []byte      `json:"leaf"`
	Index  int64       `json:"leaf_index,string"`
	Hashes []tlog.Hash `json:"hashes"`
	// Checkpoint is the signed note.
	Checkpoint string `json:"checkpoint"`
	// Growth, where it was asked for, proves the growth from an older tree to this one.
	Growth *Growth `json:"growth,omitempty"`
	// SignedContent and Signatures are what people signed (package personal); they are in
	// no tree and need their keys.
	SignedContent []byte   `json:"signed_content,omitempty"`
	Signatures    []string `json:"signatures,omitempty"`
}

// Growth shows that the tree of From leaves is the beginning of a checkpoint's tree.
type Growth struct {
	// Name is the resource name, "checkpoints/<position>/growth"; empty inside a Proof.
	Name   string      `json:"name,omitempty"`
	From   int64       `json:"from_size,string"`
	Hashes []tlog.Hash `json:"hashes"`
	// Checkpoint is the signed note of the newer tree; empty inside a Proof.
	Checkpoint string `json:"checkpoint,omitempty"`
}

// maxHashes is far more than any tree of 2^63 leaves needs.
const maxHashes = 128

// ParseProof reads a proof file. It proves nothing before Check.
func ParseProof(data []byte) (*Proof, error) {
	var p Proof
	if err := parse("proof", data, &p); err != nil {
		return nil, err
	}
	switch {
	case len(p.Leaf) == 0 || p.Checkpoint == "":
		return nil, errors.New("proof holds no leaf or no checkpoint; save the whole answer of .../proof")
	case len(p.Hashes) > maxHashes || p.Growth != nil && len(p.Growth.Hashes) > maxHashes:
		return nil, fmt.Errorf("proof holds more than %d hashes; no tree needs so many", maxHashes)
	}
	return &p, nil
}

// ParseGrowth reads a saved answer of .../growth. It proves nothing before Check.
func ParseGrowth(data []byte) (*Growth, error) {
	var g Growth
	if err := parse("growth proof", data, &g); err != nil {
		return nil, err
	}
	switch {
	case g.Checkpoint == "":
		return nil, errors.New("growth proof holds no checkpoint; save the whole answer of .../growth")
	case len(g.Hashes) > maxHashes:
		return nil, fmt.Errorf("growth proof holds more than %d hashes; no tree needs so many", maxHashes)
	}
	return &g, nil
}

func parse(what string, data []byte, into any) error {
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(into); err != nil {
		return fmt.Errorf("%s is not JSON of the known form: %w", what, err)
	}
	if _, err := dec.Token(); err != io.EOF {
		return fmt.Errorf("%s goes on behind its end; save one answer a file", what)
	}
	return nil
}

// Check verifies the checkpoint's signature and that the leaf is in its tree, and
// gives both. What else is to be true of the leaf is the caller's to compare.
func (p *Proof) Check(known ...note.Verifier) (Leaf, Checkpoint, error) {
	c, err := Open([]byte(p.Checkpoint), known...)
	if err != nil {
		return Leaf{}, Checkpoint{}, err
	}
	l, err := ParseLeaf(p.Leaf)
	if err != nil {
		return Leaf{}, Checkpoint{}, err
	}
	if err := CheckLeaf(p.Hashes, c, p.Index, l); err != nil {
		return Leaf{}, Checkpoint{}, err
	}
	if l.Position > c.Position {
		return Leaf{}, Checkpoint{}, fmt.Errorf("%s revision %d is of position %d, behind the checkpoint's %d: the signer contradicts itself", l.Name, l.Revision, l.Position, c.Position)
	}
	return l, c, nil
}

// Check verifies the checkpoint's signature and that its tree grew from an older
// checkpoint's, and returns the newer checkpoint.
func (g *Growth) Check(older Checkpoint, known ...note.Verifier) (Checkpoint, error) {
	c, err := Open([]byte(g.Checkpoint), known...)
	if err != nil {
		return Checkpoint{}, err
	}
	return c, CheckGrowth(g.Hashes, older, c)
}
