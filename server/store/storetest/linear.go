package storetest

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"github.com/anishathalye/porcupine"

	"proofload/server/store"
	"proofload/specdata/document"
)

// Act is one operation on one object: a record and a note that belong together.
type Act struct {
	Do     Deed
	Object int
	// Base is the revision number or note version that a change is made against.
	Base int64
	// Value is what a change writes.
	Value int
}

// Deed is a sort of operation.
type Deed int

// The deeds. Publish writes the record, against its number, and the note, whatever
// is there; Write writes the note against its version.
const (
	Publish Deed = iota
	Read
	Write
	Look
)

// Seen is how an operation went.
type Seen struct {
	Outcome Outcome
	// Number is the revision number or note version that was made, read or in the way.
	Number int64
	// Value is what was read.
	Value int
}

// Outcome is a sort of answer.
type Outcome int

// The outcomes. Unknown is that of an operation whose answer never came.
const (
	Unknown Outcome = iota
	Done
	Refused
)

// Perform carries an operation out. The error is of a store that fails.
func Perform(ctx context.Context, s store.Store, a Act) (Seen, error) {
	bolt := Bolt(a.Object, a.Value)
	note := store.NoteWrite{Space: "linear", Key: fmt.Sprint(a.Object), Base: a.Base, Terms: []string{"all"}, Body: fmt.Append(nil, a.Value), Time: Epoch}
	var seen Seen
	switch a.Do {
	case Publish:
		text, err := document.Canonical(bolt)
		if err != nil {
			return seen, err
		}
		p := Publication(0, store.Change{Name: bolt.Name(), Base: a.Base, Document: text})
		p.Reason = fmt.Sprint(a.Value)
		note.Base = store.AnyVersion
		p.Notes = func(int64, time.Time) ([]store.NoteWrite, error) { return []store.NoteWrite{note}, nil }
		_, err = s.Publish(ctx, p)
		var conflict *store.Conflict
		switch {
		case errors.As(err, &conflict):
			return Seen{Outcome: Refused, Number: conflict.Current}, nil
		case err != nil:
			return seen, err
		}
		return Seen{Outcome: Done, Number: a.Base + 1}, nil
	case Write:
		err := s.WriteNotes(ctx, []store.NoteWrite{note})
		var conflict *store.NoteConflict
		switch {
		case errors.As(err, &conflict):
			return Seen{Outcome: Refused, Number: conflict.Current}, nil
		case err != nil:
			return seen, err
		}
		return Seen{Outcome: Done, Number: a.Base + 1}, nil
	case Read:
		head, err := s.Head(ctx)
		if err != nil {
			return seen, err
		}
		seen.Outcome = Done
		r, err := s.Get(ctx, bolt.Name(), head.Position)
		if err == nil {
			seen.Number = r.Number
			_, err = fmt.Sscan(r.Reason, &seen.Value)
		}
		if errors.Is(err, store.ErrNotFound) {
			err = nil
		}
		return seen, err
	}
	seen.Outcome = Done
	n, err := s.GetNote(ctx, note.Space, note.Key)
	if err == nil {
		seen.Number = n.Version
		_, err = fmt.Sscan(string(n.Body), &seen.Value)
	}
	if errors.Is(err, store.ErrNotFound) {
		err = nil
	}
	return seen, err
}

// Load says how much is done by how many at once.
type Load struct {
	Clients, Objects, Operations int
	Seed                         uint64
}

// Drive lets clients operate and returns the history of what they saw. perform answers
// Unknown where an answer never came and nothing can change any more by the operation.
func Drive(l Load, perform func(Act) (Seen, error)) ([]porcupine.Operation, error) {
	var mu sync.Mutex
	var history []porcupine.Operation
	var failed error
	left := l.Operations
	start := time.Now()
	var wg sync.WaitGroup
	for client := range l.Clients {
		wg.Go(func() {
			r := rand.New(rand.NewPCG(l.Seed, uint64(client)))
			numbers, versions := make([]int64, l.Objects), make([]int64, l.Objects)
			for i := 0; ; i++ {
				mu.Lock()
				stop := left <= 0 || failed != nil
				left--
				mu.Unlock()
				if stop {
					return
				}
				a := Act{Do: Deed(r.IntN(4)), Object: r.IntN(l.Objects), Value: client + i*l.Clients + 1}
				switch a.Do {
				case Publish:
					a.Base = numbers[a.Object]
				case Write:
					a.Base = versions[a.Object]
				}
				op := porcupine.Operation{ClientId: client, Input: a, Call: int64(time.Since(start))}
				seen, err := perform(a)
				op.Output, op.Return = seen, int64(time.Since(start))
				if seen.Outcome != Unknown && a.Do <= Read {
					numbers[a.Object] = seen.Number
				} else if seen.Outcome != Unknown {
					versions[a.Object] = seen.Number
				}
				mu.Lock()
				if err != nil {
					failed = errors.Join(failed, err)
				}
				if seen.Outcome != Unknown || a.Do == Publish || a.Do == Write {
					history = append(history, op)
				}
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	return history, failed
}

// object is the state of one: as the contract has it, in the plainest words.
type object struct {
	number, version int64
	value, noted    int
}

// may returns the states that an object may be in after an operation went as it did,
// none where it cannot have gone so.
func (o object) may(a Act, seen Seen) []object {
	after := o
	stands := o.number
	switch a.Do {
	case Read:
		if seen.Number != o.number || seen.Value != o.value {
			return nil
		}
		return []object{o}
	case Look:
		if seen.Number != o.version || seen.Value != o.noted {
			return nil
		}
		return []object{o}
	case Publish:
		after = object{o.number + 1, o.version + 1, a.Value, a.Value}
	case Write:
		stands = o.version
		after.version, after.noted = o.version+1, a.Value
	}
	fits := a.Base == stands
	switch {
	case seen.Outcome == Refused && !fits && seen.Number == stands:
		return []object{o}
	case seen.Outcome == Done && fits:
		return []object{after}
	case seen.Outcome == Unknown && fits:
		return []object{o, after}
	case seen.Outcome == Unknown:
		return []object{o}
	}
	return nil
}

// Linearizable fails unless every operation of a history can have happened at one
// moment between its call and its answer. The checker is not ours.
func Linearizable(history []porcupine.Operation) error {
	model := porcupine.NondeterministicModel{
		Partition: func(history []porcupine.Operation) [][]porcupine.Operation {
			var parts [][]porcupine.Operation
			for _, op := range history {
				n := op.Input.(Act).Object
				for len(parts) <= n {
					parts = append(parts, nil)
				}
				parts[n] = append(parts[n], op)
			}
			return parts
		},
		Init: func() []any { return []any{object{}} },
		Step: func(state, input, output any) []any {
			var states []any
			for _, o := range state.(object).may(input.(Act), output.(Seen)) {
				states = append(states, o)
			}
			return states
		},
	}
	switch result := porcupine.CheckOperationsTimeout(model.ToModel(), history, 5*time.Minute); result {
	case porcupine.Ok:
		return nil
	case porcupine.Unknown:
		return fmt.Errorf("history of %d operations could not be decided in time", len(history))
	}
	return fmt.Errorf("history of %d operations is not linearizable", len(history))
}

// linear operates on a few objects from several sides at once.
func linear(t *testing.T, w *world) {
	history, err := Drive(Load{Clients: 6, Objects: 3, Operations: 1500, Seed: 1}, func(a Act) (Seen, error) { return Perform(w.ctx, w, a) })
	if err != nil {
		t.Fatal(err)
	}
	if err := Linearizable(history); err != nil {
		t.Error(err)
	}
	w.sound()
}
