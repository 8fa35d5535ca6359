package house

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v4"

	"proofload/specdata"
)

// file is a rule file as written.
type file struct {
	path                                                           string
	name, title, expression, at, message, why, mend, waive, source field
	when                                                           field
	severity                                                       specdata.Severity
	kinds                                                          []specdata.Kind
	wrong, right                                                   []example
}

// field is a text with its line.
type field struct {
	text string
	line int
}

// example is a record, or part of one, as encoding/json would give it.
type example struct {
	value map[string]any
	line  int
}

func (f *file) errorf(line int, format string, args ...any) error {
	return fmt.Errorf("%s:%d: %s", f.path, line, fmt.Sprintf(format, args...))
}

var (
	nameForm    = regexp.MustCompile(`^` + Prefix + `[a-z0-9]+(-[a-z0-9]+)*$`)
	pointerForm = regexp.MustCompile(`^(/[^\s]*)?$`)
)

func parseFile(name string, data []byte) (*file, error) {
	f := &file{path: name, severity: specdata.Warning}
	dec := yaml.NewDecoder(bytes.NewReader(data))
	var doc, more yaml.Node
	if err := dec.Decode(&doc); err != nil {
		if errors.Is(err, io.EOF) {
			return nil, f.errorf(1, "house rule is empty")
		}
		return nil, fmt.Errorf("%s: house rule is not YAML: %s", name, strings.TrimPrefix(err.Error(), "yaml: "))
	}
	if dec.Decode(&more) == nil {
		return nil, f.errorf(more.Line, "house rule holds two documents; write one rule a file")
	}
	if err := f.fields(doc.Content[0]); err != nil {
		return nil, err
	}
	return f, f.complete()
}

// fields takes the keys of the file apart.
func (f *file) fields(root *yaml.Node) error {
	texts := map[string]*field{
		"name": &f.name, "title": &f.title, "expression": &f.expression, "at": &f.at, "message": &f.message,
		"why": &f.why, "mend": &f.mend, "waive": &f.waive, "source": &f.source,
	}
	others := map[string]func(*yaml.Node) error{
		"severity": f.readSeverity, "applies": f.readApplies,
		"wrong": func(n *yaml.Node) (err error) { f.wrong, err = f.examples("wrong", n); return },
		"right": func(n *yaml.Node) (err error) { f.right, err = f.examples("right", n); return },
	}
	known := []string{"name", "title", "severity", "applies", "expression", "at", "message", "why", "mend", "waive", "source", "wrong", "right"}
	return f.members(root, "house rule", known, func(key string, n *yaml.Node) error {
		if read, ok := others[key]; ok {
			return read(n)
		}
		return f.text(key, n, texts[key])
	})
}

// members calls take for every key of a mapping, which must be one of known and stand once.
func (f *file) members(n *yaml.Node, what string, known []string, take func(string, *yaml.Node) error) error {
	if n.Kind != yaml.MappingNode {
		return f.errorf(n.Line, "%s is not a mapping; its keys are %s", what, strings.Join(known, ", "))
	}
	seen := map[string]bool{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key := n.Content[i].Value
		if !slices.Contains(known, key) {
			return f.errorf(n.Content[i].Line, "key %q is unknown%s; the keys of %s are %s", key, specdata.DidYouMean(key, slices.Values(known)), what, strings.Join(known, ", "))
		}
		if seen[key] {
			return f.errorf(n.Content[i].Line, "key %q stands twice", key)
		}
		seen[key] = true
		if err := take(key, n.Content[i+1]); err != nil {
			return err
		}
	}
	return nil
}

func (f *file) text(key string, n *yaml.Node, into *field) error {
	if n.Kind != yaml.ScalarNode || n.Tag != "!!str" {
		return f.errorf(n.Line, "%s is not a text; put it in quotes", key)
	}
	*into = field{n.Value, n.Line}
	return nil
}

func (f *file) readSeverity(n *yaml.Node) error {
	if f.severity = specdata.Severity(n.Value); f.severity.Rank() == 0 {
		return f.errorf(n.Line, "severity %q is none; allowed: error, warning, advice", n.Value)
	}
	return nil
}

func (f *file) readApplies(n *yaml.Node) error {
	return f.members(n, "applies", []string{"kind", "when"}, func(key string, n *yaml.Node) error {
		if key == "when" {
			return f.text(key, n, &f.when)
		}
		nodes := []*yaml.Node{n}
		if n.Kind == yaml.SequenceNode {
			nodes = n.Content
		}
		for _, k := range nodes {
			if !slices.Contains(kindNames(), k.Value) {
				return f.errorf(k.Line, "kind %q does not exist%s; allowed: %s", k.Value, specdata.DidYouMean(k.Value, slices.Values(kindNames())), strings.Join(kindNames(), ", "))
			}
			f.kinds = append(f.kinds, specdata.Kind(k.Value))
		}
		return nil
	})
}

func (f *file) examples(key string, n *yaml.Node) ([]example, error) {
	if n.Kind != yaml.SequenceNode {
		return nil, f.errorf(n.Line, "%s is not a list of records", key)
	}
	var list []example
	for _, e := range n.Content {
		v, err := f.value(e)
		if err != nil {
			return nil, err
		}
		m, ok := v.(map[string]any)
		if !ok {
			return nil, f.errorf(e.Line, "%s example is not a record; write its keys", key)
		}
		list = append(list, example{m, e.Line})
	}
	return list, nil
}

// value returns a node in the form a canonical document decodes to: numbers are doubles.
func (f *file) value(n *yaml.Node) (any, error) {
	switch n.Kind {
	case yaml.MappingNode:
		m := map[string]any{}
		for i := 0; i+1 < len(n.Content); i += 2 {
			v, err := f.value(n.Content[i+1])
			if err != nil {
				return nil, err
			}
			m[n.Content[i].Value] = v
		}
		return m, nil
	case yaml.SequenceNode:
		list := []any{}
		for _, c := range n.Content {
			v, err := f.value(c)
			if err != nil {
				return nil, err
			}
			list = append(list, v)
		}
		return list, nil
	case yaml.ScalarNode:
		switch n.Tag {
		case "!!str":
			return n.Value, nil
		case "!!bool":
			return n.Value == "true", nil
		case "!!int", "!!float":
			v, err := strconv.ParseFloat(n.Value, 64)
			if err == nil {
				return v, nil
			}
		}
		return nil, f.errorf(n.Line, "value %q in an example is no text, plain number, true or false; put texts in quotes", n.Value)
	}
	return nil, f.errorf(n.Line, "example uses an alias; write the value out")
}

// complete says what the file lacks.
func (f *file) complete() error {
	if len(f.kinds) == 1 {
		for _, ex := range slices.Concat(f.wrong, f.right) {
			if _, ok := ex.value["kind"]; !ok {
				ex.value["kind"] = string(f.kinds[0])
			}
		}
	}
	base := strings.TrimSuffix(path.Base(f.path), ".yaml")
	switch {
	case !nameForm.MatchString(f.name.text):
		return f.errorf(max(f.name.line, 1), "name %q is not %s and lower-case words joined by hyphens, like %ssecond-reader", f.name.text, Prefix, Prefix)
	case f.name.text != base:
		return f.errorf(f.name.line, "name %q stands in the file %s; rename the file to %s.yaml or correct the name", f.name.text, path.Base(f.path), f.name.text)
	case f.title.text == "":
		return f.errorf(1, "house rule has no title; say in a few words what is wrong when it speaks")
	case len(f.kinds) == 0:
		return f.errorf(1, "house rule applies to nothing; write applies: {kind: fastener} or another kind")
	case f.expression.text == "":
		return f.errorf(1, "house rule has no expression; write what is true of a good record")
	case f.message.text == "":
		return f.errorf(1, "house rule has no message; say what is wrong and how to mend it")
	case !pointerForm.MatchString(f.at.text):
		return f.errorf(f.at.line, "at %q is not a JSON pointer; write it like /tightening/stages/0/torque", f.at.text)
	case len(f.wrong) == 0 || len(f.right) == 0:
		return f.errorf(1, "house rule has %d wrong and %d right examples; it needs at least one of each, because they are its tests", len(f.wrong), len(f.right))
	}
	if f.source.text == "" {
		f.source.text = "house rule"
	}
	return nil
}
