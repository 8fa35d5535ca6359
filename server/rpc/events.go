package rpc

import (
	"context"
	"encoding/binary"
	"hash/maphash"
	"sync"

	pb "proofload/api/proofload/v1"
	"proofload/server/feed"
)

// events keeps events of the log as they were encoded last, so that an event that a
// thousand watchers get is worked out once.
type events struct {
	mu    sync.Mutex
	kept  map[eventKey]*encodedEvent
	order []eventKey // the oldest first
	bytes int
}

// eventBytes bounds the memory of the kept events.
const eventBytes = 32 << 20

// eventKey says what an encoded event was made of.
type eventKey struct {
	form                          string
	documents, moves              bool
	progress, continues           bool
	position, newest, first, last int64
	// leaves is the hash of all its leaves: filters choose different ones.
	leaves uint64
}

// leafSeed is for leaves of this process.
var leafSeed = maphash.MakeSeed()

func keyOf(e *feed.Event, r *pb.WatchLogRequest, form string) eventKey {
	k := eventKey{form: form, documents: r.Documents, moves: r.Moves, progress: e.Progress, continues: e.Continues, position: e.Position, newest: e.Newest}
	var h maphash.Hash
	h.SetSeed(leafSeed)
	for _, rev := range e.Revisions {
		h.Write(binary.LittleEndian.AppendUint64(nil, uint64(rev.Leaf)))
	}
	if n := len(e.Revisions); n > 0 {
		k.first, k.last, k.leaves = e.Revisions[0].Leaf, e.Revisions[n-1].Leaf, h.Sum64()
	}
	return k
}

// encodedEvent is the bytes of an event, once they are made.
type encodedEvent struct {
	made chan struct{}
	b    []byte
	err  error
}

func newEvents() *events { return &events{kept: map[eventKey]*encodedEvent{}} }

// get returns the bytes of an event, which the first to ask makes.
func (s *events) get(k eventKey, encode func() ([]byte, error)) ([]byte, error) {
	s.mu.Lock()
	e, ok := s.kept[k]
	if !ok {
		e = &encodedEvent{made: make(chan struct{})}
		s.kept[k] = e
		s.order = append(s.order, k)
	}
	s.mu.Unlock()
	if ok {
		<-e.made
		if e.err == nil {
			return e.b, nil
		}
		return encode() // what failed for another caller, as one who went away, may do for this one
	}
	defer close(e.made)
	e.err = context.Canceled // should encode panic
	e.b, e.err = encode()
	s.mu.Lock()
	defer s.mu.Unlock()
	if e.err != nil {
		delete(s.kept, k)
		return nil, e.err
	}
	if s.kept[k] == e { // it was not put out meanwhile
		s.bytes += len(e.b)
	}
	for s.bytes > eventBytes && len(s.order) > 1 {
		if old, ok := s.kept[s.order[0]]; ok {
			s.bytes -= len(old.b)
			delete(s.kept, s.order[0])
		}
		s.order = s.order[1:]
	}
	return e.b, nil
}
