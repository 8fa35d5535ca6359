package dryrun

import (
	"fmt"
	"strconv"
	"strings"

	"proofload/specdata"
)

func (m *machine) tighten(a *Act) {
	s, f := m.fastenerState(a)
	switch {
	case s.is == removed:
		m.fail(a, CauseNotInPlace, "out", "the thread started by hand", "add "+m.op(a, specdata.Start)+" before it")
	case s.is == final && !s.touched:
		m.fail(a, CauseNeverUndone, "at its final value, and nothing loosened it", "a fastener that this procedure loosened", "remove the step, or write "+m.op(a, specdata.Check)+" for a recheck")
	case s.is == final:
		m.fail(a, CauseTwice, "at its final value", "a fastener that is not final", "remove the second tighten, or write "+m.op(a, specdata.Check)+" for a recheck")
	}
	var stages []int
	for i := s.stage; i < stagesOf(f); i++ {
		stages = append(stages, i)
	}
	m.allFirst(a, f, stagesOf(f))
	m.finalise(a, s, f, stages)
}

func (m *machine) stage(a *Act) {
	s, f := m.fastenerState(a)
	n := stagesOf(f)
	if s.is == removed {
		m.fail(a, CauseNotInPlace, "out", "the thread started by hand", "add "+m.op(a, specdata.Start)+" before it")
	}
	if s.is == final && s.touched && a.Stage <= n {
		m.fail(a, CauseTwice, "at its final value", "a fastener that is not final", "remove the second stage "+fmt.Sprint(a.Stage))
		return
	}
	if s.is == final {
		s.stage = 0
	}
	if f != nil {
		switch {
		case a.Stage < 1 || a.Stage > n:
			m.fail(a, CauseStage, fmt.Sprintf("a fastener of %d stages and the step asks for stage %d", n, a.Stage), fmt.Sprintf("a stage from 1 to %d", n), "correct the stage")
			return
		case a.Stage <= s.stage:
			m.fail(a, CauseTwice, fmt.Sprintf("past stage %d already", a.Stage), fmt.Sprintf("stage %d next", s.stage+1), "remove the second stage or correct its number")
			return
		case a.Stage != s.stage+1:
			m.fail(a, CauseStage, fmt.Sprintf("at stage %d", s.stage), fmt.Sprintf("stage %d before stage %d", a.Stage-1, a.Stage), fmt.Sprintf("add stage %d before it", s.stage+1))
		case a.Do == specdata.Turn && f.Tightening.Stages[a.Stage-1].Angle.IsZero():
			m.fail(a, CauseStage, fmt.Sprintf("turned by an angle, but stage %d of the record is not an angle", a.Stage), "the verb stage", "write stage instead of turn")
		case a.Do == specdata.StageVerb && !f.Tightening.Stages[a.Stage-1].Angle.IsZero():
			m.fail(a, CauseStage, fmt.Sprintf("brought to a torque, but stage %d of the record is an angle", a.Stage), "the verb turn", "write turn instead of stage")
		}
	}
	m.allFirst(a, f, a.Stage)
	if a.Stage < n {
		m.set(s, a, staged)
		s.stage = a.Stage
		m.openFastener(a, fmt.Sprintf(atStage+"%d of %d", a.Stage, n))
		m.use(a, f, []int{a.Stage - 1}, false)
		return
	}
	m.finalise(a, s, f, []int{a.Stage - 1})
}

// finalise brings a fastener to its final value: it judges the vehicle state and
// the piece, settles the ledger and opens what the record owes afterwards.
func (m *machine) finalise(a *Act, s *state, f *specdata.Fastener, stages []int) {
	disturbed := s.last
	wasSlack := s.is == slack || s.is == snugged && !s.newPiece
	m.set(s, a, final)
	s.stage = stagesOf(f)
	a.NewPiece = s.newPiece
	m.ledger.close(DebtFastener, m.key(a))
	m.use(a, f, stages, true)
	if f == nil {
		return
	}
	m.judgeState(a, f)
	m.judgePiece(a, s, f, disturbed, wasSlack)
	if lockedBy(f) && !s.locked {
		m.ledger.close(DebtLock, m.key(a))
		m.owesLock(a)
	}
	for _, u := range f.FollowUps {
		m.owe(a, f, u)
	}
}

func (m *machine) use(a *Act, f *specdata.Fastener, stages []int, isFinal bool) {
	if f == nil || len(stages) == 0 {
		return
	}
	if n := len(m.out.Torques); n > 0 && m.out.Torques[n-1].Act == a {
		return // another position of the same act
	}
	m.out.Torques = append(m.out.Torques, TorqueUse{Act: a, Moment: len(m.out.Timeline), Fastener: f, Stages: stages, Final: isFinal, End: m.endOf(a), Around: *a.Before})
}

// judgeState compares the state of the vehicle with the one the record asks for.
func (m *machine) judgeState(a *Act, f *specdata.Fastener) {
	if f.Tightening == nil {
		return
	}
	end := m.endOf(a)
	if end == "" {
		return
	}
	here := m.end(end)
	switch f.Tightening.State {
	case specdata.StateOnGround:
		if here != Ground {
			m.fail(a, CauseVehicleState, "tightened with the "+end+" end "+string(here), "the wheels on the ground", "move the final tightening behind "+paste(specdata.Lower, "end:"+end))
		}
	case specdata.StateRideHeight, specdata.StateLoaded:
		if here != Ground && !m.loaded[end] {
			m.fail(a, CauseVehicleState, "tightened with the "+end+" suspension hanging in droop", "ride height", "add "+paste(specdata.LoadSuspension, "suspension:"+end)+" before it, or leave it snug, defer it and tighten it on the ground")
		}
	case specdata.StateDroop:
		if here == Ground || m.loaded[end] {
			m.fail(a, CauseVehicleState, "tightened with the "+end+" suspension under load", "the suspension hanging in droop", "move the final tightening before the suspension is loaded")
		}
	}
}

// judgePiece reports a fastener that must be new and is not.
func (m *machine) judgePiece(a *Act, s *state, f *specdata.Fastener, disturbed *Act, wasSlack bool) {
	if f.Reuse == nil || s.newPiece || disturbed == nil {
		return
	}
	switch f.Reuse.Rule {
	case "replace", "replace-if-loosened":
		renew := "the " + specdata.InSentence(f.Title)
		if len(f.Reuse.Renew) > 0 {
			renew = "new: " + strings.Join(f.Reuse.Renew, ", ")
		}
		mend := "write new: true where the thread is started and list the part"
		if wasSlack {
			mend = "take it out, start a new one and list the part"
		}
		m.fail(a, CauseOldPiece, "the old piece, which was loosened", renew+", because the record says "+f.Reuse.Rule, mend)
	default:
		if s.scrap {
			m.fail(a, CauseOldPiece, "the piece that was discarded", "a new piece", "write new: true where the thread is started")
		}
	}
}

// allFirst reports a position that goes on to another stage while a position of
// the same family has not passed the one before, where the record says that all
// pass it first. An act on all positions at once brings them on together; to is
// the stage it brings them to.
func (m *machine) allFirst(a *Act, f *specdata.Fastener, to int) {
	if m.position == 0 || f == nil || f.Tightening == nil {
		return
	}
	together := map[string]bool{}
	for _, n := range m.positionsOf(a) {
		together[atPosition(m.familyKey(a), n)] = true
	}
	for i := 0; i < to-1 && i < len(f.Tightening.Stages); i++ {
		if !f.Tightening.Stages[i].AllFirst {
			continue
		}
		for _, key := range m.fastenerKeys(f.ID, a.Side) {
			other := m.states[key]
			if together[key] || other == nil || other.stage > i {
				continue // goes along, was never loosened, or has passed the stage
			}
			m.failBy(a, a.Target, CauseAllFirst, "brought past stage "+strconv.Itoa(i+1)+" while "+strings.TrimPrefix(key, m.familyKey(a)+", ")+" is "+string(other.is),
				"every position past stage "+strconv.Itoa(i+1)+" first", "do stage "+strconv.Itoa(i+1)+" on all positions, then go on")
			return
		}
	}
}

// familyKey is the key of the act's fastener without its position.
func (m *machine) familyKey(a *Act) string {
	id := a.id
	return sided(string(a.Target), a.Side, m.model.handedFastener(id))
}

// backOff slackens a fastener within its tightening: as the stage of the record
// that says so, or to verify a value by tightening anew.
func (m *machine) backOff(a *Act) {
	s, f := m.fastenerState(a)
	if a.Stage > 0 {
		if f != nil && a.Stage <= stagesOf(f) && !f.Tightening.Stages[a.Stage-1].Slacken {
			m.fail(a, CauseStage, fmt.Sprintf("backed off, but stage %d of the record is no slackening", a.Stage), "the verb of that stage", "write stage or turn instead of back-off")
			return
		}
		m.stage(a)
		return
	}
	switch s.is {
	case removed, started, slack:
		m.fail(a, CauseTwice, string(s.is), "a fastener that is snug, part way or final", "remove the back-off")
		return
	}
	m.slacken(a)
}
