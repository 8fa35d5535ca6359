package claim

import (
	"math/big"
	"strconv"
	"strings"

	"proofload/specdata"
)

// Compose returns a sentence for the acts of a step, in shop English. It is the inverse
// of reading: what is composed reads back to the acts, claims nothing that they do not
// do and leaves none of them unsaid. Values stand in it as placeholders. The sentence of
// a step that neither acts nor repeats others is "".
func (w *World) Compose(step int) string {
	acts := w.StepActs(step)
	var parts []string
	for i := 0; i < len(acts); {
		j := i + 1
		for j < len(acts) && joins(acts[i], acts[j]) {
			j++
		}
		var things []string
		for _, a := range acts[i:j] {
			things = append(things, thing(a))
		}
		parts = append(parts, w.phrase(acts[i], list(things)))
		i = j
	}
	if len(parts) == 0 {
		if r := w.Procedure.Steps[step].Repeat; r != nil {
			return again(r)
		}
		return ""
	}
	text := strings.Join(parts, "; ")
	return strings.ToUpper(text[:1]) + text[1:] + "."
}

// joins reports whether two acts go into one phrase: the same plain act on other things.
func joins(a, b *Act) bool {
	switch a.Op.Do {
	case specdata.Remove, specdata.Fit, specdata.Discard, specdata.Connect, specdata.Disconnect, specdata.Unclip, specdata.ClipVerb:
		return a.Op.Do == b.Op.Do && a.Op.Side == b.Op.Side && a.Op.With == "" && b.Op.With == "" && a.Op.By.IsZero() && b.Op.By.IsZero() && len(a.Op.Positions) == 0 && len(b.Op.Positions) == 0
	}
	return false
}

func list(things []string) string {
	switch n := len(things); n {
	case 1:
		return things[0]
	default:
		return strings.Join(things[:n-1], ", ") + " and " + things[n-1]
	}
}

// thing names the target of an act: "the left wheel nuts", "a new gasket".
func thing(a *Act) string {
	title := specdata.InSentence(a.Thing.Title)
	f := a.Thing.Fastener
	several := f != nil && f.Count > 1 && len(a.Op.Positions) != 1
	if several {
		title = plural(title)
	}
	if a.Op.Side == specdata.SideLeft || a.Op.Side == specdata.SideRight {
		title = string(a.Op.Side) + " " + title
	}
	pieces := f != nil && f.Reuse != nil && len(f.Reuse.Renew) > 0
	switch {
	case a.Op.New && pieces && f.Reuse.Renew[0] != "bolt" && f.Reuse.Renew[0] != "nut":
		return "the " + title + " with a new " + f.Reuse.Renew[0]
	case a.Op.New && several:
		title = numberOf(a) + "new " + title
	case a.Op.New:
		title = "a new " + title
	default:
		title = "the " + numberOf(a) + title
	}
	if n := len(a.Op.Positions); n > 0 {
		word := " in position "
		if n > 1 {
			word = " in positions "
		}
		numbers := make([]string, n)
		for i, p := range a.Op.Positions {
			numbers[i] = strconv.Itoa(p)
		}
		title += word + list(numbers)
	}
	return title
}

// numberOf says how many fasteners an act is on, where that is more than one and all.
func numberOf(a *Act) string {
	f := a.Thing.Fastener
	if f == nil || f.Count < 2 || f.Count >= len(cardinals) || len(a.Op.Positions) > 0 {
		return ""
	}
	return cardinals[f.Count] + " "
}

var cardinals = []string{"", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"}

func plural(title string) string {
	if head, tail, ok := strings.Cut(title, " and "); ok {
		return plural(head) + " and " + plural(tail)
	}
	switch {
	case strings.HasSuffix(title, "s"), strings.HasSuffix(title, "x"), strings.HasSuffix(title, "ch"):
		return title + "es"
	}
	return title + "s"
}

// phrase says one act, or several alike, on things that are named already.
func (w *World) phrase(a *Act, things string) string {
	op := a.Op
	_, id := op.Target.Split()
	text := ""
	switch op.Do {
	case specdata.Secure:
		return secure(op)
	case specdata.Raise:
		return "raise the " + id
	case specdata.Support:
		return "support the " + id + ", set on stands"
	case specdata.Lower:
		return "lower the " + id + " to the ground"
	case specdata.LoadSuspension:
		return "jack up the " + id + " suspension to ride height"
	case specdata.UnloadSuspension:
		return "lower the " + id + " suspension from the jack"
	case specdata.Slacken:
		text = "slacken " + things
	case specdata.BackOff:
		text = "back off " + things
	case specdata.Remove:
		text = "remove " + things
	case specdata.Unlock:
		text = "unlock " + things
	case specdata.LockVerb:
		text = "lock " + things
	case specdata.Fit:
		text = "fit " + things
	case specdata.Start:
		text = "start " + things + " by hand"
	case specdata.Snug:
		text = "run " + things + " down by hand"
	case specdata.Tighten:
		text = "tighten " + things + order(a) + " to {torque:" + id + "}"
	case specdata.StageVerb:
		text = "tighten " + things + order(a) + " to " + stage(a, id)
	case specdata.Turn:
		text = "turn " + things + order(a) + " by " + stage(a, id)
	case specdata.Defer:
		return "leave " + things + ", to be tightened finally " + due(op.Until)
	case specdata.Resolve:
		return "note " + things + " as tightened"
	case specdata.Separate:
		text = "separate " + things
	case specdata.Join:
		text = "join " + things
	case specdata.Disconnect:
		text = "disconnect " + things
	case specdata.Connect:
		text = "connect " + things
	case specdata.Unclip:
		text = "unclip " + things
	case specdata.ClipVerb:
		text = "clip " + things
	case specdata.Hang:
		text = "hang up " + things
	case specdata.Unhang:
		text = "unhook " + things
	case specdata.SetAid:
		return "set on " + things
	case specdata.ClearAid:
		return "take away " + things
	case specdata.Depressurise:
		return "depressurise " + things
	case specdata.Release:
		return "release " + things
	case specdata.RunEngine:
		return "run the engine"
	case specdata.Rotate:
		return "rotate " + things
	case specdata.LockOff:
		return "lock off " + things
	case specdata.ProveDead:
		return "prove " + things + " dead"
	case specdata.Isolate:
		return "disconnect " + things
	case specdata.Restore:
		return "connect " + things
	case specdata.Retract:
		return "push the piston of " + things + " back"
	case specdata.RoadTest:
		return "drive a short test"
	case specdata.RecordJob:
		return "record the job"
	case specdata.Advise:
		return "advise the customer about " + things
	case specdata.Relearn:
		return "relearn " + things
	case specdata.PressOut:
		text = "press out " + things
	case specdata.PressIn:
		text = "press in " + things
	case specdata.Wait:
		if !op.For.IsZero() {
			return "wait " + specdata.Display(op.For) + " at " + things
		}
		return "wait at " + things
	case specdata.Uncap:
		return "take off the caps of " + things
	case specdata.Apply:
		if c := w.consumable(op.With); c != nil {
			text = "apply " + specdata.InSentence(c.Title) + " to " + things
			break
		}
		text = "apply what is needed to " + things
	case specdata.Drain, specdata.Fill, specdata.Bleed:
		text = string(op.Do) + " " + things
		if c := w.consumable(op.With); c != nil && op.Do == specdata.Fill {
			text += " with " + specdata.InSentence(c.Title)
		}
	default:
		text = strings.ReplaceAll(string(op.Do), "-", " ") + " " + things
	}
	if !op.By.IsZero() {
		text += " by " + amount(op.By)
	}
	if op.Do == specdata.Start || op.Do == specdata.Fit {
		if f := a.Thing.Fastener; f != nil && f.Fitting != nil && f.Fitting.Direction != "" {
			text += ", " + f.Fitting.Direction
		}
	}
	if !op.Low.IsZero() || !op.High.IsZero() {
		text += ": {limit}"
	}
	return text
}

// secure says how the vehicle is kept from rolling.
func secure(op *specdata.Operation) string {
	text := "chock the wheels and secure the vehicle"
	switch {
	case len(op.Chocks) == 1:
		text = "chock the " + op.Chocks[0] + " wheels and secure the vehicle"
	case len(op.Chocks) == 0 && op.With == "" && (op.ParkingBrake != "" || op.Gear != ""):
		text = "secure the vehicle"
	}
	if op.ParkingBrake != "" {
		text += ", parking brake " + op.ParkingBrake
	}
	switch op.Gear {
	case "neutral":
		text += ", gearbox in neutral"
	case "in":
		text += ", a gear engaged"
	}
	return text
}

// consumable returns what an act is done with, where that is one of the set-up block.
func (w *World) consumable(id string) *specdata.Consumable {
	for i := range w.Procedure.Consumables {
		if c := &w.Procedure.Consumables[i]; c.ID == id {
			return c
		}
	}
	return nil
}

// order says the order of several fasteners, as their record has it.
func order(a *Act) string {
	f := a.Thing.Fastener
	if f == nil || f.Tightening == nil || f.Tightening.Pattern == nil || len(a.Op.Positions) == 1 {
		return ""
	}
	switch o := f.Tightening.Pattern.Order; o {
	case "cross", "star", "circle", "spiral":
		return " in a " + o
	case "centre-out":
		return " from the centre outwards"
	case "sequence":
		return " in numbered order"
	}
	return ""
}

func stage(a *Act, id string) string {
	n := strconv.Itoa(a.Op.Stage)
	text := "{stage:" + id + "/" + n + "}"
	if f := a.Thing.Fastener; f != nil && f.Tightening != nil && len(f.Tightening.Stages) > 1 {
		text += ", stage " + n + " of " + strconv.Itoa(len(f.Tightening.Stages))
	}
	return text
}

func due(until specdata.VehicleState) string {
	switch until {
	case specdata.StateRideHeight:
		return "at ride height"
	case specdata.StateOnGround:
		return "on the ground"
	}
	return "later"
}

// amount says a part of a turn in words, and any other quantity in digits.
func amount(q specdata.Quantity) string {
	u, _ := specdata.LookupUnit("turn")
	v, err := q.In(u)
	if err != nil {
		return specdata.Display(q)
	}
	switch {
	case v.Cmp(big.NewRat(1, 2)) == 0:
		return "half a turn"
	case v.Cmp(big.NewRat(1, 4)) == 0:
		return "a quarter turn"
	case v.Cmp(big.NewRat(1, 1)) == 0:
		return "one turn"
	case v.IsInt():
		return v.RatString() + " turns"
	}
	return specdata.Display(q)
}
