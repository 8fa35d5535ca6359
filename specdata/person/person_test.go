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
		{"Maud Ibbot", "MaudIbbot"},
		{"Maud Ibbot", "Maud-Ibbot"},
		{"Maud Ibbot", "Maud_Ibbot"},
		{"Maud Ibbot", "Maud·Ibbot"},
		{"Maud Ibbot", "Maud Ibbot."},
		{"Maud Ibbot", "Maud Ibb˙ot"},
		{"Maud Ibbot", "Máud Ibbot"},
		{"Maud Ibbot", "Maud Ibbøt"},
		{"Maud Ibbot", "Maud Ibboťʹ"},
		{"Maud Ibbot", "Maud\u2002Ibbot"},
		{"Maud Ibbot", "Maud\u3000Ibbot"},
		{"Maud Ibbot", "Maud\u2800Ibbot"},
		{"Maud Ibbot", "Maud Ibbot\u2800"},
		{"Maud Ibbot", "Maud Ibb\U0001d159ot"},
		{"Maud Ibbot", "Maud Ibbot\ufffc"},
		{"Maud Ibbot", "Ma\u034fud Ibbot\ufe0f"},
		{"Zoe Breton", "Zoë Brèton"}, // costs a third reviewer at most
	} {
		if !person.Same(pair[0], pair[1]) || !person.Same(pair[1], pair[0]) {
			t.Errorf("%q and %q pass for two people", pair[0], pair[1])
		}
	}
	for _, pair := range [][2]string{
		{"Maud Ibbot", "Piet Oram"},
		{"Maud Ibbot", "Maud Ibbott"},
		{"Ян Новак", "Яна Новак"},
		{"", "Maud"},
		{"राम", "रमा"}, // vowel signs
		{"--", "..."},
		{"Maud Ibbot", "Maud Ibbot 2"},
	} {
		if person.Same(pair[0], pair[1]) {
			t.Errorf("%q and %q are taken for one person", pair[0], pair[1])
		}
	}
}
