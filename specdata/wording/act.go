package wording

import (
	"strconv"
	"strings"

	"proofload/specdata"
)

// Act returns an operation as an instruction: "tighten the wheel nut (5) to 110 N·m
// (81 lbf·ft), left side, with the torque wrench, large". title is the title of its
// target, "" where no record has one; f is the target where that is a fastener,
// else nil.
func Act(p *specdata.Procedure, op *specdata.Operation, title string, f *specdata.Fastener) string {
	typ, id := op.Target.Split()
	if title == "" {
		title = strings.ReplaceAll(id, "-", " ")
	}
	thing := specdata.InSentence(title)
	if f != nil && f.Count > 1 && len(op.Positions) == 0 {
		thing += " (" + strconv.Itoa(f.Count) + ")"
	}
	text := doing(op, typ, thing, f)
	for i, n := range op.Positions {
		switch i {
		case 0:
			text += ", no. " + strconv.Itoa(n)
		default:
			text += ", " + strconv.Itoa(n)
		}
	}
	if !op.For.IsZero() {
		text += " for " + specdata.Display(op.For)
	}
	if !op.By.IsZero() {
		text += " by " + specdata.Display(op.By)
	}
	if op.Side != "" {
		text += ", " + string(op.Side) + " side"
	}
	text += with(p, op)
	if limit := Limit(op); limit != "" {
		text += ": " + limit
	}
	return text
}

// with names the tool and what the act uses besides, from the set-up block where
// that has it.
func with(p *specdata.Procedure, op *specdata.Operation) string {
	var names []string
	if t := p.ToolOf(op.Tool); t != nil {
		names = append(names, specdata.InSentence(t.Title))
	}
	if _, id := op.Target.Split(); op.With != "" && op.With != id {
		name := strings.ReplaceAll(op.With, "-", " ")
		if t := p.ToolOf(op.With); t != nil {
			name = specdata.InSentence(t.Title)
			if t.Size != "" {
				name += " " + t.Size
			}
		}
		for i := range p.Consumables {
			if p.Consumables[i].ID == op.With {
				name = specdata.InSentence(p.Consumables[i].Title)
			}
		}
		names = append(names, name)
	}
	if len(names) == 0 {
		return ""
	}
	return ", using " + strings.Join(names, " and ")
}

// doing puts a verb and its target into words.
func doing(op *specdata.Operation, typ, thing string, f *specdata.Fastener) string {
	the := "the " + thing
	if op.New {
		the = "a new " + thing
		if f != nil && f.Count > 1 {
			the = "new " + thing
		}
	}
	if typ == "place" { // a place has no article: "leaks", "clock and windows"
		the = thing
	}
	switch op.Do {
	case specdata.Secure:
		return "secure the vehicle against rolling" + stands(op)
	case specdata.Release:
		return "take the chocks away"
	case specdata.RunEngine:
		return "run the engine"
	case specdata.Rotate:
		return "turn " + the + " by hand"
	case specdata.LockOff:
		return "lock off and tag the isolator: " + thing
	case specdata.ProveDead:
		return "prove dead: " + thing + ", the tester proved before and after"
	case specdata.Raise:
		if typ == "vehicle" {
			return "raise the vehicle on the lift"
		}
		return "raise the " + thing + " end"
	case specdata.Support:
		if typ == "vehicle" {
			return "let the lift down into its locks"
		}
		return "set the " + thing + " end on stands"
	case specdata.Lower:
		if typ == "vehicle" {
			return "lower the vehicle to the ground"
		}
		return "lower the " + thing + " end to the ground"
	case specdata.LoadSuspension:
		return "bring the " + thing + " suspension to ride height"
	case specdata.UnloadSuspension:
		return "let the " + thing + " suspension hang again"
	case specdata.Remove:
		if typ == "fastener" {
			return "undo and remove " + the
		}
		return "take off " + the
	case specdata.Unlock:
		return "undo the lock of " + the
	case specdata.LockVerb:
		if f != nil && f.Lock != nil {
			return "lock " + the + ": " + Lock(f.Lock)
		}
		return "lock " + the
	case specdata.Start:
		return "start " + the + " by hand"
	case specdata.Snug:
		return "run " + the + " down, no torque yet"
	case specdata.Tighten, specdata.StageVerb, specdata.Turn:
		return tightening(op, the, f)
	case specdata.Defer:
		return "leave the final tightening of " + the + " " + until(op.Until)
	case specdata.Resolve:
		return "strike off the tightening of " + the + " that was left for later"
	case specdata.Separate:
		return "part " + the
	case specdata.Join:
		return "put " + the + " together"
	case specdata.Disconnect:
		return "disconnect " + the
	case specdata.Unclip:
		return "open " + the
	case specdata.ClipVerb:
		return "close " + the
	case specdata.Hang:
		return "hang up " + the
	case specdata.Unhang:
		return "take " + the + " off its hook"
	case specdata.SetAid:
		return "set " + the
	case specdata.ClearAid:
		return "take away " + the
	case specdata.Depressurise:
		return "let the pressure out of " + the
	case specdata.Cap:
		return "cap the open ends of " + the
	case specdata.Uncap:
		return "take the caps off " + the
	case specdata.Isolate:
		return "isolate the electrics: " + thing
	case specdata.Restore:
		return "make live again: " + thing
	case specdata.Retract:
		return "push the piston back: " + thing
	case specdata.RoadTest:
		return "road test"
	case specdata.RecordJob:
		return "write the job down"
	case specdata.BackOff:
		return "back off " + the
	case specdata.PressOut:
		return "press out " + the
	case specdata.PressIn:
		return "press in " + the
	case specdata.StopIf:
		return "stop if: " + thing
	case specdata.Relearn:
		return "initialise the " + thing
	case specdata.Apply:
		return "coat " + the
	case specdata.Wait:
		return "wait: " + thing
	case specdata.Advise:
		return "advise the customer about " + the
	}
	return strings.ReplaceAll(string(op.Do), "-", " ") + " " + the
}

// tightening says a tightening with its value, the one the act is for.
func tightening(op *specdata.Operation, the string, f *specdata.Fastener) string {
	text := "tighten " + the
	if op.Do == specdata.Turn {
		text = "turn " + the
	}
	if f == nil || f.Tightening == nil {
		return text
	}
	if op.Do == specdata.Tighten {
		return text + ": " + Tightening(f.Tightening)
	}
	stage := []int{op.Stage - 1}
	if name := StageNames(f.Tightening, stage); name != "" {
		text += ", " + name
	}
	if value := Stages(f.Tightening, stage); value != "" {
		text += ": " + value
	}
	return text
}

func until(s specdata.VehicleState) string {
	switch s {
	case "":
		return "for later"
	case specdata.StateOnGround:
		return "until the vehicle stands on its wheels"
	case specdata.StateRideHeight:
		return "until the suspension is at ride height"
	}
	return "until it can be done " + State(s)
}

// stands says how a vehicle is secured: ": front wheels chocked, parking brake off, in neutral".
func stands(op *specdata.Operation) string {
	var said []string
	if len(op.Chocks) > 0 {
		said = append(said, strings.Join(op.Chocks, " and ")+" wheels chocked")
	}
	if op.ParkingBrake != "" {
		said = append(said, "parking brake "+op.ParkingBrake)
	}
	switch op.Gear {
	case "neutral":
		said = append(said, "in neutral")
	case "in":
		said = append(said, "in gear")
	}
	if len(said) == 0 {
		return ""
	}
	return ": " + strings.Join(said, ", ")
}
