package dryrun

import (
	"fmt"
	"strconv"
	"strings"

	"proofload/specdata"
)

func (m *machine) tighten(x *subject) {
	var stages []int
	for i := x.s.stage; i < stagesOf(x.f); i++ {
		stages = append(stages, i)
	}
	m.allFirst(x, stagesOf(x.f))
	m.finalise(x, stages)
}

func (m *machine) stage(x *subject) {
	s, f, n := x.s, x.f, stagesOf(x.f)
	if s.is == Out {
		m.fail(x, CauseNotInPlace, Out.String(), "the thread started by hand", "add "+m.op(x, specdata.Start)+" before it")
	}
	if s.is == AtFinal && s.touched && x.Stage <= n {
		m.fail(x, CauseTwice, AtFinal.String(), "a fastener that is not final", "remove the second stage "+fmt.Sprint(x.Stage))
		return
	}
	if s.is == AtFinal {
		s.stage = 0
	}
	if f != nil && !m.stageFollows(x, n) {
		return
	}
	m.allFirst(x, x.Stage)
	if x.Stage < n {
		s.is, s.stage = Staged, x.Stage
		m.owes(x, DebtFastener, fmt.Sprintf("at stage %d of %d", x.Stage, n))
		m.use(x, []int{x.Stage - 1}, false)
		return
	}
	m.ledger.close(DebtFastener, x.key)
	m.finalise(x, []int{x.Stage - 1})
}

// stageFollows reports a stage that is not the next one or not of the verb's sort,
// and returns whether it can be carried out.
func (m *machine) stageFollows(x *subject, n int) bool {
	s, angle := x.s, func() bool { return !x.f.Tightening.Stages[x.Stage-1].Angle.IsZero() }
	switch {
	case x.Stage < 1 || x.Stage > n:
		m.fail(x, CauseStage, fmt.Sprintf("a fastener of %d stages and the step asks for stage %d", n, x.Stage), fmt.Sprintf("a stage from 1 to %d", n), "correct the stage")
		return false
	case x.Stage <= s.stage:
		m.fail(x, CauseTwice, fmt.Sprintf("past stage %d already", x.Stage), fmt.Sprintf("stage %d next", s.stage+1), "remove the second stage or correct its number")
		return false
	case x.Stage != s.stage+1:
		m.fail(x, CauseStage, fmt.Sprintf("at stage %d", s.stage), fmt.Sprintf("stage %d before stage %d", x.Stage-1, x.Stage), fmt.Sprintf("add stage %d before it", s.stage+1))
	case x.Do == specdata.Turn && !angle():
		m.fail(x, CauseStage, fmt.Sprintf("turned by an angle, but stage %d of the record is not an angle", x.Stage), "the verb stage", "write stage instead of turn")
	case x.Do == specdata.StageVerb && angle():
		m.fail(x, CauseStage, fmt.Sprintf("brought to a torque, but stage %d of the record is an angle", x.Stage), "the verb turn", "write turn instead of stage")
	}
	return true
}

// finalise brings a fastener to its final value: it judges the vehicle state and
// the piece, and opens what the record owes afterwards.
func (m *machine) finalise(x *subject, stages []int) {
	s, f := x.s, x.f
	disturbed := s.last
	wasSlack := s.is == Slack || s.is == Snug && !s.newPiece
	s.is, s.stage, s.last = AtFinal, stagesOf(f), x.Act
	x.NewPiece = s.newPiece
	m.use(x, stages, true)
	if f == nil {
		return
	}
	m.judgeState(x)
	m.judgePiece(x, disturbed, wasSlack)
	if lockedBy(f) && !s.locked {
		m.ledger.close(DebtLock, x.key)
		m.owesLock(x)
	}
	for _, u := range f.FollowUps {
		m.owe(x, u)
	}
}

func (m *machine) use(x *subject, stages []int, isFinal bool) {
	a, f := x.Act, x.f
	if f == nil || len(stages) == 0 {
		return
	}
	if n := len(m.out.Torques); n > 0 && m.out.Torques[n-1].Act == a {
		return // another position of the same act
	}
	m.out.Torques = append(m.out.Torques, TorqueUse{Act: a, Moment: len(m.out.Timeline), Fastener: f, Stages: stages, Final: isFinal, End: a.End, Around: *a.Before})
}

// judgeState compares the state of the vehicle with the one the record asks for.
func (m *machine) judgeState(x *subject) {
	f, end := x.f, x.End
	if f.Tightening == nil {
		return
	}
	if f.Tightening.Needs(specdata.StateCold) {
		m.coldFor(x, "tightened hot")
	}
	if end == "" {
		return
	}
	for _, state := range append([]specdata.VehicleState{f.Tightening.State}, f.Tightening.And...) {
		m.judgeEnd(x, end, state)
	}
}

// judgeEnd compares an end of the vehicle with one state that the record asks for.
func (m *machine) judgeEnd(x *subject, end string, state specdata.VehicleState) {
	here := m.end(end)
	switch state {
	case specdata.StateOnGround:
		if !here.WheelsCarry() {
			m.fail(x, CauseVehicleState, "tightened with the "+end+" end "+here.String(), "the wheels on the ground", "move the final tightening behind "+paste(specdata.Lower, endTarget(end)))
		}
	case specdata.StateRideHeight, specdata.StateLoaded:
		if !here.WheelsCarry() && !m.loaded[end] {
			m.fail(x, CauseVehicleState, "tightened with the "+end+" suspension hanging in droop", "ride height", "add "+paste(specdata.LoadSuspension, specdata.Target("suspension:"+end))+" before it, or leave it snug, defer it and tighten it on the ground")
		}
	case specdata.StateDroop:
		if here.WheelsCarry() || m.loaded[end] {
			m.fail(x, CauseVehicleState, "tightened with the "+end+" suspension under load", "the suspension hanging in droop", "move the final tightening before the suspension is loaded")
		}
	}
}

// judgePiece reports a fastener that must be new and is not.
func (m *machine) judgePiece(x *subject, disturbed *Act, wasSlack bool) {
	s, f := x.s, x.f
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
		m.fail(x, CauseOldPiece, "the old piece, which was loosened", renew+", because the record says "+f.Reuse.Rule, mend)
	default:
		if s.scrap {
			m.fail(x, CauseOldPiece, "the piece that was discarded", "a new piece", "write new: true where the thread is started")
		}
	}
}

// allFirst reports a position that goes on to another stage while a position of
// the same family has not passed the one before, where the record says that all
// pass it first. An act on all positions at once brings them on together; to is
// the stage it brings them to.
func (m *machine) allFirst(x *subject, to int) {
	f := x.f
	if x.key.Position == 0 || f == nil || f.Tightening == nil {
		return
	}
	together := map[Thing]bool{}
	for _, n := range m.positionsOf(x.Act) {
		together[x.key.at(n)] = true
	}
	for i := 0; i < to-1 && i < len(f.Tightening.Stages); i++ {
		if !f.Tightening.Stages[i].AllFirst {
			continue
		}
		for _, key := range m.fastenerKeys(f.ID, x.Side) {
			other := m.states[key]
			if together[key] || other == nil || other.stage > i {
				continue // goes along, was never loosened, or has passed the stage
			}
			stage := strconv.Itoa(i + 1)
			m.failBy(x, x.Target, CauseAllFirst, "brought past stage "+stage+" while no. "+strconv.Itoa(key.Position)+" is "+other.is.String(),
				"every position past stage "+stage+" first", "do stage "+stage+" on all positions, then go on")
			return
		}
	}
}

// backOff slackens a fastener within its tightening: as the stage of the record
// that says so, or to verify a value by tightening again.
func (m *machine) backOff(x *subject) {
	if x.Stage > 0 {
		if x.f != nil && x.Stage <= stagesOf(x.f) && !x.f.Tightening.Stages[x.Stage-1].Slacken {
			m.fail(x, CauseStage, fmt.Sprintf("backed off, but stage %d of the record is no slackening", x.Stage), "the verb of that stage", "write stage or turn instead of back-off")
			return
		}
		m.stage(x)
		return
	}
	switch x.s.is {
	case Out, Started, Slack:
		m.fail(x, CauseTwice, x.s.is.String(), "a fastener that is snug, part way or final", "remove the back-off")
		return
	}
	m.carryOut(&slackening, x)
}
