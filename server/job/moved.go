package job

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"proofload/server/ask"
	"proofload/specdata"
	"proofload/specdata/change"
	"proofload/specdata/library"
	"proofload/specdata/whom"
)

// movedPrefix begins the ids of the follow-ups of a number that moved: who was told,
// what they answered, that it was rechecked.
const movedPrefix = "moved/"

// Moved is a fastener that a job brought to a value that is not its value any more.
type Moved struct {
	Job      string
	Fastener string
	Title    string
	// Pieces is how many were brought to the old value.
	Pieces int
	// Was and Now are the tightenings in words, Moves what moved.
	Was, Now string
	Moves    []change.Move
	// Ratio is the relative move of the torque that moved furthest: over 0 the joints
	// made to the old value are looser than wanted now, under 0 tighter.
	Ratio float64
	// Withdrawn says that the record is gone.
	Withdrawn bool
	Safety    string
	// Thing is the id that a follow-up names; Answers are those there are.
	Thing   string
	Answers []*Event
	Closed  bool
	// For is what the job was for.
	For whom.For
}

// How says what a move means for the joints that were made.
func (m *Moved) How() string {
	switch {
	case m.Withdrawn:
		return "value withdrawn"
	case m.Ratio > 0:
		return fmt.Sprintf("too loose: %.1f %% under the value now", 100*m.Ratio/(1+m.Ratio))
	case m.Ratio < 0 && m.Ratio > -1:
		return fmt.Sprintf("overtightened: %.1f %% over the value now", -100*m.Ratio/(1+m.Ratio))
	}
	return "changed"
}

// Moved lists what jobs, open and closed, made to a value that has moved since, the
// worst first: what can hurt someone, then what moved furthest. Where a record is
// given, only that of the fastener. It looks at a page of jobs, the newest first; next is
// "" on the last page.
func (j *Jobs) Moved(ctx context.Context, record string, size int, after string) (out []Moved, next string, err error) {
	jobs, next, err := j.List(ctx, "", record, size, after)
	if err != nil {
		return nil, "", err
	}
	position, err := j.catalog.Position(ctx, ask.Newest())
	if err != nil {
		return nil, "", err
	}
	now := j.catalog.Follower.At(ctx, position)
	for _, l := range jobs {
		if l.Position == position {
			continue
		}
		then := j.catalog.Follower.At(ctx, l.Position)
		touched := false
		for _, name := range l.Fasteners {
			if record != "" && record != name && strings.HasPrefix(record, "fasteners/") {
				continue
			}
			id := specdata.Name(name).ID()
			if old, new := library.Fastener(then, id), library.Fastener(now, id); old != nil && (new == nil || len(change.Moves(old, new)) > 0) {
				touched = true
			}
		}
		if !touched {
			continue
		}
		s, err := j.Get(ctx, l.ID)
		if err != nil {
			return nil, "", err
		}
		out = append(out, s.moved(then, now, record)...)
	}
	if err := now.Err(); err != nil {
		return nil, "", err
	}
	slices.SortStableFunc(out, func(a, b Moved) int {
		if (a.Safety != "") != (b.Safety != "") {
			if a.Safety != "" {
				return -1
			}
			return 1
		}
		x, y := math.Abs(a.Ratio), math.Abs(b.Ratio)
		if a.Withdrawn {
			x = math.Inf(1)
		}
		if b.Withdrawn {
			y = math.Inf(1)
		}
		switch {
		case x > y:
			return -1
		case x < y:
			return 1
		}
		return strings.Compare(a.Job+a.Fastener, b.Job+b.Fastener)
	})
	return out, next, nil
}

// moved lists what of one job moved between two states of the library.
func (s *State) moved(then, now library.Library, record string) []Moved {
	byName := map[string]*Moved{}
	var order []string
	for _, st := range s.Steps {
		for i := range st.Joints {
			j := &st.Joints[i]
			name := string(j.Fastener.Name())
			made := 0
			for _, p := range j.Pieces {
				if p.Event != nil {
					made++
				}
			}
			if made == 0 && st.Ticked != nil {
				made = len(j.Pieces)
			}
			if made == 0 || record != "" && strings.HasPrefix(record, "fasteners/") && record != name {
				continue
			}
			if m := byName[name]; m != nil {
				m.Pieces = max(m.Pieces, made)
				continue
			}
			old, new := library.Fastener(then, j.Fastener.ID), library.Fastener(now, j.Fastener.ID)
			m := &Moved{Job: s.ID, Fastener: name, Title: j.Fastener.Title, Pieces: made, Moves: change.Moves(old, new), Withdrawn: new == nil, Safety: change.Safety(old, new), Thing: movedPrefix + name, Closed: s.Close != nil, For: s.Whom}
			if len(m.Moves) == 0 && new != nil {
				continue
			}
			m.Was, m.Now = tightening(old), tightening(new)
			for k := range m.Moves {
				if m.Moves[k].Torque() && math.Abs(m.Moves[k].Ratio) > math.Abs(m.Ratio) {
					m.Ratio = m.Moves[k].Ratio
				}
			}
			for _, e := range s.Events {
				if e.Kind == FollowedUp && e.Thing == m.Thing {
					m.Answers = append(m.Answers, e)
				}
			}
			byName[name] = m
			order = append(order, name)
		}
	}
	var out []Moved
	for _, name := range order {
		out = append(out, *byName[name])
	}
	return out
}
