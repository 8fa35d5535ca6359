package main

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"os"
	"time"

	"golang.org/x/mod/sumdb/note"

	"proofload/server/ledger"
)

// maxCosigned bounds a cosigned checkpoint, in bytes.
const maxCosigned = 64 << 10

// words reads the checkpoints that witnesses cosigned, and the witnesses' keys.
func (v *verification) words(ctx context.Context, kept ...[]byte) ([][]byte, []*ledger.Witness, error) {
	var witnesses []*ledger.Witness
	for _, file := range v.witnesses {
		b, err := os.ReadFile(file)
		if err != nil {
			return nil, nil, pathError("witness", file, err)
		}
		w, err := ledger.ParseWitness(string(b))
		if err != nil {
			return nil, nil, usagef("flag --witness: %s: %v", file, err)
		}
		witnesses = append(witnesses, w)
	}
	notes := kept
	for _, from := range v.cosigned {
		b, err := fetchNote(ctx, from)
		if err != nil {
			return nil, nil, err
		}
		notes = append(notes, b)
	}
	for _, file := range v.checkpoints {
		if b, err := os.ReadFile(file); err == nil {
			notes = append(notes, b)
		}
	}
	return notes, witnesses, nil
}

func fetchNote(ctx context.Context, from string) ([]byte, error) {
	if !isURL(from) {
		b, err := os.ReadFile(from)
		if err != nil {
			return nil, pathError("checkpoint", from, err)
		}
		return b, nil
	}
	ctx, cancel := context.WithTimeout(ctx, 30*time.Second)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, from, nil)
	if err != nil {
		return nil, usagef("flag --cosigned: %q is no address", from)
	}
	answer, err := http.DefaultClient.Do(req)
	if err != nil {
		return nil, fmt.Errorf("witness %s does not answer: %w", from, err)
	}
	defer answer.Body.Close()
	b, err := io.ReadAll(io.LimitReader(answer.Body, maxCosigned))
	if err != nil || answer.StatusCode != http.StatusOK {
		return nil, fmt.Errorf("witness %s answers %s", from, answer.Status)
	}
	return b, nil
}

// least is how many witnesses have to vouch.
func (v *verification) least() int {
	if v.quorum == 0 {
		return len(v.witnesses)
	}
	return v.quorum
}

// witnessed proves that enough witnesses saw the history of which a server shows the
// newest checkpoint: each checkpoint that they cosigned is its beginning.
func (v *verification) witnessed(ctx context.Context, e *env, server *remote, k []note.Verifier, newest ledger.Checkpoint, signed []byte) error {
	if len(v.witnesses) == 0 {
		return nil
	}
	notes, witnesses, err := v.words(ctx, signed)
	if err != nil {
		return err
	}
	for _, b := range notes[1:] {
		seen, err := ledger.Open(b, k...)
		if err != nil {
			return refuted(e, "a witness cosigned what this library's key did not sign: %v", err)
		}
		if seen == newest {
			continue
		}
		var g *ledger.Growth
		if seen.Size < newest.Size {
			if g, err = server.growth(ctx, newest.Position, seen.Size); err != nil {
				return err
			}
			err = ledger.CheckGrowth(g.Hashes, seen, newest)
		} else {
			err = ledger.CheckGrowth(nil, seen, newest)
		}
		if err != nil {
			return refuted(e, "the server does not show what witnesses saw: %v\n%s", err, b)
		}
	}
	return v.enough(e, witnesses, notes)
}

// enough says whether enough witnesses vouch, and how many.
func (v *verification) enough(e *env, witnesses []*ledger.Witness, notes [][]byte) error {
	if err := ledger.Quorum(v.least(), witnesses, notes, e.now(), v.maxAge); err != nil {
		return refuted(e, "%v", err)
	}
	_, err := fmt.Fprintf(e.stdout, "witnessed: %d of %d witnesses vouch for it\n", v.least(), len(witnesses))
	return stdoutError(err)
}
