package slip

import (
	"fmt"
	"slices"
	"strings"

	"proofload/specdata"
)

// steps are slips in whole steps and in what a step says.
func steps() []Kind {
	list := []struct {
		name string
		make func(*maker, *specdata.Procedure) string
	}{
		{"step-deleted", func(m *maker, p *specdata.Procedure) string {
			i := m.rng.IntN(len(p.Steps))
			s := p.Steps[i]
			p.Steps = slices.Delete(slices.Clone(p.Steps), i, i+1)
			return fmt.Sprintf("step %d (%s) is lost", i+1, s.ID)
		}},
		{"step-duplicated", func(m *maker, p *specdata.Procedure) string {
			i := m.rng.IntN(len(p.Steps))
			s := p.Steps[i]
			s.ID += "-again"
			p.Steps = slices.Insert(slices.Clone(p.Steps), i+1, s)
			return fmt.Sprintf("step %d (%s) is pasted twice", i+1, p.Steps[i].ID)
		}},
		{"step-moved", func(m *maker, p *specdata.Procedure) string {
			i := m.rng.IntN(len(p.Steps))
			s := p.Steps[i]
			j := max(0, min(len(p.Steps)-1, i+pick(m, []int{-6, -3, -2, -1, 1, 2, 3, 6})))
			p.Steps = slices.Insert(slices.Delete(slices.Clone(p.Steps), i, i+1), j, s)
			return fmt.Sprintf("step %d (%s) moves to place %d", i+1, s.ID, j+1)
		}},
		{"step-side-wrong", func(m *maker, p *specdata.Procedure) string {
			return oneStep(m, p, func(s *specdata.Step) bool { return other(s.Side) != "" }, func(s *specdata.Step) string {
				was := s.Side
				s.Side = other(was)
				return fmt.Sprintf("side %s becomes %s", was, s.Side)
			})
		}},
		{"step-side-lost", func(m *maker, p *specdata.Procedure) string {
			return oneStep(m, p, func(s *specdata.Step) bool { return s.Side != "" }, func(s *specdata.Step) string {
				was := s.Side
				s.Side = ""
				return fmt.Sprintf("side %s is lost", was)
			})
		}},
		{"repeat-side-wrong", func(m *maker, p *specdata.Procedure) string {
			return oneStep(m, p, func(s *specdata.Step) bool { return s.Repeat != nil }, func(s *specdata.Step) string {
				s.Repeat.Side = other(s.Repeat.Side)
				return "repeat is for the side it was done on"
			})
		}},
		{"repeat-range-short", func(m *maker, p *specdata.Procedure) string {
			return oneStep(m, p, func(s *specdata.Step) bool { return s.Repeat != nil }, func(s *specdata.Step) string {
				from := slices.IndexFunc(p.Steps, func(o specdata.Step) bool { return o.ID == s.Repeat.From })
				to := slices.IndexFunc(p.Steps, func(o specdata.Step) bool { return o.ID == s.Repeat.To })
				if from < 0 || to <= from {
					return ""
				}
				if m.rng.IntN(2) == 0 {
					s.Repeat.From = p.Steps[from+1].ID
					return "repeat starts a step late"
				}
				s.Repeat.To = p.Steps[to-1].ID
				return "repeat ends a step early"
			})
		}},
		{"branch-wrong", func(m *maker, p *specdata.Procedure) string {
			return oneStep(m, p, func(s *specdata.Step) bool { return len(s.Where) > 0 }, func(s *specdata.Step) string {
				key := sortedKeys(s.Where)[0]
				was := strings.Join(s.Where[key], ", ")
				s.Where[key] = []string{s.Where[key][0] + "s"}
				return fmt.Sprintf("%s %s becomes %s", key, was, s.Where[key][0])
			})
		}},
		{"placeholder-lost", func(m *maker, p *specdata.Procedure) string {
			return oneStep(m, p, func(s *specdata.Step) bool { return placed(s.Text) >= 0 }, func(s *specdata.Step) string {
				i := placed(s.Text)
				j := i + strings.IndexByte(s.Text[i:], '}')
				s.Text = s.Text[:i] + s.Text[j+1:]
				return "value is not shown"
			})
		}},
		{"placeholder-wrong", func(m *maker, p *specdata.Procedure) string {
			var ids []string
			for i := range p.Steps {
				for _, v := range specdata.ValuesShown(p.Steps[i].Text) {
					ids = append(ids, v.Fastener)
				}
			}
			return oneStep(m, p, func(s *specdata.Step) bool { return len(specdata.ValuesShown(s.Text)) > 0 }, func(s *specdata.Step) string {
				was, to := specdata.ValuesShown(s.Text)[0], pick(m, ids)
				s.Text = strings.Replace(s.Text, was.Placeholder, specdata.WholeSeries(to), 1)
				return "value shown is that of " + to
			})
		}},
		{"stage-shown-wrong", func(m *maker, p *specdata.Procedure) string {
			ofStage := func(v specdata.Shown) bool { return v.Stage > 0 }
			return oneStep(m, p, func(s *specdata.Step) bool { return slices.ContainsFunc(specdata.ValuesShown(s.Text), ofStage) }, func(s *specdata.Step) string {
				all := specdata.ValuesShown(s.Text)
				was := all[slices.IndexFunc(all, ofStage)]
				to := max(1, was.Stage+pick(m, []int{-1, 1}))
				s.Text = strings.Replace(s.Text, was.Placeholder, specdata.OneStage(was.Fastener, to), 1)
				return fmt.Sprintf("value shown is that of stage %d instead of %d", to, was.Stage)
			})
		}},
		{"sentence-of-next-step", func(m *maker, p *specdata.Procedure) string {
			if len(p.Steps) < 2 {
				return ""
			}
			i := m.rng.IntN(len(p.Steps) - 1)
			p.Steps[i].Text = p.Steps[i+1].Text
			return fmt.Sprintf("step %d (%s) has the sentence of the next", i+1, p.Steps[i].ID)
		}},
	}
	var ks []Kind
	for _, k := range list {
		ks = append(ks, Kind{Name: k.name, Group: "step", Of: specdata.KindProcedure, procedure: k.make})
	}
	return ks
}

// placed returns where " to " and a value stand in a sentence, -1 where they do not.
func placed(text string) int {
	i := strings.Index(text, " to {torque:")
	if j := strings.Index(text, " to {stage:"); i < 0 {
		i = j
	}
	return i
}

func oneStep(m *maker, p *specdata.Procedure, meant func(*specdata.Step) bool, how func(*specdata.Step) string) string {
	var all []int
	for i := range p.Steps {
		if meant(&p.Steps[i]) {
			all = append(all, i)
		}
	}
	if len(all) == 0 {
		return ""
	}
	i := pick(m, all)
	what := how(&p.Steps[i])
	if what == "" {
		return ""
	}
	return fmt.Sprintf("%s in step %d (%s)", what, i+1, p.Steps[i].ID)
}

// setUps are slips in the set-up block and in cautions.
func setUps() []Kind {
	list := []struct {
		name string
		make func(*maker, *specdata.Procedure) string
	}{
		{"tool-not-listed", func(m *maker, p *specdata.Procedure) string {
			i, ok := one(m, p.Tools)
			if !ok {
				return ""
			}
			was := p.Tools[i].ID
			p.Tools = slices.Delete(slices.Clone(p.Tools), i, i+1)
			return "tool " + was + " is not listed"
		}},
		{"tool-range-wrong", func(m *maker, p *specdata.Procedure) string {
			for i := range p.Tools {
				if t := &p.Tools[i]; !t.To.IsZero() && m.rng.IntN(2) == 0 {
					was := t.To
					q, ok := factor(1/1.355818)(m, was)
					if m.rng.IntN(2) == 0 {
						q, ok = factor(0.1)(m, was)
					}
					if !ok {
						return ""
					}
					t.To = q
					return fmt.Sprintf("range of %s to %s becomes to %s", t.ID, was, q)
				}
			}
			return ""
		}},
		{"tool-size-wrong", func(m *maker, p *specdata.Procedure) string {
			for i := range p.Tools {
				if t := &p.Tools[i]; strings.HasPrefix(t.Size, "hex ") && m.rng.IntN(2) == 0 {
					was := t.Size
					t.Size = fmt.Sprintf("hex %d mm", pick(m, []int{8, 9, 11, 12, 14, 20, 23, 25}))
					return fmt.Sprintf("size of %s, %s, becomes %s", t.ID, was, t.Size)
				}
			}
			return ""
		}},
		{"part-not-listed", func(m *maker, p *specdata.Procedure) string {
			i, ok := one(m, p.Parts)
			if !ok {
				return ""
			}
			was := p.Parts[i].Title
			p.Parts = slices.Delete(slices.Clone(p.Parts), i, i+1)
			return "part " + was + " is not listed"
		}},
		{"part-quantity-short", func(m *maker, p *specdata.Procedure) string {
			i, ok := one(m, p.Parts)
			if !ok || p.Parts[i].Quantity < 2 {
				return ""
			}
			p.Parts[i].Quantity--
			return "one " + p.Parts[i].Title + " too few"
		}},
		{"consumable-not-listed", func(m *maker, p *specdata.Procedure) string {
			i, ok := one(m, p.Consumables)
			if !ok {
				return ""
			}
			was := p.Consumables[i].ID
			p.Consumables = slices.Delete(slices.Clone(p.Consumables), i, i+1)
			return "consumable " + was + " is not listed"
		}},
		{"caution-lost", func(m *maker, p *specdata.Procedure) string {
			i, ok := one(m, p.Cautions)
			if !ok {
				return ""
			}
			h := p.Cautions[i].Hazard
			if h == "" {
				return ""
			}
			drop(p, h)
			return "every caution about " + h + " is lost"
		}},
		{"caution-weakened", func(m *maker, p *specdata.Procedure) string {
			i, ok := one(m, p.Cautions)
			if !ok || p.Cautions[i].Hazard == "" {
				return ""
			}
			h := p.Cautions[i].Hazard
			each(p, func(c *specdata.Caution) {
				if c.Hazard == h && (c.Signal == "danger" || c.Signal == "warning") {
					c.Signal = "caution"
				}
			})
			return "cautions about " + h + " say caution"
		}},
		{"caution-too-late", func(m *maker, p *specdata.Procedure) string {
			i, ok := one(m, p.Cautions)
			if !ok || p.Cautions[i].Hazard == "" {
				return ""
			}
			c := p.Cautions[i]
			drop(p, c.Hazard)
			last := &p.Steps[len(p.Steps)-1]
			last.Cautions = append(slices.Clone(last.Cautions), c)
			return "caution about " + c.Hazard + " stands in the last step"
		}},
		{"assembly-not-named", func(m *maker, p *specdata.Procedure) string {
			i, ok := one(m, p.Assemblies)
			if !ok {
				return ""
			}
			for e := range m.library.All(specdata.KindAssembly) {
				if id := e.Record.Header().ID; id != p.Assemblies[i] && m.rng.IntN(3) == 0 {
					was := p.Assemblies[i]
					p.Assemblies[i] = id
					return "assembly " + was + " becomes " + id
				}
			}
			return ""
		}},
	}
	var ks []Kind
	for _, k := range list {
		ks = append(ks, Kind{Name: k.name, Group: "set-up", Of: specdata.KindProcedure, procedure: k.make})
	}
	return ks
}

func one[T any](m *maker, list []T) (int, bool) {
	if len(list) == 0 {
		return 0, false
	}
	return m.rng.IntN(len(list)), true
}

func each(p *specdata.Procedure, do func(*specdata.Caution)) {
	for i := range p.Cautions {
		do(&p.Cautions[i])
	}
	for i := range p.Steps {
		for j := range p.Steps[i].Cautions {
			do(&p.Steps[i].Cautions[j])
		}
	}
}

// drop takes every caution about a hazard out.
func drop(p *specdata.Procedure, hazard string) {
	about := func(c specdata.Caution) bool { return c.Hazard == hazard }
	p.Cautions = slices.DeleteFunc(slices.Clone(p.Cautions), about)
	for i := range p.Steps {
		p.Steps[i].Cautions = slices.DeleteFunc(slices.Clone(p.Steps[i].Cautions), about)
	}
}
