package slip

import (
	"fmt"
	"slices"
	"strconv"

	"proofload/specdata"
)

// at is a place of an operation.
type at struct{ step, op int }

func places(p *specdata.Procedure, ok func(*specdata.Operation) bool) []at {
	var all []at
	for i := range p.Steps {
		for j := range p.Steps[i].Operations {
			if ok == nil || ok(&p.Steps[i].Operations[j]) {
				all = append(all, at{i, j})
			}
		}
	}
	return all
}

func (a at) of(p *specdata.Procedure) *specdata.Operation { return &p.Steps[a.step].Operations[a.op] }

func (a at) words(p *specdata.Procedure) string {
	op := a.of(p)
	return fmt.Sprintf("%s %s in step %d (%s)", op.Do, op.Target, a.step+1, p.Steps[a.step].ID)
}

// cut takes an operation out of its step.
func (a at) cut(p *specdata.Procedure) specdata.Operation {
	ops := p.Steps[a.step].Operations
	op := ops[a.op]
	p.Steps[a.step].Operations = slices.Delete(slices.Clone(ops), a.op, a.op+1)
	return op
}

func (a at) put(p *specdata.Procedure, op specdata.Operation) {
	ops := p.Steps[a.step].Operations
	p.Steps[a.step].Operations = slices.Insert(slices.Clone(ops), min(a.op, len(ops)), op)
}

// wrongVerbs holds the verb that is picked by mistake.
var wrongVerbs = map[specdata.Verb]specdata.Verb{
	specdata.Remove: specdata.Slacken, specdata.Slacken: specdata.Remove, specdata.Tighten: specdata.Snug, specdata.Snug: specdata.Tighten,
	specdata.Start: specdata.Tighten, specdata.Fit: specdata.Remove, specdata.Connect: specdata.Disconnect, specdata.Disconnect: specdata.Connect,
	specdata.ClipVerb: specdata.Unclip, specdata.Unclip: specdata.ClipVerb, specdata.Raise: specdata.Lower, specdata.Lower: specdata.Raise,
	specdata.Support: specdata.Raise, specdata.LockVerb: specdata.Unlock, specdata.Unlock: specdata.LockVerb, specdata.Hang: specdata.Unhang,
	specdata.Unhang: specdata.Hang, specdata.Separate: specdata.Join, specdata.Join: specdata.Separate, specdata.Drain: specdata.Fill,
	specdata.Fill: specdata.Drain, specdata.Bleed: specdata.Fill, specdata.SetAid: specdata.ClearAid, specdata.ClearAid: specdata.SetAid,
	specdata.Isolate: specdata.Restore, specdata.Restore: specdata.Isolate, specdata.Defer: specdata.Resolve, specdata.Resolve: specdata.Defer,
	specdata.StageVerb: specdata.Turn, specdata.Turn: specdata.StageVerb, specdata.Cap: specdata.Uncap, specdata.Uncap: specdata.Cap,
	specdata.LoadSuspension: specdata.UnloadSuspension, specdata.UnloadSuspension: specdata.LoadSuspension, specdata.Discard: specdata.Remove,
}

// operations are slips in one operation.
func operations() []Kind {
	list := []struct {
		name string
		make func(*maker, *specdata.Procedure) string
	}{
		{"operation-deleted", func(m *maker, p *specdata.Procedure) string {
			a := pick(m, places(p, nil))
			what := "lost: " + a.words(p)
			a.cut(p)
			return what
		}},
		{"operation-duplicated", func(m *maker, p *specdata.Procedure) string {
			a := pick(m, places(p, nil))
			a.put(p, *a.of(p))
			return "pasted twice: " + a.words(p)
		}},
		{"operation-moved", func(m *maker, p *specdata.Procedure) string {
			all := places(p, nil)
			i := m.rng.IntN(len(all))
			a := all[i]
			j := max(0, min(len(all)-1, i+pick(m, []int{-8, -4, -2, -1, 1, 2, 4, 8})))
			what := a.words(p)
			to := all[j]
			op := a.cut(p)
			if to.step == a.step && to.op > a.op {
				to.op-- // what stood behind it has moved up
				if i < j {
					to.op++
				}
			} else if i < j {
				to.op++
			}
			to.put(p, op)
			return fmt.Sprintf("moved to step %d (%s): %s", to.step+1, p.Steps[to.step].ID, what)
		}},
		{"verb-wrong", func(m *maker, p *specdata.Procedure) string {
			return change(m, p, func(op *specdata.Operation) bool { return wrongVerbs[op.Do] != "" }, func(op *specdata.Operation) string {
				was := op.Do
				op.Do = wrongVerbs[op.Do]
				return fmt.Sprintf("verb %s becomes %s", was, op.Do)
			})
		}},
		{"target-wrong", func(m *maker, p *specdata.Procedure) string {
			return change(m, p, nil, func(op *specdata.Operation) string {
				typ, _ := op.Target.Split()
				var others []specdata.Target
				for _, o := range places(p, nil) {
					if t, _ := o.of(p).Target.Split(); t == typ && o.of(p).Target != op.Target && !slices.Contains(others, o.of(p).Target) {
						others = append(others, o.of(p).Target)
					}
				}
				if len(others) == 0 || typ == "place" || typ == "job" {
					return ""
				}
				was := op.Target
				op.Target = pick(m, others)
				return fmt.Sprintf("target %s becomes %s", was, op.Target)
			})
		}},
		{"operation-side-wrong", func(m *maker, p *specdata.Procedure) string {
			return change(m, p, func(op *specdata.Operation) bool { return op.Side != "" }, func(op *specdata.Operation) string {
				was := op.Side
				op.Side = other(was)
				return fmt.Sprintf("side %s becomes %s", was, op.Side)
			})
		}},
		{"tool-wrong", func(m *maker, p *specdata.Procedure) string {
			return change(m, p, func(op *specdata.Operation) bool { return op.Tool != "" && len(p.Tools) > 1 }, func(op *specdata.Operation) string {
				was := op.Tool
				op.Tool = pick(m, p.Tools).ID
				return fmt.Sprintf("tool %s becomes %s", was, op.Tool)
			})
		}},
		{"tool-name-lost", func(m *maker, p *specdata.Procedure) string {
			return change(m, p, func(op *specdata.Operation) bool { return op.Tool != "" }, func(op *specdata.Operation) string {
				was := op.Tool
				op.Tool = ""
				return "tool " + was + " is not named"
			})
		}},
		{"new-lost", func(m *maker, p *specdata.Procedure) string {
			return change(m, p, func(op *specdata.Operation) bool { return op.New }, func(op *specdata.Operation) string {
				op.New = false
				return "new is lost"
			})
		}},
		{"stage-number-wrong", func(m *maker, p *specdata.Procedure) string {
			return change(m, p, func(op *specdata.Operation) bool { return op.Stage > 0 }, func(op *specdata.Operation) string {
				was := op.Stage
				op.Stage = max(1, was+pick(m, []int{-1, 1}))
				return fmt.Sprintf("stage %d becomes %d", was, op.Stage)
			})
		}},
		{"until-wrong", func(m *maker, p *specdata.Procedure) string {
			return change(m, p, func(op *specdata.Operation) bool { return op.Until != "" }, func(op *specdata.Operation) string {
				was := op.Until
				op.Until = pick(m, []specdata.VehicleState{specdata.StateDroop, specdata.StateOnGround, specdata.StateRideHeight, ""})
				return fmt.Sprintf("until %s becomes %q", was, op.Until)
			})
		}},
		{"with-wrong", func(m *maker, p *specdata.Procedure) string {
			return change(m, p, func(op *specdata.Operation) bool { return len(op.With) > 2 && specdata.ValidID(op.With) }, func(op *specdata.Operation) string {
				was := op.With
				op.With = was[:1] + was[2:]
				return fmt.Sprintf("with %s becomes %s", was, op.With)
			})
		}},
		{"with-lost", func(m *maker, p *specdata.Procedure) string {
			return change(m, p, func(op *specdata.Operation) bool { return op.With != "" }, func(op *specdata.Operation) string {
				was := op.With
				op.With = ""
				return "with " + was + " is lost"
			})
		}},
		{"criterion-lost", func(m *maker, p *specdata.Procedure) string {
			return change(m, p, func(op *specdata.Operation) bool {
				return op.Accept != "" && op.Low.IsZero() && (op.Do == specdata.Inspect || op.Do == specdata.Check || op.Do == specdata.Measure)
			}, func(op *specdata.Operation) string {
				op.Accept = ""
				return "criterion is lost"
			})
		}},
		{"limits-swapped", func(m *maker, p *specdata.Procedure) string {
			return change(m, p, func(op *specdata.Operation) bool { return !op.Low.IsZero() && !op.High.IsZero() }, func(op *specdata.Operation) string {
				op.Low, op.High = op.High, op.Low
				return fmt.Sprintf("limits swapped: %s and %s", op.Low, op.High)
			})
		}},
		{"limit-point-slipped", func(m *maker, p *specdata.Procedure) string {
			return change(m, p, func(op *specdata.Operation) bool { return op.High.Sign() > 0 }, func(op *specdata.Operation) string {
				was := op.High
				q, ok := shift(was)
				if !ok {
					return ""
				}
				op.High = q
				return fmt.Sprintf("limit %s becomes %s", was, op.High)
			})
		}},
		{"limit-digit-lost", func(m *maker, p *specdata.Procedure) string {
			return change(m, p, func(op *specdata.Operation) bool { return op.High.Sign() > 0 }, func(op *specdata.Operation) string {
				was := op.High
				f, err := strconv.ParseFloat(was.Number(), 64)
				if err != nil {
					return ""
				}
				q, err := specdata.ParseQuantity(strconv.FormatFloat(f/10, 'f', -1, 64) + " " + was.Unit().Symbol)
				if err != nil {
					return ""
				}
				op.High = q
				return fmt.Sprintf("limit %s becomes %s", was, op.High)
			})
		}},
		{"limit-unit-wrong", func(m *maker, p *specdata.Procedure) string {
			other := map[string]string{"mm": "in", "in": "mm", "N.m": "lbf.ft", "MPa": "psi"}
			return change(m, p, func(op *specdata.Operation) bool { return op.High.Sign() > 0 && other[op.High.Unit().Symbol] != "" }, func(op *specdata.Operation) string {
				unit := other[op.High.Unit().Symbol]
				was := op.High
				for _, q := range []*specdata.Quantity{&op.Low, &op.High} {
					if q.IsZero() {
						continue
					}
					to, err := specdata.ParseQuantity(q.Number() + " " + unit)
					if err != nil {
						return ""
					}
					*q = to
				}
				return fmt.Sprintf("limit %s becomes %s", was, op.High)
			})
		}},
	}
	var ks []Kind
	for _, k := range list {
		ks = append(ks, Kind{Name: k.name, Group: "operation", Of: specdata.KindProcedure, procedure: k.make})
	}
	return ks
}

// change changes one operation of those that are meant.
func change(m *maker, p *specdata.Procedure, meant func(*specdata.Operation) bool, how func(*specdata.Operation) string) string {
	all := places(p, meant)
	if len(all) == 0 {
		return ""
	}
	a := pick(m, all)
	where := a.words(p)
	what := how(a.of(p))
	if what == "" {
		return ""
	}
	return what + ": " + where
}

func other(s specdata.Side) specdata.Side {
	return map[specdata.Side]specdata.Side{specdata.SideLeft: specdata.SideRight, specdata.SideRight: specdata.SideLeft}[s]
}

// shift moves the decimal point one place to the right.
func shift(q specdata.Quantity) (specdata.Quantity, bool) {
	b := []byte(q.Number())
	for i := range b {
		if b[i] == '.' && i+1 < len(b) {
			b[i], b[i+1] = b[i+1], b[i]
			s := string(b)
			for len(s) > 1 && s[0] == '0' && s[1] != '.' {
				s = s[1:]
			}
			if s[len(s)-1] == '.' {
				s = s[:len(s)-1]
			}
			n, err := specdata.ParseQuantity(s + " " + q.Unit().Symbol)
			return n, err == nil
		}
	}
	n, err := specdata.ParseQuantity(q.Number() + "0 " + q.Unit().Symbol)
	return n, err == nil
}
