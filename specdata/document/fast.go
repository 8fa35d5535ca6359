package document

import "proofload/specdata/document/plain"

// fast reads most documents without the YAML library. It returns false where the full
// reader must decide. A nil root with ok is a document over the limits, reported.
func (r *reader) fast(data []byte) (root *node, comments []Comment, ok bool) {
	read, ok := plain.Read(string(data), plain.Limits{Depth: MaxDepth, Keys: MaxKeys, Values: MaxValues, Items: MaxItems, String: MaxString})
	switch {
	case !ok:
		return nil, nil, false
	case read.Over:
		r.say(RuleLimits, "", read.Line, read.Column, "", tooMany, MaxValues, MaxKeys)
		r.partial = true
		return nil, nil, true
	}
	for _, c := range read.Comments {
		comments = append(comments, Comment{Line: c.Line, Text: c.Text, offset: c.Offset})
	}
	keys := 0
	for i := range read.Tokens {
		if read.Tokens[i].Kind == plain.Key {
			keys++
		}
	}
	t := tape{tokens: read.Tokens, nodes: make([]node, len(read.Tokens)-keys), members: make([]member, keys)}
	return t.value(), comments, true
}

// tape builds nodes from tokens, in arrays made once for the whole document.
type tape struct {
	tokens  []plain.Token
	nodes   []node
	members []member
}

// value takes the next value off the tape.
func (t *tape) value() *node {
	token := &t.tokens[0]
	n := &t.nodes[0]
	t.tokens, t.nodes = t.tokens[1:], t.nodes[1:]
	*n = node{kind: token.Kind, text: token.Text, line: token.Line, column: token.Column}
	size := int(token.Len)
	switch n.kind {
	case list:
		n.items = make([]*node, size)
		for i := range n.items {
			n.items[i] = t.value()
		}
	case object:
		n.members, t.members = t.members[:size:size], t.members[size:]
		for i := range n.members {
			key := &t.tokens[0]
			t.tokens = t.tokens[1:]
			n.members[i] = member{key.Text, key.Line, key.Column, t.value()}
		}
	}
	return n
}
