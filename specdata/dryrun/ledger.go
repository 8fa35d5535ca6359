package dryrun

import (
	"slices"
	"strconv"

	"proofload/specdata"
)

// Debt is a sort of ledger entry.
type Debt string

// The debts.
const (
	DebtFastener   Debt = "fastener"
	DebtPart       Debt = "part"
	DebtJoint      Debt = "joint"
	DebtConnection Debt = "connection"
	DebtClip       Debt = "clip"
	DebtHung       Debt = "hung"
	DebtAid        Debt = "aid"
	DebtFill       Debt = "fill"
	DebtBleed      Debt = "bleed"
	DebtCaps       Debt = "caps"
	DebtElectrics  Debt = "electrics"
	DebtRaised     Debt = "raised"
	DebtLoaded     Debt = "loaded"
	DebtDeferred   Debt = "deferred"
	DebtLock       Debt = "lock"
	DebtPedal      Debt = "pedal"
	DebtChocks     Debt = "chocks"
	// The debts below are follow-ups: the joint is made, something about it is still owed.
	DebtAlignment Debt = "alignment"
	DebtRecheck   Debt = "recheck"
	DebtTurns     Debt = "turns-freely"
	DebtEndFloat  Debt = "end-float"
	DebtLeak      Debt = "leak"
	DebtLevel     Debt = "level"
	DebtLamp      Debt = "warning-lamp"
	DebtRelearn   Debt = "relearn"
	DebtCalibrate Debt = "calibrate"
)

// Debts lists the debts in the order above.
var Debts = []Debt{
	DebtFastener, DebtPart, DebtJoint, DebtConnection, DebtClip, DebtHung, DebtAid, DebtFill, DebtBleed, DebtCaps,
	DebtElectrics, DebtRaised, DebtLoaded, DebtDeferred, DebtLock, DebtPedal, DebtChocks,
	DebtAlignment, DebtRecheck, DebtTurns, DebtEndFloat, DebtLeak, DebtLevel, DebtLamp, DebtRelearn, DebtCalibrate,
}

// FollowUp reports whether the debt is a check owed rather than something off, loose or open.
func (d Debt) FollowUp() bool { return debts[d].followUp }

// Entry is one line of the ledger: something disturbed that a named act must close.
type Entry struct {
	Debt Debt
	// Thing is what it is about.
	Thing Thing
	// State says how the thing is while the entry is open ("off", "loose"); Is is the
	// state of a fastener or another thing that has one.
	State string
	Is    State
	// Act opened it, Last is the act that worked on it last without closing it.
	Act, Last *Act

	name string // the title of the thing's record
}

// Title returns the thing in shop words: "wheel nut no. 3 on the left".
func (e *Entry) Title() string {
	title := specdata.InSentence(e.name)
	if e.Thing.Position > 0 {
		title += " no. " + strconv.Itoa(e.Thing.Position)
	}
	if e.Thing.Side != "" {
		title += " on the " + string(e.Thing.Side)
	}
	return title
}

func (e *Entry) key() entryKey { return entryKey{e.Debt, e.Thing} }

type entryKey struct {
	debt  Debt
	thing Thing
}

// ledger keeps open entries in the order they were opened.
type ledger struct {
	open  map[entryKey]*Entry
	order []*Entry // every entry ever opened
	// answers lists, for the debts that an act can settle wherever they are, the
	// things they were about.
	answers map[Debt][]Thing
	opened  []*Entry // since the last moment
	changed []*Entry
	settled []*Entry
	// spare are entries not yet given out, log is where the moments' lists lie:
	// one allocation for many.
	spare []Entry
	log   []Entry
}

// newLedger makes a ledger for so many acts, of which about a third open an entry.
func newLedger(acts int) *ledger {
	return &ledger{open: make(map[entryKey]*Entry, acts/3), order: make([]*Entry, 0, acts/2), spare: make([]Entry, acts/2), log: make([]Entry, 0, acts)}
}

// add opens an entry unless it is open already: taking off a nut that was
// slackened is one debt, not two. The first act stays the one to name.
func (l *ledger) add(e Entry) {
	key := e.key()
	if old, ok := l.open[key]; ok {
		if old.State != e.State {
			l.changed = append(l.changed, old)
		}
		old.State, old.Is, old.Last = e.State, e.Is, e.Act
		return
	}
	if len(l.spare) == 0 {
		l.spare = make([]Entry, 32)
	}
	kept := &l.spare[0]
	l.spare = l.spare[1:]
	*kept = e
	kept.Last = e.Act
	l.open[key] = kept
	l.order = append(l.order, kept)
	l.opened = append(l.opened, kept)
	if e.Debt.FollowUp() || e.Debt == DebtPedal {
		if l.answers == nil {
			l.answers = map[Debt][]Thing{}
		}
		l.answers[e.Debt] = append(l.answers[e.Debt], e.Thing)
	}
}

func (l *ledger) close(d Debt, thing Thing) bool {
	k := entryKey{d, thing}
	e, ok := l.open[k]
	if !ok {
		return false
	}
	delete(l.open, k)
	l.settled = append(l.settled, e)
	return true
}

// closeAll closes every entry of a follow-up, or of the pedal, whatever it is about.
func (l *ledger) closeAll(d Debt) {
	for _, thing := range l.answers[d] {
		l.close(d, thing)
	}
	delete(l.answers, d)
}

// left lists what is open, in the order it was opened.
func (l *ledger) left() []*Entry {
	if len(l.open) == 0 {
		return nil
	}
	es := make([]*Entry, 0, len(l.open))
	for _, e := range l.order {
		if l.open[e.key()] == e {
			es = append(es, e)
		}
	}
	return es
}

// take returns what was opened, changed and closed since the last call. An entry opened
// and closed in between is in no list.
func (l *ledger) take() (opened, changed, closed []Entry) {
	from := len(l.log)
	for _, e := range l.opened {
		if l.open[e.key()] == e {
			l.log = append(l.log, *e)
		}
	}
	opened, from = l.log[from:len(l.log):len(l.log)], len(l.log)
	for i, e := range l.changed {
		if l.open[e.key()] == e && !slices.Contains(l.opened, e) && !slices.Contains(l.changed[:i], e) {
			l.log = append(l.log, *e)
		}
	}
	changed, from = l.log[from:len(l.log):len(l.log)], len(l.log)
	for _, e := range l.settled {
		if !slices.Contains(l.opened, e) {
			l.log = append(l.log, *e)
		}
	}
	closed = l.log[from:len(l.log):len(l.log)]
	l.opened, l.changed, l.settled = l.opened[:0], l.changed[:0], l.settled[:0]
	return opened, changed, closed
}
