package main

import (
	"encoding/json"
	"fmt"
	"strings"

	"proofload/schema"
	"proofload/specdata"
)

// documents puts the schemas of documents among those of the interface, so that a
// generated client has types for what it writes: FastenerDocument, and RecordDocument
// for any of them. They are the schemas that /schemas/ serves and that judge a document.
func documents(schemas object) error {
	var any []any
	mapping := object{}
	for _, k := range specdata.Kinds {
		b, err := schema.Bundle(k)
		if err != nil {
			return err
		}
		var form object
		if err := json.Unmarshal(b, &form); err != nil {
			return err
		}
		title := strings.ToUpper(string(k[:1])) + string(k[1:]) + "Document"
		shared := sharedDefinitions()
		rename := func(def string) string {
			if shared[def] {
				return "Document" + camel(def)
			}
			return title + camel(def)
		}
		for name, def := range at(form, "$defs") {
			schemas[rename(name)] = withReferences(def, rename)
		}
		delete(form, "$defs")
		delete(form, "$schema")
		schemas[title] = withReferences(form, rename)
		any = append(any, object{"$ref": "#/components/schemas/" + title})
		mapping[string(k)] = "#/components/schemas/" + title
	}
	schemas["RecordDocument"] = object{
		"description":   "A document by itself; its kind says which.",
		"oneOf":         any,
		"discriminator": object{"propertyName": "kind", "mapping": mapping},
	}
	return nil
}

// sharedDefinitions are the names that the kinds have in common.
func sharedDefinitions() map[string]bool {
	var common struct {
		Defs map[string]any `json:"$defs"`
	}
	out := map[string]bool{}
	if err := json.Unmarshal(schema.Raw(schema.Common), &common); err != nil {
		return out
	}
	for name := range common.Defs {
		out[name] = true
	}
	return out
}

func camel(s string) string {
	var out strings.Builder
	for _, part := range strings.FieldsFunc(s, func(r rune) bool { return r == '_' || r == '-' }) {
		out.WriteString(strings.ToUpper(part[:1]) + part[1:])
	}
	return out.String()
}

// withReferences copies a schema with references to components.
func withReferences(v any, rename func(string) string) any {
	switch v := v.(type) {
	case object:
		out := object{}
		for k, inner := range v {
			if ref, ok := inner.(string); ok && k == "$ref" {
				inner = "#/components/schemas/" + rename(strings.TrimPrefix(ref, "#/$defs/"))
			}
			if k == "examples" || k == "enum" || k == "const" {
				out[k] = inner
				continue
			}
			out[k] = withReferences(inner, rename)
		}
		return out
	case []any:
		out := make([]any, len(v))
		for i := range v {
			out[i] = withReferences(v[i], rename)
		}
		return out
	}
	return v
}

// documentOf returns the schema of the documents of a collection's address.
func documentOf(path string) object {
	kind := kindOf[strings.Split(path, "/")[2]]
	return object{"$ref": fmt.Sprintf("#/components/schemas/%sDocument", kind)}
}
