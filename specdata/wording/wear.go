package wording

import (
	"slices"
	"strings"

	"proofload/specdata"
)

// protection names what people wear as a shop says it, with the hazards that call for
// it though a record does not list it: eyes and feet always. Common practice, no source;
// the shop's own rules may ask for more.
var protection = []struct {
	name, words string
	hazards     []string
}{
	{"eyes", "safety glasses", nil},
	{"shoes", "safety shoes", nil},
	{"face", "face shield", []string{"pressure", "spring", "hot-fluid"}},
	{"gloves", "gloves fit for the work", []string{"chemical", "fire", "brake-dust", "cut", "hot-fluid", "hot-surface"}},
	{"high-voltage-gloves", "insulating gloves rated for the voltage", nil},
	{"mask", "dust mask (never blow dust out)", []string{"brake-dust"}},
	{"hearing", "hearing protection", nil},
}

// Wear lists what to wear for a job: what its record says, and what the hazards of its
// cautions call for.
func Wear(p *specdata.Procedure) []string {
	hazards := map[string]bool{}
	note := func(cs []specdata.Caution) {
		for _, c := range cs {
			hazards[c.Hazard] = true
		}
	}
	note(p.Cautions)
	for i := range p.Steps {
		note(p.Steps[i].Cautions)
	}
	var out []string
	for _, w := range protection {
		called := slices.ContainsFunc(w.hazards, func(h string) bool { return hazards[h] }) || w.name == "high-voltage-gloves" && highVoltage(p)
		if called || w.name == "eyes" || w.name == "shoes" || slices.Contains(p.Protection, w.name) {
			out = append(out, w.words)
		}
	}
	return out
}

// highVoltage reports whether a job touches a traction battery's circuits: a 12 V or 24 V
// battery shocks nobody (under 60 V DC, IEC 60479; from memory), though it burns.
func highVoltage(p *specdata.Procedure) bool {
	for i := range p.Steps {
		for k := range p.Steps[i].Operations {
			if typ, id := p.Steps[i].Operations[k].Target.Split(); typ == "electrics" && strings.Contains(id, "high-voltage") {
				return true
			}
		}
	}
	return false
}
