package dryrun

import (
	"strconv"

	"proofload/specdata"
)

// State is how a fastener or another thing stands.
type State uint8

// The states: of a fastener from AtFinal to Staged, of everything else from InPlace on.
// Unknown is the state of what has none: places, circuits, the vehicle.
const (
	Unknown State = iota
	AtFinal
	Slack
	Out
	Started
	Snug
	Staged
	InPlace
	Off
	Apart
	Undone
	Open
)

var stateWords = [...]string{
	"", "at its final value", "slack", "out", "started by hand", "snug", "part way through its stages",
	"in place", "off", "apart", "undone", "open",
}

// String returns the state in shop words.
func (s State) String() string { return stateWords[s] }

// untouched returns the state that a type of target is in on a vehicle nobody has worked on.
func untouched(typ string) State {
	switch typ {
	case "fastener":
		return AtFinal
	case "part", "joint", "connection", "clip":
		return InPlace
	case "aid":
		return Off
	}
	return Unknown
}

// EndState is how an end of the vehicle stands.
type EndState uint8

// The states of an end.
const (
	Ground EndState = iota
	Raised
	Supported
	// OnLift hangs on the arms of a two-post lift, OnPlatform stands on its wheels on a
	// four-post or drive-on one.
	OnLift
	OnPlatform
)

// WheelsCarry reports whether the end stands on its wheels.
func (e EndState) WheelsCarry() bool { return e == Ground || e == OnPlatform }

// String returns the state of an end in shop words.
func (e EndState) String() string {
	return [...]string{"on the ground", "raised on the jack", "supported on stands", "on the lift", "on its wheels on the lift"}[e]
}

// Thing is what an act works on: a target, the side where there is one on either,
// and the position where a procedure tells the fasteners of a family apart.
type Thing struct {
	Target specdata.Target
	// Side is left, right, or "" where the thing is not handed.
	Side specdata.Side
	// Position counts from 1; 0 is the whole family.
	Position int
}

// String returns the thing as findings name it: "part:disc, left, no. 3".
func (t Thing) String() string {
	s := string(t.Target)
	if place := t.Place(); place != "" {
		s += ", " + place
	}
	return s
}

// Place returns side and position: "left, no. 3".
func (t Thing) Place() string {
	s := string(t.Side)
	if t.Position > 0 {
		if s != "" {
			s += ", "
		}
		s += "no. " + strconv.Itoa(t.Position)
	}
	return s
}

// at returns the thing at a position.
func (t Thing) at(position int) Thing {
	t.Position = position
	return t
}

func sided(target specdata.Target, side specdata.Side, handed bool) Thing {
	if handed && (side == specdata.SideLeft || side == specdata.SideRight) {
		return Thing{Target: target, Side: side}
	}
	return Thing{Target: target}
}

// state is one thing's state.
type state struct {
	is State
	// touched says that this procedure changed the thing, last is the act that did.
	touched bool
	last    *Act
	// stage counts the stages done of a fastener.
	stage int
	// locked and deferred are said of fasteners, newPiece and scrap of fasteners and parts, hung of
	// parts, capped of connections.
	locked, deferred, newPiece, scrap, hung, capped bool
}

// subject is an act with the one thing it is carried out on.
type subject struct {
	*Act
	key Thing
	// s is nil for a target without a state, sp where no assembly names the thing, and
	// f where the target is no fastener or the library lacks it.
	s  *state
	sp *spec
	f  *specdata.Fastener
}
