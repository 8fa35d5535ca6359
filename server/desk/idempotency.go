package desk

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"proofload/server/ask"
	"proofload/server/fault"
	"proofload/server/store"
)

// request is what makes one request another than the next.
type request struct {
	Do       string   `json:"do"`
	ID       string   `json:"id,omitempty"`
	Version  int64    `json:"version,omitempty"`
	Content  string   `json:"content,omitempty"`
	Comment  string   `json:"comment,omitempty"`
	Changes  []Change `json:"changes,omitempty"`
	Reason   string   `json:"reason,omitempty"`
	Evidence []string `json:"evidence,omitempty"`
}

func (r request) hash() (string, error) {
	b, err := json.Marshal(r)
	if err != nil {
		return "", err
	}
	h := sha256.Sum256(b)
	return hex.EncodeToString(h[:]), nil
}

// answer is what is kept under a request id.
type answer struct {
	// Request is the hash of the request that it answers.
	Request    string          `json:"request"`
	Version    int64           `json:"version"`
	Correction json.RawMessage `json:"correction"`
}

// maxActor is the longest name of a person, in bytes, so that it and a request id fit
// into a key.
const maxActor = 99

// answerKey returns the key of an answer, "" where there is no request id. The id holds
// no slash, so that the two parts of the key stay apart.
func answerKey(a Actor, requestID string) (string, error) {
	if requestID == "" {
		return "", nil
	}
	if _, err := ask.RequestID(requestID, ""); err != nil {
		return "", err
	}
	return a.Name + "/" + requestID, nil
}

// answered returns the kept answer of a request, nil where there is none.
func (d *Desk) answered(ctx context.Context, key, hash string) (*Correction, error) {
	n, err := d.follower.Store.GetNote(ctx, spaceAnswers, key)
	switch {
	case errors.Is(err, store.ErrNotFound):
		return nil, nil
	case err != nil:
		return nil, err
	}
	var a answer
	if err := json.Unmarshal(n.Body, &a); err != nil {
		return nil, fmt.Errorf("answer: %w: %v", store.ErrCorrupt, err)
	}
	if a.Request != hash {
		_, id, _ := strings.Cut(key, "/")
		return nil, fault.New(fault.RequestIDReused, "request id %s was used for another request; give every new request a new id", id).With("request_id", id)
	}
	return decode(a.Correction, a.Version)
}

// keepAnswers is how long answers are kept at least; a client that has not repeated
// its request after two days has given up.
const keepAnswers = 48 * time.Hour

// Sweeping happens beside the writes that keep answers: every sweepEvery of them,
// sweepBatch kept ones are looked at, so that their number follows the traffic.
const (
	sweepEvery = 16
	sweepBatch = 64
)

// sweep removes answers that are old enough. What it fails to remove, the next one will.
func (d *Desk) sweep(ctx context.Context) {
	if d.kept.Add(1)%sweepEvery != 0 {
		return
	}
	d.sweeping.Lock()
	defer d.sweeping.Unlock()
	notes, err := d.follower.Store.ListNotes(ctx, store.NoteQuery{Space: spaceAnswers, After: d.swept, Limit: sweepBatch})
	if err != nil {
		return
	}
	d.swept = ""
	now := d.now().UTC()
	var old []store.NoteWrite
	for _, n := range notes {
		if now.Sub(n.Time) > keepAnswers {
			old = append(old, store.NoteWrite{Space: n.Space, Key: n.Key, Base: n.Version, Time: now})
		}
	}
	if len(notes) == sweepBatch {
		d.swept = notes[len(notes)-1].Key
	}
	if len(old) > 0 {
		_ = d.follower.Store.WriteNotes(ctx, old)
	}
}
