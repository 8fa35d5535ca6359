package wording

import (
	"regexp"
	"strings"
)

// torn finds a space at which a number would part from its unit, its sign or the word
// that it counts.
var torn = regexp.MustCompile(`(\d) (N·m|lbf·ft|lbf·in|kgf·m|kgf·cm|mm²|mm|cm|m|km|in|mi|kg|g|t|L|mL|bar|kPa|MPa|psi|kN|N|V|A|W|s|min|h|°C|°F|%|×)([^\pL\d]|$)|([±≤≥<>×]) (\d)|(M\d+(?:×[\d.]+)?) (\d)|\b(no\.|stage|stages|step|steps|page|pages|pass|row|sheet|table|section|figure) (\d)|(\d)[ \x{a0}](of|to) (\d)`)

// Tie puts a space that does not break into a text wherever a line break would tear a
// number from its unit.
func Tie(text string) string {
	if !strings.Contains(text, " ") {
		return text
	}
	for range 3 { // neighbours share a character: "stage 2 of 4"
		text = torn.ReplaceAllStringFunc(text, func(s string) string { return strings.Replace(s, " ", "\u00a0", 1) })
	}
	return text
}
