package dryrun

import (
	"strings"

	"proofload/specdata"
)

// Hazard is what an act exposes people to, and so what must be warned of before it.
type Hazard struct {
	// Name is the hazard in the words of Caution.Hazard, Act the first act that has it.
	Name string
	Act  *Act
	// Why says what the act does, for a message ("raises the vehicle").
	Why string
	// Least is the weakest signal word that fits (ANSI Z535.4: warning where it can
	// kill or maim, caution where it hurts less).
	Least string
	// Grave says that it kills or maims at the first mistake.
	Grave bool
}

// hazards notes what an act exposes people to. The table is common practice; the
// sources of single lines stand beside them.
func (m *machine) hazards(x *subject) {
	a, typ, id, sp := x.Act, x.typ, x.id, x.sp
	switch a.Do {
	case specdata.Raise:
		m.hazard(a, Hazard{Name: "crushing", Why: "raises the vehicle", Least: "warning", Grave: true}) // HSE INDG434
	case specdata.Isolate:
		m.liveHazard(a, id)
	case specdata.Depressurise, specdata.Drain:
		m.fluidHazard(a, id)
	case specdata.Disconnect:
		if sp != nil {
			m.connectionHazard(a, sp)
		}
	case specdata.Remove, specdata.Slacken:
		if sp != nil && sp.part != nil && sp.part.Friction {
			m.hazard(a, Hazard{Name: "brake-dust", Why: "lays brake or clutch dust open", Least: "warning"}) // 29 CFR 1910.1001
		}
		if typ == "fastener" {
			for _, held := range m.model.holds[id] {
				if held.connection != nil {
					m.connectionHazard(a, held)
				}
			}
		}
	case specdata.RunEngine:
		m.hazard(a, Hazard{Name: "exhaust-gas", Why: "runs the engine", Least: "warning", Grave: true})
		m.hazard(a, Hazard{Name: "moving-parts", Why: "runs the engine", Least: "warning"})
	case specdata.SetAid:
		if strings.Contains(id, "spring") && strings.Contains(id, "compress") {
			m.hazard(a, Hazard{Name: "spring", Why: "compresses a spring", Least: "warning", Grave: true})
		}
	}
}

func (m *machine) connectionHazard(a *Act, sp *spec) {
	if sp.connection.Circuit != "" {
		m.fluidHazard(a, sp.connection.Circuit)
	}
	if sp.connection.Electrics != "" {
		m.liveHazard(a, sp.connection.Electrics)
	}
}

func (m *machine) liveHazard(a *Act, system string) {
	switch system {
	case "airbag":
		m.hazard(a, Hazard{Name: "airbag", Why: "works on an airbag", Least: "warning", Grave: true})
	case "high-voltage":
		m.hazard(a, Hazard{Name: "electric-shock", Why: "works on high voltage", Least: "danger", Grave: true})
	default:
		m.hazard(a, Hazard{Name: "electric-shock", Why: "works on the battery", Least: "caution"})
	}
}

func (m *machine) fluidHazard(a *Act, id string) {
	c := m.model.circuits[id]
	if c == nil {
		return
	}
	switch {
	case c.Fluid == "fuel":
		m.hazard(a, Hazard{Name: "fire", Why: "opens the fuel circuit", Least: "warning", Grave: true})
	case c.Fluid == "coolant":
		m.hazard(a, Hazard{Name: "hot-fluid", Why: "opens the cooling circuit", Least: "warning"})
	case c.Pressurised:
		m.hazard(a, Hazard{Name: "pressure", Why: "opens a circuit that is under pressure", Least: "warning", Grave: true})
	case c.Fluid == "engine-oil" || c.Fluid == "gear-oil":
		m.hazard(a, Hazard{Name: "hot-fluid", Why: "lets oil out that can be hot", Least: "caution"})
	}
}

// hazard keeps the first act of a hazard; of two of one name the graver counts.
func (m *machine) hazard(a *Act, h Hazard) {
	for i := range m.out.Hazards {
		old := &m.out.Hazards[i]
		if old.Name == h.Name {
			if h.Grave && !old.Grave {
				old.Grave, old.Least = true, h.Least
			}
			return
		}
	}
	h.Act = a
	m.out.Hazards = append(m.out.Hazards, h)
}
