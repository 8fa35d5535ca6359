package main

import (
	"fmt"
	"slices"
	"strings"

	"proofload/schema"
	"proofload/specdata"
)

// outlines lists what a new record of each kind is asked for, in the order of a record;
// "-" is an element of a list. What is not listed may be added: editors complete it.
var outlines = map[specdata.Kind][]string{
	specdata.KindVehicle: {"make", "model", "built/from", "built/to", "source"},
	specdata.KindFastener: {
		"applies_to/-/vehicle", "applies_to/-/side", "place", "count", "joint", "thread/designation", "thread/hand", "thread/into", "strength/bolt",
		"drive/turn", "drive/head", "drive/nut", "surface/condition", "tightening/stages/-/torque", "tightening/tolerance", "tightening/state", "tightening/drag", "tightening/impact",
		"reuse/rule", "source",
	},
	specdata.KindAssembly:  {"applies_to/-/vehicle", "place", "parts/-/id", "parts/-/title", "parts/-/held_by", "source"},
	specdata.KindProcedure: {"applies_to/-/vehicle", "assemblies", "sides", "cautions/-/signal", "cautions/-/text", "steps/-/id", "steps/-/text", "steps/-/operations/-/do", "steps/-/operations/-/target", "source"},
	specdata.KindSource:    {"issuer", "edition", "date", "type", "licence"},
}

// citation is what every outline that ends in source asks for.
var citation = []string{"source/document", "source/at", "source/read_on", "source/entered_by"}

// scaffold writes a first file of a record: what is known as a value, everything else
// as a comment that says what belongs there.
func scaffold(kind specdata.Kind, id, title, schemaFile string, known map[string]string) string {
	var b strings.Builder
	if schemaFile != "" {
		fmt.Fprintf(&b, "# yaml-language-server: $schema=%s\n", schemaFile)
	}
	fmt.Fprintf(&b, "kind: %s\nid: %s\ntitle: %s\n", kind, id, inYAML(title))
	var open []string // the way that the last line stands in
	var ways []string
	for _, way := range outlines[kind] {
		if way == "source" {
			ways = append(ways, citation...)
			continue
		}
		ways = append(ways, way)
	}
	for _, w := range ways {
		way := strings.Split(w, "/")
		shared := 0
		for shared < len(way)-1 && shared < len(open)-1 && way[shared] == open[shared] {
			shared++
		}
		indent, dash := 0, false
		for i, key := range way {
			if key == "-" {
				if i >= shared {
					dash = true
				}
				indent += 2
				continue
			}
			last := i == len(way)-1
			if i >= shared || last {
				lead := strings.Repeat(" ", max(0, indent))
				if dash {
					lead = strings.Repeat(" ", indent-2) + "- "
					dash = false
				}
				b.WriteString(lead + key + ":")
				if last {
					b.WriteString(value(kind, way, known[w]))
				}
				b.WriteByte('\n')
			}
			indent += 2
		}
		open = way
	}
	return b.String()
}

// manyWords is how many words of a list a comment holds; editors show the rest.
const manyWords = 14

// value is what is behind the colon of a member.
func value(kind specdata.Kind, way []string, known string) string {
	if known != "" {
		return " " + known
	}
	f, ok := schema.FieldAt(kind, way...)
	if !ok {
		return ""
	}
	what := strings.TrimSuffix(f.Description, ".")
	if what != "" {
		first, _, _ := strings.Cut(what, ". ")
		what = strings.ToLower(first[:1]) + first[1:]
	}
	switch {
	case len(f.Allowed) > manyWords:
		return fmt.Sprintf(" # todo: %s; one of %d words, like %s", what, len(f.Allowed), strings.Join(f.Allowed[:manyWords], ", "))
	case f.Allowed != nil:
		return " # todo: one of " + strings.Join(f.Allowed, ", ")
	case len(f.Examples) > 0 && what != "":
		return " # todo: " + what + ", like " + f.Examples[0]
	case len(f.Examples) > 0:
		return " # todo: like " + f.Examples[0]
	}
	return " # todo: " + what
}

// inYAML writes a text so that YAML reads it as text.
func inYAML(s string) string {
	plain := !strings.ContainsAny(s, ":#{}[],&*!|>'\"%@`\\") && strings.TrimSpace(s) == s && s != "" && !strings.ContainsAny(s[:1], "-?0123456789.+~=")
	if plain && !slices.Contains([]string{"yes", "no", "on", "off", "true", "false", "null", "y", "n"}, strings.ToLower(s)) {
		return s
	}
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(s) + `"`
}

// idOf makes an id of words.
func idOf(parts ...string) string {
	var b strings.Builder
	for _, c := range strings.ToLower(strings.Join(parts, " ")) {
		if c >= 'a' && c <= 'z' || c >= '0' && c <= '9' {
			b.WriteRune(c)
		} else {
			b.WriteByte(' ')
		}
	}
	return strings.Join(strings.Fields(b.String()), "-")
}
