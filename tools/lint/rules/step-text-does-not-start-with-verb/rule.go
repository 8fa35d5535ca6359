// Package steptextdoesnotstartwithverb reports: the sentence of a step does not start with an action verb.
package steptextdoesnotstartwithverb

import (
	_ "embed"
	"strings"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "step-text-does-not-start-with-verb",
	Title:     "the sentence of a step does not start with an action verb",
	Doc:       doc,
	Severity:  lint.Advice,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "MIL-STD-2106A(SH)", Clause: "appendix B"}},
	Protects:  lint.Words,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

var verbs = strings.Fields(`
adjust advise align allow apply arrange ask attach bend bleed block blow bolt brace
break bring brush calibrate carry catch chase check chip chock clamp clean clear click clip close
coat collect compare compress connect count cover crack crank cut degrease depress depressurise depressurize detach
disconnect discard draw drain drill drive dry ease empty engage examine feed feel fill
find fit fix flush fold follow free grease guide hang have heat hold hook identify
initialise insert inspect install isolate jack join keep know lay leave let level lever lift line
listen load locate lock look loosen lower lubricate make mark match measure mind mount
move note observe obtain oil open operate pack park part peel pick pin place plug
position pour press prise pry prime prove pull pump push put raise read realign
reassemble recheck reconnect record refit refill relearn release relieve remove renew
repeat replace replenish reset restore retract return rock roll rotate route rub run
screw seal secure select separate set shake shut slacken slide snug soak spin spray
stake stand start stop store strip suck support switch take tap teach tell test thread
tie tighten tilt torque treat trim try turn twist unbolt unclip undo unhang unhook
unload unlock unplug unscrew untie use verify wait warm wash watch wear wedge weigh wind
wipe withdraw work wrap write
`)

var manner = []string{"carefully", "slowly", "gently", "lightly", "now", "then", "finally", "next", "again", "only", "always", "never", "do", "not", "first", "fully", "partly", "evenly"}

func check(p *lint.Pass) {
	for at, s := range p.Steps() {
		text := s.Text
		if before, after, ok := strings.Cut(text, ","); ok && conditional(before) {
			text = after
		}
		if word := firstWord(text); word != "" && !specdata.HasWord(word, verbs...) {
			p.Reportf(at+"/text", "sentence starts with %q, which is no action verb; start with what is done", word)
		}
	}
}

// conditional reports whether a clause says when or on what, before the act is said.
func conditional(clause string) bool {
	return specdata.HasWord(firstWord(clause), "with", "on", "if", "when", "while", "where", "from", "at", "in", "for", "before", "after", "once")
}

// firstWord returns the first word that is not one of manner.
func firstWord(text string) string {
	for _, w := range strings.Fields(text) {
		w = strings.Trim(w, ".,;:!?\"'()")
		if w != "" && !specdata.HasWord(w, manner...) {
			return w
		}
	}
	return ""
}
