package person_test

import (
	"testing"

	"proofload/specdata/person"
)

// The pairs of one person are spellings of UAX 15 (composed, decomposed, compatible),
// of full case folding (Unicode CaseFolding.txt) and of UTS 39's confusables.txt, from memory.
func TestSame(t *testing.T) {
	for _, pair := range [][2]string{
		{"Maud Ibbot", "Maud Ibbot"},
		{"Maud Ibbot", "maud ibbot"},
		{"Maud Ibbot", " Maud  Ibbot"},
		{"Maud Ibbot", "Maud\u00a0Ibbot"},
		{"Maud Ibbot", "M\u0430ud Ibbot"}, // Cyrillic a
		{"Maud Ibbot", "МАUD IBBОТ"},      // Cyrillic capitals
		{"Maud Ibbot", "Maud lbbot"},      // a small L
		{"Maud Ibbot", "Ma\u200bud Ibbot"},
		{"Maud Ibbot", "Ｍａｕｄ Ｉｂｂｏｔ"},
		{"Zoë Brèton", "Zoe\u0308 Bre\u0300ton"},
		{"fiona", "ﬁona"},
		{"STRASSE", "Straße"},
		{"ipek", "İpek"},
		{"ipek", "ıpek"},
		{"Ωmega", "ωmega"},
		{"Piet Oram", "Рiet Оram"},
		{"p. oram", "ρ. oram"}, // Greek rho
		{"Runa 0stby", "Runa Ostby"},
	} {
		if !person.Same(pair[0], pair[1]) || !person.Same(pair[1], pair[0]) {
			t.Errorf("%q and %q pass for two people", pair[0], pair[1])
		}
	}
	for _, pair := range [][2]string{
		{"Maud Ibbot", "Piet Oram"},
		{"Maud Ibbot", "Maud Ibbott"},
		{"Zoe Breton", "Zoë Brèton"}, // accents tell people apart, and are seen
		{"Ян Новак", "Яна Новак"},
		{"", "Maud"},
	} {
		if person.Same(pair[0], pair[1]) {
			t.Errorf("%q and %q are taken for one person", pair[0], pair[1])
		}
	}
}
