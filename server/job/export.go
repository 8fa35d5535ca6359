package job

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
)

// Exported is a whole job as a file: the leaves of its tree as they were hashed, their
// root, and the texts that were not erased.
type Exported struct {
	Job  string `json:"job"`
	Size int    `json:"size"`
	// Root is the root of the tree of the leaves (RFC 6962, SHA-256), lower-case hex.
	Root   string   `json:"root"`
	Leaves []string `json:"leaves"`
	// Texts are in order of key. One that a leaf names and that is not here was erased.
	Texts []Text `json:"texts"`
}

// Text is a text that is kept apart from the event that sealed it.
type Text struct {
	Key  string `json:"key"`
	What string `json:"what"`
	Salt string `json:"salt"`
	Text string `json:"text"`
}

// Export returns the file of a job.
func (j *Jobs) Export(ctx context.Context, id string) (*Exported, error) {
	s, err := j.Get(ctx, id)
	if err != nil {
		return nil, err
	}
	x := &Exported{Job: id}
	kept, err := j.sealed(ctx, id)
	if err != nil {
		return nil, err
	}
	for _, key := range slices.Sorted(maps.Keys(kept)) {
		a := kept[key]
		x.Texts = append(x.Texts, Text{key, a.What, a.Salt, a.Text})
	}
	if x.Leaves, err = s.leaves(); err != nil {
		return nil, err
	}
	x.Size, x.Root = len(x.Leaves), rootOf(x.Leaves)
	return x, nil
}

func (s *State) leaves() ([]string, error) {
	out := make([]string, len(s.Events))
	for i, e := range s.Events {
		leaf, err := e.leaf()
		if err != nil {
			return nil, err
		}
		out[i] = string(leaf)
	}
	return out, nil
}

// Root is the root of the job's tree, lower-case hex.
func (s *State) Root() string {
	leaves, err := s.leaves()
	if err != nil {
		return ""
	}
	return rootOf(leaves)
}

func rootOf(leaves []string) string {
	raw := make([][]byte, len(leaves))
	for i, l := range leaves {
		raw[i] = []byte(l)
	}
	return Root(raw)
}

// Statement is what a library signs of a job: its id, how many events it has, and
// their root. No checkpoint begins so.
func (x *Exported) Statement() string {
	return fmt.Sprintf("proofload job\n%s\n%d\n%s\n", x.Job, x.Size, x.Root)
}

// Verify checks a file without a server: the leaves have the root, count from 1 without
// gaps, are of the job, and every text that is there is the one its leaf sealed. The
// error says what does not hold.
func (x *Exported) Verify() error {
	if got := rootOf(x.Leaves); got != x.Root || len(x.Leaves) != x.Size {
		return fmt.Errorf("job %s: its %d events have the root %s, the file says %d with %s", x.Job, len(x.Leaves), got, x.Size, x.Root)
	}
	kept := texts{}
	for _, t := range x.Texts {
		kept[t.Key] = apart{t.What, t.Salt, t.Text}
	}
	for i, leaf := range x.Leaves {
		var e Event
		if err := json.Unmarshal([]byte(leaf), &e); err != nil {
			return fmt.Errorf("job %s: event %d cannot be read: %v", x.Job, i+1, err)
		}
		if e.Number != int64(i)+1 || e.Job != x.Job {
			return fmt.Errorf("job %s: event %d says that it is number %d of job %s", x.Job, i+1, e.Number, e.Job)
		}
		sealed := []Sealed{e.By, e.Text, e.NewPiece}
		if e.Open != nil {
			sealed = append(sealed, e.Open.Plate, e.Open.VIN, e.Open.Odometer)
		}
		for _, s := range sealed {
			if a, ok := kept[s.Key]; ok && s.Key != "" && a.hash() != s.Hash {
				return fmt.Errorf("job %s: a text of event %d is not the one that was sealed", x.Job, e.Number)
			}
		}
	}
	return nil
}
