package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/note"
	"google.golang.org/protobuf/encoding/protojson"

	pb "proofload/api/proofload/v1"
	"proofload/server/audit"
	"proofload/server/ledger"
	"proofload/server/notary"
	"proofload/server/store"
	"proofload/server/store/sqlite"
	"proofload/specdata"
)

// goThrough audits a whole history.
func (v *verification) goThrough(ctx context.Context, e *env, open func(context.Context) (audit.Source, func() error, error)) error {
	var kept []ledger.Checkpoint
	origin := ""
	if len(v.checkpoints) > 0 || v.key != "" || len(v.witnesses) > 0 {
		k, err := v.verifiers()
		if err != nil {
			return err
		}
		origin = k[0].Name()
		if kept, err = v.kept(ctx, e, k); err != nil {
			return err
		}
	}
	source, done, err := open(ctx)
	if err != nil {
		// What contradicts itself so far that it cannot be opened is not proved either.
		if errors.Is(err, store.ErrCorrupt) || errors.Is(err, store.ErrInvalid) {
			return refuted(e, "%v", err)
		}
		return err
	}
	defer done()
	rep, err := audit.History(ctx, source, origin, kept)
	if err != nil {
		return err
	}
	for _, f := range rep.Faults {
		fmt.Fprintf(e.stdout, "%s: %s\n", f.What, f.Message)
	}
	if len(rep.Faults) > 0 {
		return refuted(e, "the history is not as it was published: %s", count(len(rep.Faults), "fault", "faults"))
	}
	switch {
	case len(kept) == 0:
		fmt.Fprintf(e.stdout, "whole: %d revisions up to position %d agree with the hashes stored beside them; with --checkpoint it is proved that these are the ones\n", rep.Head.Revisions, rep.Head.Position)
	default:
		fmt.Fprintf(e.stdout, "proved: %d revisions up to position %d, and %s\n", rep.Head.Revisions, rep.Head.Position, count(int(rep.Fitting), "kept checkpoint fits", "kept checkpoints fit"))
	}
	fmt.Fprintf(e.stdout, "root %s\n", rep.Root)
	return nil
}

// openBackup opens a copy of a store's file, so that nothing is written to it: not by
// bringing it up to date, and not by recovering its write-ahead log.
func (v *verification) openBackup(ctx context.Context) (audit.Source, func() error, error) {
	engine, file, _ := strings.Cut(v.store, ":")
	if engine != "sqlite" || file == "" {
		return nil, nil, usagef("flag --store: %q is not a store; allowed: sqlite:FILE, like sqlite:backup.db", v.store)
	}
	if info, err := os.Stat(file); err != nil {
		return nil, nil, pathError("store", file, err)
	} else if info.IsDir() {
		return nil, nil, usagef("store %s is a folder; name the file", file)
	}
	folder, err := os.MkdirTemp("", "proofload-verify-*")
	if err != nil {
		return nil, nil, fmt.Errorf("no room for a copy of %s: %w", file, reason(err))
	}
	remove := func() error { return os.RemoveAll(folder) }
	copied := filepath.Join(folder, "copy.db")
	for _, end := range []string{"", "-wal"} {
		if err := copyFile(file+end, copied+end); err != nil && (end == "" || !errors.Is(err, os.ErrNotExist)) {
			remove()
			return nil, nil, fmt.Errorf("store %s cannot be copied: %w", file, reason(err))
		}
	}
	s, err := sqlite.Open(ctx, copied, sqlite.Options{Existing: true, Unchecked: true})
	if err != nil {
		remove()
		return nil, nil, ofCopy{err, copied, file}
	}
	return s, func() error { return errors.Join(s.Close(), remove()) }, nil
}

// ofCopy is an error about a copy, in the name of the file that was copied.
type ofCopy struct {
	error
	copied, file string
}

// Error implements error.
func (e ofCopy) Error() string { return strings.ReplaceAll(e.error.Error(), e.copied, e.file) }

// Unwrap returns the error.
func (e ofCopy) Unwrap() error { return e.error }

func copyFile(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}

// savedLog is a log that was saved from a server: what was published, without the
// hashes that were stored then.
type savedLog struct {
	revisions []*store.Revision
	tree      ledger.Memory
}

// openLog reads saved pages of /v1/log?documents=true, or its entries a line.
func (v *verification) openLog(context.Context) (audit.Source, func() error, error) {
	f, err := os.Open(v.log)
	if err != nil {
		return nil, nil, pathError("log", v.log, err)
	}
	defer f.Close()
	s := &savedLog{}
	dec := json.NewDecoder(f)
	for page := 1; ; page++ {
		var raw json.RawMessage
		err := dec.Decode(&raw)
		if errors.Is(err, io.EOF) {
			break
		}
		if err == nil {
			err = s.add(raw)
		}
		if err != nil {
			return nil, nil, usagef("log %s, page %d: %v; save the answers of /v1/log?documents=true one behind another", v.log, page, err)
		}
	}
	return s, func() error { return nil }, nil
}

func (s *savedLog) add(raw json.RawMessage) error {
	var page pb.ListLogResponse
	if err := protojson.Unmarshal(raw, &page); err != nil {
		var one pb.LogEntry
		if protojson.Unmarshal(raw, &one) != nil {
			return errors.New("it is no log")
		}
		page.Entries = []*pb.LogEntry{&one}
	}
	for _, e := range page.Entries {
		if len(e.Document) == 0 {
			return fmt.Errorf("%s revision %d is without its document", e.Name, e.Revision)
		}
		r := &store.Revision{
			Name: specdata.Name(e.Name), Number: e.Revision, Position: e.Position, Leaf: int64(len(s.revisions)), Document: e.Document, Hash: e.DocumentHash,
			Withdrawn: e.Withdrawn, Authors: e.Authors, Reviewer: e.Reviewer, Reason: e.Reason, Time: e.CreateTime.AsTime(),
		}
		if err := s.tree.Append(notary.LeafOf(r)); err != nil {
			return err
		}
		s.revisions = append(s.revisions, r)
	}
	return nil
}

// Head implements audit.Source; so do the methods below.
func (s *savedLog) Head(context.Context) (store.Head, error) {
	h := store.Head{Revisions: int64(len(s.revisions))}
	if n := len(s.revisions); n > 0 {
		h.Position, h.Time = s.revisions[n-1].Position, s.revisions[n-1].Time
	}
	return h, nil
}

func (s *savedLog) Log(_ context.Context, after, upTo int64, _ int) ([]*store.Revision, error) {
	var out []*store.Revision
	for _, r := range s.revisions {
		if r.Position > after && r.Position <= upTo {
			out = append(out, r)
		}
	}
	return out, nil
}

func (s *savedLog) Leaf(_ context.Context, i int64) (*store.Revision, error) {
	return s.revisions[i], nil // an audit asks below Head only
}

func (s *savedLog) Hashes(_ context.Context, indexes []int64) ([][32]byte, error) {
	got, err := s.tree.ReadHashes(indexes)
	out := make([][32]byte, len(got))
	for i, h := range got {
		out[i] = h
	}
	return out, err
}

// key returns the verifier key that a server tells, and the handovers of earlier keys.
func (r *remote) key(ctx context.Context) (string, []string, error) {
	body, _, err := r.get(ctx, "/v1/keys/ledger", nil)
	if err != nil {
		return "", nil, err
	}
	var k struct {
		Key       string
		Handovers []string
	}
	if json.Unmarshal(body, &k) != nil || k.Key == "" {
		return "", nil, r.odd("keys/ledger")
	}
	return k.Key, k.Handovers, nil
}

// checkpoint returns a signed checkpoint. The error is a badSignature where the key did
// not sign it.
func (r *remote) checkpoint(ctx context.Context, id string, k ...note.Verifier) (ledger.Checkpoint, []byte, error) {
	body, _, err := r.get(ctx, "/v1/checkpoints/"+id, nil)
	if err != nil {
		return ledger.Checkpoint{}, nil, err
	}
	var answer struct{ Note string }
	if json.Unmarshal(body, &answer) != nil || answer.Note == "" {
		return ledger.Checkpoint{}, nil, r.odd("checkpoints/" + id)
	}
	c, err := ledger.Open([]byte(answer.Note), k...)
	if err != nil {
		return c, nil, badSignature{err}
	}
	return c, []byte(answer.Note), nil
}

// growth returns the proof that the tree of a position grew from one of so many leaves.
func (r *remote) growth(ctx context.Context, position, fromSize int64) (*ledger.Growth, error) {
	body, _, err := r.get(ctx, "/v1/checkpoints/"+strconv.FormatInt(position, 10)+"/growth", url.Values{"from_size": {strconv.FormatInt(fromSize, 10)}})
	if err != nil {
		return nil, err
	}
	g, err := ledger.ParseGrowth(body)
	if err != nil {
		return nil, fmt.Errorf("library %s: %w", r.base, err)
	}
	return g, nil
}
