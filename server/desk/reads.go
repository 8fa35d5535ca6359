package desk

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"hash/maphash"
	"log/slog"
	"maps"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"proofload/server/store"
	"proofload/specdata"
)

// Reads notes which tokens read which revisions, so that anyone who read a value can be
// told when it changes. It is best effort: noting never waits, what does not fit is
// dropped, and what was noted is written in batches. Readers are known by token only.
type Reads struct {
	store   store.Store
	log     *slog.Logger
	now     func() time.Time
	seed    maphash.Seed
	shards  [readShards]readShard
	dropped atomic.Int64
	flush   sync.Mutex
}

// Memory is bounded by the shards: what is known to be written already, and what waits.
const (
	readShards = 16
	maxKnown   = 4096
	maxWaiting = 1024
	// flushEvery is how long a read may wait to be written.
	flushEvery = 3 * time.Second
	// forgetEvery is how often a repeated read is written again, for its time.
	forgetEvery = time.Hour
	// flushBatch is how many reads one transaction writes.
	flushBatch = 500
)

type readKey struct {
	token string
	name  specdata.Name
}

type readShard struct {
	mu             sync.Mutex
	known, waiting map[readKey]int64
}

// NewReads makes a recorder. Run writes what was noted.
func NewReads(s store.Store, log *slog.Logger) *Reads {
	r := &Reads{store: s, log: log, now: time.Now, seed: maphash.MakeSeed()}
	for i := range r.shards {
		r.shards[i].known, r.shards[i].waiting = map[readKey]int64{}, map[readKey]int64{}
	}
	return r
}

// Note notes that a revision of a record was read under a token, given by its id. It
// never waits for the store.
func (r *Reads) Note(token string, name specdata.Name, revision int64) {
	if token == "" || len(token) > maxActor {
		return
	}
	k := readKey{token, name}
	s := &r.shards[maphash.Comparable(r.seed, k)%readShards]
	s.mu.Lock()
	defer s.mu.Unlock()
	// The newest revision that somebody has is the one that counts.
	if known, ok := s.known[k]; ok && known >= revision {
		return
	}
	if len(s.waiting) >= maxWaiting {
		if _, ok := s.waiting[k]; !ok {
			r.dropped.Add(1)
			return
		}
	}
	if len(s.known) >= maxKnown {
		clear(s.known)
	}
	s.known[k] = revision
	s.waiting[k] = revision
}

// Dropped counts the reads that there was no room for.
func (r *Reads) Dropped() int64 { return r.dropped.Load() }

// Run writes down what was noted, every few seconds until the context ends, and then
// once more.
func (r *Reads) Run(ctx context.Context) {
	tick := time.NewTicker(flushEvery)
	defer tick.Stop()
	forgotten := r.now()
	for {
		select {
		case <-ctx.Done():
			last, cancel := context.WithTimeout(context.WithoutCancel(ctx), flushEvery)
			defer cancel()
			r.Flush(last)
			return
		case <-tick.C:
			r.Flush(ctx)
			if now := r.now(); now.Sub(forgotten) > forgetEvery {
				forgotten = now
				r.forget()
			}
		}
	}
}

func (r *Reads) forget() {
	for i := range r.shards {
		s := &r.shards[i]
		s.mu.Lock()
		clear(s.known)
		s.mu.Unlock()
	}
}

// Flush writes what was noted so far. What cannot be written is lost and logged.
func (r *Reads) Flush(ctx context.Context) {
	r.flush.Lock()
	defer r.flush.Unlock()
	var writes []store.NoteWrite
	now := r.now().UTC()
	for i := range r.shards {
		s := &r.shards[i]
		s.mu.Lock()
		waiting := s.waiting
		if len(waiting) > 0 {
			s.waiting = map[readKey]int64{}
		}
		s.mu.Unlock()
		for k, revision := range waiting {
			w, err := (&read{Token: k.token, Record: k.name, Revision: revision, Last: now}).written()
			if err != nil {
				r.log.Warn("read not noted", "record", k.name, "error", err)
				continue
			}
			writes = append(writes, w)
		}
	}
	slices.SortFunc(writes, func(a, b store.NoteWrite) int { return strings.Compare(a.Key, b.Key) })
	for part := range slices.Chunk(writes, flushBatch) {
		if err := r.store.WriteNotes(ctx, part); err != nil {
			r.log.Warn("reads not noted", "count", len(part), "error", err)
		}
	}
}

// read is that a token read a record.
type read struct {
	Token  string        `json:"token"`
	Record specdata.Name `json:"record"`
	// Revision is the newest that was read, Last about when.
	Revision int64     `json:"revision"`
	Last     time.Time `json:"last"`
}

func (r *read) written() (store.NoteWrite, error) {
	body, err := json.Marshal(r)
	if err != nil {
		return store.NoteWrite{}, err
	}
	return store.NoteWrite{
		Space: spaceReads, Key: r.Token + "/" + string(r.Record), Base: store.AnyVersion, Terms: []string{string(r.Record)}, Body: body, Time: r.Last,
	}, nil
}

// readersOf returns the tokens that read a state of one of the records, or a procedure
// that shows it: its view repeats the values of what it uses. The latest come first.
func (d *Desk) readersOf(ctx context.Context, names []specdata.Name, procedures []ReachedProcedure, old map[specdata.Name]*store.Revision) ([]ReachedReader, error) {
	readers := map[string]*ReachedReader{}
	look := func(n specdata.Name, most int64, of []specdata.Name) error {
		return d.notesOf(ctx, spaceReads, n, func(note *store.Note) error {
			var x read
			if err := json.Unmarshal(note.Body, &x); err != nil {
				return fmt.Errorf("read %s: %w: %v", note.Key, store.ErrCorrupt, err)
			}
			if x.Revision > most {
				return nil
			}
			r := readers[x.Token]
			if r == nil {
				r = &ReachedReader{Token: x.Token}
				readers[x.Token] = r
			}
			for _, n := range of {
				if !slices.Contains(r.Read, n) {
					r.Read = append(r.Read, n)
				}
			}
			if x.Last.After(r.Last) {
				r.Last = x.Last
			}
			return nil
		})
	}
	for _, n := range names {
		if err := look(n, old[n].Number, []specdata.Name{n}); err != nil {
			return nil, err
		}
	}
	for _, p := range procedures {
		if slices.Contains(names, p.Name) {
			continue
		}
		if err := look(p.Name, 1<<62, p.Uses); err != nil {
			return nil, err
		}
	}
	var out []ReachedReader
	for _, r := range slices.Collect(maps.Values(readers)) {
		slices.Sort(r.Read)
		out = append(out, *r)
	}
	slices.SortFunc(out, func(a, b ReachedReader) int { return cmp.Or(b.Last.Compare(a.Last), cmp.Compare(a.Token, b.Token)) })
	return out, nil
}
