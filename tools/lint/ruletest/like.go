package ruletest

import (
	"bytes"
	"fmt"
	"path"
	"regexp"
	"strings"

	"proofload/specdata"
)

// text is the YAML of a section, and for each line the line of the section it was
// written on, 0 where it comes from the record that the section is like.
type text struct {
	lines []string
	from  []int
}

// written is the text of a section as it is in the case.
func written(data []byte) text {
	lines := strings.Split(strings.TrimSuffix(string(data), "\n"), "\n")
	t := text{lines: lines, from: make([]int, len(lines))}
	for i := range lines {
		t.from[i] = i + 1
	}
	return t
}

func (t text) bytes() []byte { return []byte(strings.Join(t.lines, "\n") + "\n") }

// line returns the line of the section for a line of the text, 0 for a line of
// the record it is like.
func (t text) line(n int) int {
	if n < 1 || n > len(t.from) {
		return 0
	}
	return t.from[n-1]
}

// slice returns some lines of a text.
func (t text) slice(i, j int) text { return text{t.lines[i:j], t.from[i:j]} }

func (t *text) add(more text) {
	t.lines, t.from = append(t.lines, more.lines...), append(t.from, more.from...)
}

// borrowed is a text as another section begins from it: its lines are nobody's,
// and expectations in them are gone.
func (t text) borrowed() text {
	b := text{from: make([]int, len(t.lines))}
	for _, l := range t.lines {
		b.lines = append(b.lines, expectation.ReplaceAllString(l, ""))
	}
	return b
}

var expectation = regexp.MustCompile(`\s+# (want|not-checked) .*$`)

// field is one key of a mapping in block form, with the lines that are its value.
type field struct {
	key  string
	text text
}

// fields cuts a text into the keys that stand at a left margin; ok is false where
// it is no mapping in block form with that margin.
func (t text) fields(margin int) (fs []field, ok bool) {
	start := -1
	for i, l := range t.lines {
		rest := strings.TrimLeft(l, " ")
		switch depth := len(l) - len(rest); {
		case rest == "":
		case depth > margin || (depth == margin && (rest[0] == '-' || rest[0] == '#')):
			if start < 0 {
				return nil, false
			}
		case depth < margin:
			return nil, false
		default:
			key, _, found := strings.Cut(rest, ":")
			if !found {
				return nil, false
			}
			if start >= 0 {
				fs[len(fs)-1].text = t.slice(start, i)
			}
			start, fs = i, append(fs, field{key: key})
		}
	}
	if start < 0 {
		return nil, false
	}
	fs[len(fs)-1].text = t.slice(start, len(t.lines))
	return fs, true
}

// over lays the fields of a section over those of the record it is like. A field
// takes the whole place of the record's; where both are written as indented
// blocks of keys, their keys do. "key: ~" takes a key away.
func over(base, own text, margin int) (text, error) {
	theirs, ok := base.fields(margin)
	if !ok {
		return text{}, fmt.Errorf("record it is like is not written as keys, a line each")
	}
	ours, ok := own.fields(margin)
	if !ok {
		return text{}, fmt.Errorf("section is not written as keys that start at the left margin")
	}
	var out text
	done := map[string]bool{}
	for _, their := range theirs {
		for _, our := range ours {
			if our.key == their.key {
				their, done[our.key] = laid(their, our, margin), true
			}
		}
		if !their.gone() {
			out.add(their.text)
		}
	}
	for _, our := range ours {
		switch {
		case done[our.key]:
		case our.gone():
			return text{}, fmt.Errorf("key %s is taken away, but the record has none", our.key)
		default:
			out.add(our.text)
		}
	}
	return out, nil
}

// laid is one field of a section laid over the record's.
func laid(their, our field, margin int) field {
	if margin > 0 || !their.opens() || !our.opens() {
		return our
	}
	members, err := over(their.text.slice(1, len(their.text.lines)), our.text.slice(1, len(our.text.lines)), 2)
	if err != nil {
		return our // a list, or a block that is no mapping: it is replaced
	}
	all := our.text.slice(0, 1)
	whole := text{append([]string(nil), all.lines...), append([]int(nil), all.from...)}
	whole.add(members)
	return field{our.key, whole}
}

// opens reports whether the value is a block below the key.
func (f field) opens() bool {
	_, rest, _ := strings.Cut(expectation.ReplaceAllString(f.text.lines[0], ""), ":")
	return strings.TrimSpace(rest) == "" && len(f.text.lines) > 1
}

// gone reports whether the field says that there is none.
func (f field) gone() bool {
	_, rest, _ := strings.Cut(f.text.lines[0], ":")
	return strings.TrimSpace(rest) == "~"
}

// like returns the text that a section begins from: the last section of the case
// for that record, or else the world's or workshop's record, or else a pattern.
func (c *testCase) like(collection, id string) (text, error) {
	name := path.Join(collection, id)
	if t, ok := c.texts[name]; ok {
		return t.borrowed(), nil
	}
	for _, folder := range []string{"world", "workshop", "pattern"} {
		if data, err := worldFiles.ReadFile(path.Join(folder, name+".yaml")); err == nil {
			return written(data).borrowed(), nil
		}
	}
	return text{}, fmt.Errorf("record %s is neither an earlier section, nor in the world, the workshop or the patterns", name)
}

// compose returns the whole text of a section: what it says itself, or that laid
// over the record it is like.
func (c *testCase) compose(n specdata.Name, base string, data []byte) (text, error) {
	own := written(data)
	if base == "" {
		return own, nil
	}
	begin, err := c.like(strings.TrimSuffix(string(n), "/"+n.ID()), base)
	if err != nil {
		return text{}, err
	}
	named, err := over(begin, text{[]string{"id: " + n.ID()}, []int{0}}, 0)
	if err != nil || len(bytes.TrimSpace(data)) == 0 {
		return named, err
	}
	return over(named, own, 0)
}
