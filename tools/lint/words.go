package lint

import (
	"proofload/specdata"
	"proofload/specdata/claim"
	"proofload/specdata/lexicon"
)

// Words returns what the words about the procedure can mean. It is shared by all rules.
func (p *Pass) Words() *claim.World {
	if p.words == nil {
		p.words = claim.New(p.Procedure(), p.Library, lexicon.Default(), "")
	}
	return p.words
}

// Sentence returns the sentence of a step taken apart, with the acts it is about.
func (p *Pass) Sentence(step int) (*claim.Text, claim.Scope) {
	w := p.Words()
	s := &p.Procedure().Steps[step]
	scope := claim.Scope{Acts: w.StepActs(step)}
	if s.Repeat != nil {
		scope.Repeats = s.Repeat.Side
	}
	if p.sentences == nil {
		p.sentences = make([]*claim.Text, len(p.Procedure().Steps))
	}
	if p.sentences[step] == nil {
		p.sentences[step] = w.Read(s.Text)
	}
	return p.sentences[step], scope
}

// Remark is a note or a criterion of an act, with the act as it is without it, so that
// the remark is no witness for itself.
type Remark struct {
	At    string
	Text  string
	Scope claim.Scope
}

// Remarks returns the notes and criteria of the acts of a procedure.
func (p *Pass) Remarks() []Remark {
	var out []Remark
	w := p.Words()
	r := p.Procedure()
	for i := range r.Steps {
		for k, a := range w.StepActs(i) {
			for _, r := range [][2]string{{"note", a.Op.Note}, {"accept", a.Op.Accept}} {
				key, text := r[0], r[1]
				if text == "" {
					continue
				}
				op := *a.Op
				op.Note, op.Accept = "", ""
				alone := *a
				alone.Op = &op
				out = append(out, Remark{specdata.At(specdata.At("/steps", i, "operations"), k, key), text, claim.Scope{Acts: []*claim.Act{&alone}}})
			}
		}
	}
	return out
}
