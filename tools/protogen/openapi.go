package main

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"
)

// The generator describes what its own gateway would answer. Ours answers errors
// as problem details (RFC 9457), record reads with validators, and takes ids where
// the generator sees names; extra.json holds what no .proto can say.
//
//go:embed extra.json
var extraJSON []byte

type object = map[string]any

// openAPI joins the generator's documents, one a .proto file, into one and makes
// it say what the server does.
func openAPI(parts map[string][]byte) ([]byte, error) {
	var doc object
	if err := json.Unmarshal(extraJSON, &doc); err != nil {
		return nil, fmt.Errorf("extra.json: %w", err)
	}
	paths, schemas := at(doc, "paths"), at(doc, "components", "schemas")
	tags, _ := doc["tags"].([]any)
	for _, name := range slices.Sorted(maps.Keys(parts)) {
		var part object
		// Component names lose the package: one document, one package.
		flat := bytes.ReplaceAll(parts[name], []byte(`proofload.v1.`), nil)
		if err := json.Unmarshal(flat, &part); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		if t, ok := part["tags"].([]any); ok {
			tags = append(tags, t...)
		}
		for path, item := range at(part, "paths") {
			renamed, err := addPath(paths, path, item.(object))
			if err != nil {
				return nil, err
			}
			if _, ok := paths[renamed]; ok {
				return nil, fmt.Errorf("path %s stands twice", renamed)
			}
			paths[renamed] = item
		}
		for schema, s := range at(part, "components", "schemas") {
			if schema != "google.rpc.Status" {
				schemas[schema] = s
			}
		}
	}
	doc["tags"] = tags
	unwrap(doc)
	var out bytes.Buffer
	e := json.NewEncoder(&out)
	e.SetEscapeHTML(false)
	e.SetIndent("", " ")
	if err := e.Encode(doc); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// addPath prepares one path's operations and gives the path with its parameter
// renamed: the generator names it after the field that holds the whole name, a
// caller writes only the id.
func addPath(paths object, path string, item object) (string, error) {
	renamed := strings.NewReplacer("{name}", "{id}", "{parent}", "{id}").Replace(path)
	for _, method := range slices.Sorted(maps.Keys(item)) {
		op := item[method].(object)
		if parameters, ok := op["parameters"].([]any); ok {
			for _, p := range parameters {
				p := p.(object)
				if p["in"] == "path" {
					p["name"] = "id"
					p["description"] = "Id: lower-case words joined by hyphens."
					p["schema"] = object{"$ref": "#/components/schemas/Id"}
				}
			}
		}
		responses := at(op, "responses")
		responses["default"] = object{"$ref": "#/components/responses/Problem"}
		ok := at(responses, "200")
		if method == "get" && !strings.HasPrefix(path, "/v1/rules") {
			ok["headers"] = object{"proofload-position": object{"$ref": "#/components/headers/Position"}}
		}
		switch id := op["operationId"].(string); {
		case strings.HasPrefix(id, "Specs_GetDocument"):
			ok["description"] = "The canonical document (RFC 8785), byte for byte as it was hashed; the schema is that of its kind."
			ok["content"] = object{"application/json": object{"schema": object{"type": "object", "required": []any{"kind", "id", "title"}}}}
			conditional(op, responses, ok)
		case strings.HasPrefix(id, "Specs_Get"):
			conditional(op, responses, ok)
		case id == "Specs_ListVehicleFasteners":
			at(ok, "content")["text/plain"] = object{"schema": object{"type": "string"}}
		case id == "Checks_LintDocuments":
			content := at(op, "requestBody", "content")
			request := at(content, "application/json")
			request["schema"] = object{"oneOf": []any{request["schema"], object{"$ref": "#/components/schemas/RecordDocument"}}}
			content["application/yaml"] = object{"schema": object{"type": "string"}}
		}
	}
	return renamed, nil
}

// conditional describes a read that has a validator (RFC 9110).
func conditional(op, responses, ok object) {
	op["parameters"] = append(op["parameters"].([]any), object{"$ref": "#/components/parameters/IfNoneMatch"})
	ok["headers"].(object)["ETag"] = object{"$ref": "#/components/headers/ETag"}
	responses["304"] = object{"$ref": "#/components/responses/NotModified"}
}

// at walks to an object inside another, making what is missing.
func at(o object, keys ...string) object {
	for _, k := range keys {
		next, ok := o[k].(object)
		if !ok {
			next = object{}
			o[k] = next
		}
		o = next
	}
	return o
}

// unwrap joins the lines of descriptions, which .proto comments wrap.
func unwrap(v any) {
	switch v := v.(type) {
	case object:
		for k, inner := range v {
			if s, ok := inner.(string); ok && (k == "description" || k == "summary") {
				v[k] = strings.ReplaceAll(s, "\n", " ")
			}
			unwrap(inner)
		}
	case []any:
		for _, inner := range v {
			unwrap(inner)
		}
	}
}
