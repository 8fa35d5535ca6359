package slip

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"proofload/specdata"
)

// entries are slips in what a fastener record says beside its torque.
func entries() []Kind {
	list := []struct {
		name string
		make func(*maker, *specdata.Fastener) string
	}{
		{"stage-lost", func(m *maker, f *specdata.Fastener) string {
			t := f.Tightening
			if len(t.Stages) < 2 {
				return ""
			}
			i := m.rng.IntN(len(t.Stages))
			t.Stages = slices.Delete(t.Stages, i, i+1)
			return fmt.Sprintf("stage %d of the tightening is lost", i+1)
		}},
		{"angle-lost", func(m *maker, f *specdata.Fastener) string {
			for i := range f.Tightening.Stages {
				if a := f.Tightening.Stages[i].Angle; !a.IsZero() {
					f.Tightening.Stages = f.Tightening.Stages[:i]
					return "angle " + a.String() + " and what follows it are lost"
				}
			}
			return ""
		}},
		{"range-as-angle", func(m *maker, f *specdata.Fastener) string {
			for i := range f.Tightening.Stages {
				s := &f.Tightening.Stages[i]
				if s.UpTo.IsZero() {
					continue
				}
				a, err := specdata.ParseQuantity(s.UpTo.Number() + " deg")
				if err != nil {
					return ""
				}
				up := s.UpTo
				s.UpTo = specdata.Quantity{}
				f.Tightening.Stages = slices.Insert(f.Tightening.Stages, i+1, specdata.Stage{Angle: a})
				return "range up to " + up.String() + " read as an angle"
			}
			return ""
		}},
		{"range-end-lost", func(m *maker, f *specdata.Fastener) string {
			for i := range f.Tightening.Stages {
				if s := &f.Tightening.Stages[i]; !s.UpTo.IsZero() {
					s.Torque, s.UpTo = s.UpTo, specdata.Quantity{}
					return "range read as its upper end"
				}
			}
			return ""
		}},
		{"thread-pitch", func(m *maker, f *specdata.Fastener) string {
			return thread(m, f, func(d, p string) string { return d + "x" + pick(m, []string{"0.75", "1", "1.25", "1.5", "1.75", "2"}) })
		}},
		{"thread-size", func(m *maker, f *specdata.Fastener) string {
			return thread(m, f, func(d, p string) string {
				return pick(m, []string{"M6", "M8", "M10", "M12", "M14", "M16"}) + "x" + p
			})
		}},
		{"thread-hand", func(m *maker, f *specdata.Fastener) string {
			if f.Thread == nil {
				return ""
			}
			f.Thread.Hand = map[string]string{"right": "left", "left": "right"}[f.Thread.Hand]
			return "hand of the thread flipped"
		}},
		{"bolt-class", func(m *maker, f *specdata.Fastener) string {
			if f.Strength == nil || f.Strength.Bolt == "" {
				return ""
			}
			was := f.Strength.Bolt
			f.Strength.Bolt = pick(m, []string{"4.6", "5.8", "8.8", "10.9", "12.9"})
			return "class " + was + " becomes " + f.Strength.Bolt
		}},
		{"nut-class", func(m *maker, f *specdata.Fastener) string {
			if f.Strength == nil || f.Strength.Nut == "" {
				return ""
			}
			was := f.Strength.Nut
			f.Strength.Nut = pick(m, []string{"4", "5", "6", "8", "10"})
			return "nut class " + was + " becomes " + f.Strength.Nut
		}},
		{"socket-size", func(m *maker, f *specdata.Fastener) string {
			side := &f.Drive.Head
			if f.Drive.Turn == "nut" {
				side = &f.Drive.Nut
			}
			if !strings.HasPrefix(*side, "hex ") || !strings.HasSuffix(*side, " mm") {
				return ""
			}
			was := *side
			*side = fmt.Sprintf("hex %d mm", pick(m, []int{8, 10, 11, 13, 15, 16, 17, 18, 19, 21, 22, 24, 27, 30}))
			return was + " becomes " + *side
		}},
		{"turned-side", func(m *maker, f *specdata.Fastener) string {
			if f.Drive.Head == "" || f.Drive.Nut == "" {
				return ""
			}
			f.Drive.Turn = map[string]string{"head": "nut", "nut": "head"}[f.Drive.Turn]
			return "turned side flipped to " + f.Drive.Turn
		}},
		{"reuse-flipped", func(m *maker, f *specdata.Fastener) string {
			was := f.Reuse.Rule
			switch was {
			case "reuse":
				f.Reuse = &specdata.Reuse{Rule: "replace"}
			default:
				f.Reuse = &specdata.Reuse{Rule: "reuse"}
			}
			return "reuse rule " + was + " becomes " + f.Reuse.Rule
		}},
		{"lock-lost", func(m *maker, f *specdata.Fastener) string {
			if f.Lock == nil {
				return ""
			}
			was := f.Lock.By
			f.Lock = nil
			return "lock by " + was + " lost"
		}},
		{"hold-lost", func(m *maker, f *specdata.Fastener) string {
			if f.Tightening.Hold == nil {
				return ""
			}
			f.Tightening.Hold = nil
			return "what to hold is lost"
		}},
		{"pattern-lost", func(m *maker, f *specdata.Fastener) string {
			if f.Tightening.Pattern == nil {
				return ""
			}
			f.Tightening.Pattern = nil
			return "order is lost"
		}},
		{"pattern-order-altered", func(m *maker, f *specdata.Fastener) string {
			t := f.Tightening.Pattern
			if t == nil || t.Order == "one" {
				return ""
			}
			if n := len(t.Sequence); n > 1 {
				i := m.rng.IntN(n - 1)
				t.Sequence[i] = t.Sequence[i+1]
				return fmt.Sprintf("position %d stands twice in the order", t.Sequence[i])
			}
			was := t.Order
			t.Order = map[string]string{"cross": "circle", "star": "circle", "spiral": "circle", "centre-out": "circle", "circle": "cross"}[was]
			if t.Order == "" {
				return ""
			}
			return "order " + was + " becomes " + t.Order
		}},
		{"state-lost", func(m *maker, f *specdata.Fastener) string {
			was := f.Tightening.State
			if was == specdata.StateAny {
				return ""
			}
			f.Tightening.State = specdata.StateAny
			return "state " + string(was) + " becomes any"
		}},
		{"impact-flipped", func(m *maker, f *specdata.Fastener) string {
			was := f.Tightening.Impact
			if was == "allowed" {
				return ""
			}
			f.Tightening.Impact = "allowed"
			return "impact " + was + " becomes allowed"
		}},
		{"drag-flipped", func(m *maker, f *specdata.Fastener) string {
			was := f.Tightening.Drag
			if was == "not-applicable" {
				return ""
			}
			f.Tightening.Drag, f.Tightening.DragTorque = "not-applicable", specdata.Quantity{}
			return "drag " + was + " becomes not-applicable"
		}},
		{"surface-flipped", func(m *maker, f *specdata.Fastener) string {
			if f.Surface == nil {
				return ""
			}
			was := f.Surface.Condition
			f.Surface.Condition = map[string]string{"dry": "oiled", "oiled": "dry", "greased": "dry", "threadlock": "dry", "precoated": "dry", "as-received": "oiled", "compound": "dry", "zinc-flake": "oiled", "zinc-flake-dry": "zinc-flake"}[was]
			return "surface " + was + " becomes " + f.Surface.Condition
		}},
		{"count-off", func(m *maker, f *specdata.Fastener) string {
			if f.Count < 2 {
				return ""
			}
			f.Count--
			return fmt.Sprintf("count %d becomes %d", f.Count+1, f.Count)
		}},
		{"follow-up-lost", func(m *maker, f *specdata.Fastener) string {
			if len(f.FollowUps) == 0 {
				return ""
			}
			i := m.rng.IntN(len(f.FollowUps))
			was := f.FollowUps[i].Check
			f.FollowUps = slices.Delete(f.FollowUps, i, i+1)
			return "follow-up " + was + " lost"
		}},
		{"engagement-short", func(m *maker, f *specdata.Fastener) string {
			if f.Thread == nil || f.Thread.Engagement.IsZero() || f.Joint != specdata.JointClamp {
				return ""
			}
			was := f.Thread.Engagement
			q, ok := factor(0.1)(m, was)
			if !ok {
				return ""
			}
			f.Thread.Engagement = q
			return "engagement " + was.String() + " becomes " + q.String()
		}},
		{"tolerance-tenfold", func(m *maker, f *specdata.Fastener) string {
			was := f.Tightening.Tolerance
			if was.IsZero() {
				return ""
			}
			q, ok := factor(10)(m, was)
			if !ok {
				return ""
			}
			f.Tightening.Tolerance = q
			return "tolerance " + was.String() + " becomes " + q.String()
		}},
		{"safety-lost", func(m *maker, f *specdata.Fastener) string {
			if f.Safety == "" {
				return ""
			}
			was := f.Safety
			f.Safety = ""
			return "safety reason " + was + " lost"
		}},
	}
	var ks []Kind
	for _, k := range list {
		ks = append(ks, Kind{Name: k.name, Group: "entry", Of: specdata.KindFastener, fastener: k.make})
	}
	return ks
}

// thread changes a metric designation of a diameter and a pitch.
func thread(m *maker, f *specdata.Fastener, to func(d, p string) string) string {
	if f.Thread == nil {
		return ""
	}
	was := f.Thread.Designation
	d, p, ok := strings.Cut(was, "x")
	if !ok || !strings.HasPrefix(d, "M") {
		return ""
	}
	f.Thread.Designation = to(d, p)
	if f.Thread.Designation == was {
		return ""
	}
	return "thread " + was + " becomes " + f.Thread.Designation
}

// records are slips in what a fastener record is for and where it comes from.
func records() []Kind {
	list := []struct {
		name string
		make func(*maker, *specdata.Fastener) string
	}{
		{"side-wrong", func(m *maker, f *specdata.Fastener) string {
			for i := range f.AppliesTo {
				if a := &f.AppliesTo[i]; a.Side == specdata.SideEach || a.Side == specdata.SideLeft || a.Side == specdata.SideRight {
					was := a.Side
					a.Side = map[specdata.Side]specdata.Side{specdata.SideEach: specdata.SideLeft, specdata.SideLeft: specdata.SideRight, specdata.SideRight: specdata.SideLeft}[was]
					return fmt.Sprintf("side %s becomes %s", was, a.Side)
				}
			}
			return ""
		}},
		{"variant-wrong", func(m *maker, f *specdata.Fastener) string {
			for i := range f.AppliesTo {
				a := &f.AppliesTo[i]
				v, ok := m.library.Get(specdata.NewName(specdata.KindVehicle, a.Vehicle)).Record.(*specdata.Vehicle)
				if !ok {
					continue
				}
				for _, key := range sortedKeys(a.Where) {
					for _, other := range v.Options[key] {
						if !slices.Contains(a.Where[key], other) {
							was := strings.Join(a.Where[key], ", ")
							a.Where[key] = []string{other}
							return key + " " + was + " becomes " + other
						}
					}
				}
			}
			return ""
		}},
		{"option-misspelt", func(m *maker, f *specdata.Fastener) string {
			for i := range f.AppliesTo {
				for _, key := range sortedKeys(f.AppliesTo[i].Where) {
					was := f.AppliesTo[i].Where[key][0]
					f.AppliesTo[i].Where[key] = []string{was + "x"}
					return key + " " + was + " becomes " + was + "x"
				}
			}
			return ""
		}},
		{"variant-lost", func(m *maker, f *specdata.Fastener) string {
			for i := range f.AppliesTo {
				if a := &f.AppliesTo[i]; len(a.Where) > 0 {
					a.Where = nil
					return "restriction to a variant lost"
				}
			}
			return ""
		}},
		{"build-range-lost", func(m *maker, f *specdata.Fastener) string {
			for i := range f.AppliesTo {
				if a := &f.AppliesTo[i]; a.Built != nil {
					a.Built = nil
					return "build range lost"
				}
			}
			return ""
		}},
		{"vehicle-wrong", func(m *maker, f *specdata.Fastener) string {
			for e := range m.library.All(specdata.KindVehicle) {
				if id := e.Record.Header().ID; id != f.AppliesTo[0].Vehicle && m.rng.IntN(3) == 0 {
					was := f.AppliesTo[0].Vehicle
					f.AppliesTo[0].Vehicle, f.AppliesTo[0].Where, f.AppliesTo[0].Built = id, nil, nil
					return "vehicle " + was + " becomes " + id
				}
			}
			return ""
		}},
		{"reference-misspelt", func(m *maker, f *specdata.Fastener) string {
			at := &f.AppliesTo[0].Vehicle
			if f.Source != nil && m.rng.IntN(2) == 0 {
				at = &f.Source.Document
			}
			was := *at
			*at = strings.Replace(was, was[1:2], was[1:2]+was[1:2], 1)
			return was + " becomes " + *at
		}},
		{"source-lost", func(m *maker, f *specdata.Fastener) string {
			if f.Source == nil {
				return ""
			}
			f.Source = nil
			return "source lost"
		}},
		{"checked-by-enterer", func(m *maker, f *specdata.Fastener) string {
			if f.Source == nil || f.Source.CheckedBy == "" {
				return ""
			}
			f.Source.CheckedBy = f.Source.EnteredBy
			return "one pair of eyes"
		}},
		{"source-wrong", func(m *maker, f *specdata.Fastener) string {
			if f.Source == nil {
				return ""
			}
			for e := range m.library.All(specdata.KindSource) {
				if id := e.Record.Header().ID; id != f.Source.Document && m.rng.IntN(4) == 0 {
					was := f.Source.Document
					f.Source.Document = id
					return "source " + was + " becomes " + id
				}
			}
			return ""
		}},
		{"pair-not-updated", func(m *maker, f *specdata.Fastener) string {
			alike := func(p specdata.Pair) bool { return p.As == "left-right" || p.As == "same-joint" }
			if !slices.ContainsFunc(f.Pairs, alike) || len(torques(f)) == 0 {
				return ""
			}
			s := &f.Tightening.Stages[torques(f)[0]]
			was := s.Torque
			q, ok := factor(1.2)(m, was)
			if !ok {
				return ""
			}
			s.Torque = q
			agree(f)
			return fmt.Sprintf("respecified from %s to %s, its pair is not", was, q)
		}},
		{"duplicate-record", func(m *maker, f *specdata.Fastener) string {
			f.ID += "-2"
			f.Pairs, f.Replaces = nil, ""
			return "entered a second time as " + f.ID
		}},
	}
	ks := []Kind{
		{Name: "unit-lost", Group: "record", Of: specdata.KindFastener, text: func(m *maker, doc []byte) ([]byte, string) {
			return inTorque(doc, " N.m", ""), "the unit is left out"
		}},
		{Name: "decimal-comma", Group: "record", Of: specdata.KindFastener, text: func(m *maker, doc []byte) ([]byte, string) {
			return inTorque(doc, " N.m", ",5 N.m"), "a decimal comma"
		}},
		{Name: "unit-misspelt", Group: "record", Of: specdata.KindFastener, text: func(m *maker, doc []byte) ([]byte, string) {
			return inTorque(doc, " N.m", " Nrn"), "the unit misread"
		}},
	}
	for _, k := range list {
		ks = append(ks, Kind{Name: k.name, Group: "record", Of: specdata.KindFastener, fastener: k.make})
	}
	return ks
}

// inTorque changes the text of the first torque of a document.
func inTorque(doc []byte, old, new string) []byte {
	i := bytes.Index(doc, []byte(`"torque":"`))
	if i < 0 {
		return doc
	}
	j := i + len(`"torque":"`) + bytes.IndexByte(doc[i+len(`"torque":"`):], '"')
	return slices.Concat(doc[:i], bytes.Replace(doc[i:j], []byte(old), []byte(new), 1), doc[j:])
}

func sortedKeys(m map[string][]string) []string {
	var keys []string
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
