package wording

import "slices"

// Wear lists the protection that the hazards of a job call for, by the names of
// specdata.Caution: eyes and feet always, more by hazard. Common practice, no source;
// the shop's own rules may ask for more.
func Wear(hazards []string) []string {
	out := []string{"safety glasses", "safety shoes"}
	for _, w := range []struct {
		what    string
		against []string
	}{
		{"chemical-resistant gloves", []string{"chemical", "fire", "brake-dust"}},
		{"cut-resistant gloves", []string{"cut"}},
		{"heat-resistant gloves", []string{"hot-fluid", "hot-surface"}},
		{"insulating gloves rated for the voltage", []string{"electric-shock"}},
		{"face shield", []string{"pressure", "spring", "hot-fluid"}},
		{"dust mask (never blow dust out)", []string{"brake-dust"}},
	} {
		if slices.ContainsFunc(w.against, func(h string) bool { return slices.Contains(hazards, h) }) {
			out = append(out, w.what)
		}
	}
	return out
}
