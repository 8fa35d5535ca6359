// Package job keeps open jobs: a procedure being done by people on one vehicle. A job
// is its events, append-only and durable before they are acknowledged; what is off,
// loose or open is never typed by anybody, it is the dry run stepped by what people did.
package job

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base32"
	"encoding/hex"
	"encoding/json"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/tlog"
)

// Kind is what happened.
type Kind string

// The kinds of event.
const (
	Opened Kind = "opened"
	// Wrench assigns a torque wrench by its number.
	Wrench Kind = "wrench"
	// Ticked says that a step is done, Skipped that it is left out with a reason.
	Ticked  Kind = "ticked"
	Skipped Kind = "skipped"
	// Undone takes a tick back.
	Undone Kind = "undone"
	// Reached is the value a fastener was brought to, piece by piece, or that the wrench clicked.
	Reached Kind = "reached"
	// Measured is a value measured against the limits of a step.
	Measured Kind = "measured"
	// Answered closes an open thing that no step closes: a value outside its band.
	Answered Kind = "answered"
	Noted    Kind = "noted"
	// Photo keeps the SHA-256 of a picture that stays with the people who took it.
	Photo   Kind = "photo"
	Stopped Kind = "stopped"
	// TakenOver ends a stop: who takes over confirms every open thing.
	TakenOver  Kind = "taken-over"
	FollowedUp Kind = "followed-up"
	Closed     Kind = "closed"
	Reopened   Kind = "reopened"
	// Erased notes that names or the vehicle's identity were erased.
	Erased Kind = "erased"
)

// Kinds lists the kinds that a request may record; the rest the server writes itself.
var Kinds = []Kind{Wrench, Ticked, Skipped, Undone, Reached, Measured, Answered, Noted, Photo, Stopped, TakenOver, FollowedUp, Closed, Reopened}

// Sealed stands for a text that is kept apart under a random key, so that it can be
// erased without breaking the proof: the hash is of a random salt and the text. The
// zero Sealed is no text.
type Sealed struct {
	Key  string `json:"key,omitempty"`
	Hash string `json:"hash,omitempty"`
}

// apart is what is kept of a sealed text until it is erased.
type apart struct {
	// What says what is erased with it: people, vehicle or text.
	What string `json:"what"`
	Salt string `json:"salt"`
	Text string `json:"text"`
}

func seal(what, text string) (Sealed, *apart) {
	if text == "" {
		return Sealed{}, nil
	}
	a := &apart{what, chance(), text}
	return Sealed{chance(), a.hash()}, a
}

func (a apart) hash() string {
	h := sha256.Sum256([]byte(a.Salt + "\n" + a.Text))
	return hex.EncodeToString(h[:])
}

var letters = base32.StdEncoding.WithPadding(base32.NoPadding)

// chance returns 128 bits that nobody guesses.
func chance() string {
	var b [16]byte
	rand.Read(b[:]) // never fails, by its documentation
	return strings.ToLower(letters.EncodeToString(b[:]))
}

// Event is one thing that happened, as the job's tree holds it.
type Event struct {
	// Number counts the events of the job from 1; Request is the id its request gave.
	Number  int64  `json:"number"`
	Job     string `json:"job"`
	Request string `json:"request"`
	Kind    Kind   `json:"kind"`
	// Time is when the server took it, Done when the person did it where a device says so.
	Time time.Time `json:"time"`
	Done time.Time `json:"done,omitzero"`
	By   Sealed    `json:"by,omitzero"`
	// Step is the number of a step of the job, from 1.
	Step     int    `json:"step,omitempty"`
	Fastener string `json:"fastener,omitempty"`
	// Piece counts the pieces of a fastener, or the measurements of a step, from 1.
	Piece int `json:"piece,omitempty"`
	// Value is a quantity as written, or Clicked.
	Value   string `json:"value,omitempty"`
	Clicked bool   `json:"clicked,omitempty"`
	// Wrench is a wrench's number, Until the last day its calibration holds.
	Wrench string `json:"wrench,omitempty"`
	Until  string `json:"until,omitempty"`
	// Photo is a SHA-256, lower-case hex.
	Photo string `json:"photo,omitempty"`
	// Thing is the id of an open thing or a follow-up, Confirmed several.
	Thing     string   `json:"thing,omitempty"`
	Confirmed []string `json:"confirmed,omitempty"`
	// Text is a note or a reason. Override says that it overrides what the state forbids.
	Text     Sealed `json:"text,omitzero"`
	Override bool   `json:"override,omitempty"`
	// NewPiece names the new piece that was fitted.
	NewPiece Sealed `json:"new_piece,omitzero"`
	// Forbade is what the state forbade where it was overridden.
	Forbade string `json:"forbade,omitempty"`
	Open    *Start `json:"open,omitempty"`

	// Person, Words and Fitted are By, Text and NewPiece unsealed, "" where there are none
	// and Gone where they were erased.
	Person string `json:"-"`
	Words  string `json:"-"`
	Fitted string `json:"-"`
}

// Gone stands for what was erased.
const Gone = "(erased)"

// Start is what a job is born from.
type Start struct {
	Procedure string   `json:"procedure"`
	Position  int64    `json:"position"`
	Vehicle   string   `json:"vehicle"`
	Options   []string `json:"options,omitempty"`
	Built     string   `json:"built,omitempty"`
	Side      string   `json:"side,omitempty"`
	// Plate, VIN, Odometer and Order tell the vehicle and the job in the shop's books.
	Plate    Sealed `json:"plate,omitzero"`
	VIN      Sealed `json:"vin,omitzero"`
	Odometer Sealed `json:"odometer,omitzero"`
	Order    string `json:"order,omitempty"`
}

// leaf is the event as the tree hashes it.
func (e *Event) leaf() ([]byte, error) { return json.Marshal(e) }

// Root is the root of the tree of leaves (RFC 6962), lower-case hex; "" for none.
func Root(leaves [][]byte) string {
	var stored []tlog.Hash
	read := tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		out := make([]tlog.Hash, len(indexes))
		for i, x := range indexes {
			out[i] = stored[x]
		}
		return out, nil
	})
	for i, leaf := range leaves {
		more, err := tlog.StoredHashes(int64(i), leaf, read)
		if err != nil {
			return ""
		}
		stored = append(stored, more...)
	}
	if len(leaves) == 0 {
		return ""
	}
	root, err := tlog.TreeHash(int64(len(leaves)), read)
	if err != nil {
		return ""
	}
	return hex.EncodeToString(root[:])
}
