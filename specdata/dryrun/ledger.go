package dryrun

import (
	"slices"
	"strings"

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
	// The debts below are follow-ups: the joint is made, something about it is still owed.
	DebtAlignment Debt = "alignment"
	DebtRecheck   Debt = "recheck"
	DebtTurns     Debt = "turns-freely"
	DebtEndFloat  Debt = "end-float"
	DebtLeak      Debt = "leak"
	DebtLevel     Debt = "level"
	DebtLamp      Debt = "warning-lamp"
	DebtRelearn   Debt = "relearn"
)

// Debts lists the debts in the order above.
var Debts = []Debt{
	DebtFastener, DebtPart, DebtJoint, DebtConnection, DebtClip, DebtHung, DebtAid, DebtFill, DebtBleed, DebtCaps,
	DebtElectrics, DebtRaised, DebtLoaded, DebtDeferred, DebtLock, DebtPedal,
	DebtAlignment, DebtRecheck, DebtTurns, DebtEndFloat, DebtLeak, DebtLevel, DebtLamp, DebtRelearn,
}

// FollowUp reports whether the debt is a check owed rather than something off, loose or open.
func (d Debt) FollowUp() bool {
	switch d {
	case DebtAlignment, DebtRecheck, DebtTurns, DebtEndFloat, DebtLeak, DebtLevel, DebtLamp, DebtRelearn:
		return true
	}
	return false
}

// Entry is one line of the ledger: something disturbed that a named act must close.
type Entry struct {
	Debt Debt
	// Thing is the target with its side, Title the same in shop words.
	Thing, Title string
	// State says how the thing is while the entry is open ("off", "loose").
	State string
	// Out says of a fastener that it is out, not only loose.
	Out bool
	// Close says what closes it, as an instruction ("fit part:disc").
	Close string
	// Act opened it, Last is the act that worked on it last without closing it.
	Act, Last *Act
	key       entryKey
}

// target gives the thing without its side.
func (e *Entry) target() specdata.Target {
	t, _, _ := strings.Cut(e.Thing, ", ")
	return specdata.Target(t)
}

type entryKey struct {
	debt  Debt
	thing string
}

// ledger keeps open entries in the order they were opened.
type ledger struct {
	open    map[entryKey]*Entry
	order   []entryKey
	byDebt  map[Debt][]string
	opened  []*Entry // since the last moment
	settled []*Entry
}

// newLedger makes a ledger for so many acts, of which about a third open an entry.
func newLedger(acts int) *ledger {
	return &ledger{open: make(map[entryKey]*Entry, acts/3), order: make([]entryKey, 0, acts/2), byDebt: map[Debt][]string{}}
}

// add opens an entry unless it is open already: taking off a nut that was
// slackened is one debt, not two. The first act stays the one to name.
func (l *ledger) add(e Entry) {
	e.key = entryKey{e.Debt, e.Thing}
	if old, ok := l.open[e.key]; ok {
		old.State, old.Out, old.Close, old.Last = e.State, e.Out, e.Close, e.Act
		return
	}
	e.Last = e.Act
	l.open[e.key] = &e
	l.order = append(l.order, e.key)
	l.byDebt[e.Debt] = append(l.byDebt[e.Debt], e.Thing)
	l.opened = append(l.opened, &e)
}

func (l *ledger) close(d Debt, thing string) bool {
	k := entryKey{d, thing}
	e, ok := l.open[k]
	if !ok {
		return false
	}
	delete(l.open, k)
	l.settled = append(l.settled, e)
	return true
}

// closeAll closes every entry of a debt, whatever it is about.
func (l *ledger) closeAll(d Debt) {
	for _, thing := range l.byDebt[d] {
		l.close(d, thing)
	}
	l.byDebt[d] = nil
}

// left lists what is open, in the order it was opened.
func (l *ledger) left() []Entry {
	if len(l.open) == 0 {
		return nil
	}
	es := make([]Entry, 0, len(l.open))
	seen := make(map[entryKey]bool, len(l.open))
	for _, k := range l.order {
		if e, ok := l.open[k]; ok && !seen[k] {
			seen[k] = true
			es = append(es, *e)
		}
	}
	return es
}

// take gives what was opened and closed since the last call. An entry opened and
// closed in between is in neither list.
func (l *ledger) take() (opened, closed []Entry) {
	for _, e := range l.opened {
		if l.open[e.key] == e {
			opened = append(opened, *e)
		}
	}
	for _, e := range l.settled {
		if !slices.Contains(l.opened, e) {
			closed = append(closed, *e)
		}
	}
	l.opened, l.settled = l.opened[:0], l.settled[:0]
	return opened, closed
}
