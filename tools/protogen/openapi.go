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
func openAPI(parts map[string][]byte, c *contract) ([]byte, error) {
	var doc object
	// Forms that Go has are named in the file between @.
	quoted := func(s string) []byte { b, _ := json.Marshal(s); return b }
	extra := bytes.ReplaceAll(bytes.ReplaceAll(extraJSON, []byte(`"@moment@"`), quoted(moment)), []byte(`"@day@"`), quoted(day))
	if err := json.Unmarshal(extra, &doc); err != nil {
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
	if err := documents(schemas); err != nil {
		return nil, err
	}
	if err := c.shape(doc); err != nil {
		return nil, err
	}
	named(paths)
	documentWrites(paths)
	finish(doc)
	slices.SortFunc(tags, func(a, b any) int { return strings.Compare(a.(object)["name"].(string), b.(object)["name"].(string)) })
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

// kindOf maps the collections to the names of their kinds.
var kindOf = map[string]string{"vehicles": "Vehicle", "fasteners": "Fastener", "assemblies": "Assembly", "procedures": "Procedure", "sources": "Source"}

// named gives operations names with the kind they are for, where one method has an
// address for each: the generator numbers these, and a kind more would renumber them.
func named(paths object) {
	for path, item := range paths {
		parts := strings.Split(path, "/")
		for _, op := range item.(object) {
			op := op.(object)
			id := op["operationId"].(string)
			service, method, _ := strings.Cut(id, "_")
			base, numbered, _ := strings.Cut(method, "_")
			for _, verb := range []string{"Get", "List"} {
				what, ok := strings.CutPrefix(base, verb)
				if !ok || len(parts) < 4 || !slices.Contains([]string{"Document", "Revisions", "Uses", "Proof"}, what) {
					continue
				}
				if kind := kindOf[parts[2]]; kind != "" {
					base, numbered = verb+kind+what, ""
				}
			}
			if numbered != "" {
				base += "ByPost"
			}
			op["operationId"] = service + "_" + base
		}
	}
}

// addPath prepares one path's operations and gives the path with its parameter
// renamed: the generator names it after the field that holds the whole name, a
// caller writes only the id.
func addPath(paths object, path string, item object) (string, error) {
	renamed := strings.NewReplacer("{name}", "{id}", "{parent}", "{id}", "{name_1}", "{number}").Replace(path)
	for _, method := range slices.Sorted(maps.Keys(item)) {
		op := item[method].(object)
		if parameters, ok := op["parameters"].([]any); ok {
			for _, p := range parameters {
				p := p.(object)
				if p["in"] == "path" {
					inPath(path, p)
				}
			}
		}
		responses := at(op, "responses")
		responses["default"] = object{"$ref": "#/components/responses/Problem"}
		ok := at(responses, "200")
		id := op["operationId"].(string)
		if body := op["requestBody"]; body != nil || slices.ContainsFunc(parametersOf(op), isRequestID) {
			if strings.HasPrefix(path, "/v1/corrections") {
				op["parameters"] = append(parametersOf(op), object{"$ref": "#/components/parameters/IdempotencyKey"})
			}
		}
		if method == "get" && !slices.ContainsFunc(positionless, func(p string) bool { return strings.HasPrefix(path, p) }) {
			ok["headers"] = object{"proofload-position": object{"$ref": "#/components/headers/Position"}}
		}
		if method == "get" && !strings.HasPrefix(id, "History_WatchLog") {
			conditional(op, responses, ok)
		}
		switch {
		case strings.HasPrefix(id, "Specs_GetDocument"):
			ok["description"] = "The canonical document (RFC 8785), byte for byte as it was hashed. Link names its JSON Schema, /schemas/" + strings.ToLower(kindOf[strings.Split(path, "/")[2]]) + ".json."
			at(ok, "headers")["Link"] = object{"description": "Address of the JSON Schema, rel describedby.", "schema": object{"type": "string"}}
			ok["content"] = object{"application/json": object{"schema": documentOf(path)}}
		case id == "Corrections_CreateCorrection":
			responses["201"] = created(ok)
			ok["description"] = "Judged and not kept (validate_only)."
		case strings.HasPrefix(id, "History_WatchLog"):
			op["parameters"] = append(parametersOf(op), object{"$ref": "#/components/parameters/LastEventID"})
			ok["description"] = "Server-sent events: publication and progress, each with a WatchLogResponse as data and its position as id, and at last end, with the problem that says why and where to resume. Comments keep a quiet stream alive."
			ok["content"] = object{"text/event-stream": object{"schema": object{"type": "string"}}}
		case id == "Specs_ListVehicleFasteners", id == "Ledger_GetCheckpoint", id == "Ledger_GetVerifierKey":
			at(ok, "content")["text/plain"] = object{"schema": object{"type": "string"}}
		case id == "Checks_LintDocuments":
			content := at(op, "requestBody", "content")
			request := at(content, "application/json")
			request["schema"] = object{"oneOf": []any{request["schema"], object{"$ref": "#/components/schemas/AnyDocument"}}}
			content["application/yaml"] = object{"schema": object{"type": "string"}}
		}
	}
	return renamed, nil
}

// inPath describes a variable part of an address.
func inPath(path string, p object) {
	second := p["name"] == "name_1"
	p["name"] = "id"
	p["description"] = "Id: lower-case words joined by hyphens."
	p["schema"] = object{"$ref": "#/components/schemas/Id"}
	switch {
	case second:
		p["name"] = "number"
		p["description"] = "Number of the revision, from 1."
		p["schema"] = object{"type": "string", "pattern": "^[1-9][0-9]{0,17}$"}
		p["example"] = "1"
	case strings.HasPrefix(path, "/v1/checks"):
		p["description"] = "Code of the sheet, as printed: PL and sixteen digits and letters, of which the last ones tell a slip."
		p["schema"] = object{"type": "string", "pattern": sheetCode}
	case strings.HasPrefix(path, "/v1/checkpoints"):
		p["description"] = "Position, or newest."
		p["schema"] = object{"type": "string", "pattern": "^([1-9][0-9]{0,17}|newest)$"}
		p["example"] = "newest"
	case strings.HasPrefix(path, "/v1/releases"):
		p["description"] = "Name of the release."
		p["schema"] = object{"type": "string", "pattern": "^[A-Za-z0-9][A-Za-z0-9._-]{0,79}$"}
	case strings.HasPrefix(path, "/v1/keys"):
		p["description"] = "ledger, the only one."
		p["schema"] = object{"type": "string", "const": "ledger"}
		p["example"] = "ledger"
	}
}

// positionless are the addresses whose answers are of no position.
var positionless = []string{"/v1/rules", "/v1/corrections", "/v1/tokens", "/v1/releases", "/v1/keys"}

func parametersOf(op object) []any {
	p, _ := op["parameters"].([]any)
	return p
}

func isRequestID(p any) bool { return p.(object)["name"] == "request_id" }

// created describes the answer to a request that made a correction.
func created(ok object) object {
	return object{
		"description": "The correction that was made.", "content": maps.Clone(at(ok, "content")),
		"headers": object{"Location": object{"description": "Address of the correction.", "schema": object{"type": "string"}}},
	}
}

// documentWrites describes the writes of documents, which HTTP has words for and
// .proto files have not: each is a CreateCorrection of one record.
func documentWrites(paths object) {
	correction := object{"application/json": object{"schema": object{"$ref": "#/components/schemas/Correction"}}}
	text := object{"schema": object{"type": "string"}}
	for _, path := range slices.Sorted(maps.Keys(paths)) {
		if !strings.HasSuffix(path, "/{id}/document") {
			continue
		}
		collection := strings.Split(path, "/")[2]
		for _, w := range []struct {
			method, summary string
			parameters      []any
			content         object
		}{
			{"put", "Proposes a whole document, new or instead of the one that If-Match names.", []any{object{"$ref": "#/components/parameters/IfMatch"}, object{"$ref": "#/components/parameters/IfNone"}},
				object{"application/json": object{"schema": documentOf(path)}, "application/yaml": text}},
			{"patch", "Proposes a patch of the document that If-Match names.", []any{object{"$ref": "#/components/parameters/IfMatchNeeded"}},
				object{"application/merge-patch+json": object{"schema": object{"type": "object"}}, "application/json-patch+json": object{"schema": jsonPatch()}}},
			{"delete", "Proposes to withdraw the record.", []any{object{"$ref": "#/components/parameters/IfMatchNeeded"}}, nil},
		} {
			op := object{
				"tags": []any{"Corrections"}, "operationId": "Corrections_" + strings.ToUpper(w.method[:1]) + w.method[1:] + kindOf[collection] + "Document",
				"summary":     w.summary,
				"description": "Makes a correction, which another person must approve before it is published (role editor).",
				"security":    []any{object{"token": []any{}}},
				"parameters": append([]any{
					object{"name": "id", "in": "path", "required": true, "description": "Id: lower-case words joined by hyphens.", "schema": object{"$ref": "#/components/schemas/Id"}},
					object{"name": "reason", "in": "query", "required": true, "description": "Why, in a sentence that readers of the history understand. The Proofload-Reason header does as well.", "schema": object{"type": "string", "minLength": 10, "maxLength": 2000, "pattern": sentence}, "example": "row 1 of sheet 2 was misread as 62"},
					object{"name": "evidence", "in": "query", "description": "What it rests on: pages, measurements, links.", "schema": object{"type": "array", "maxItems": 20, "items": object{"type": "string", "minLength": 1, "maxLength": 500}}, "example": []any{"sheet 2 row 1"}},
					object{"name": "validate_only", "in": "query", "description": "Judge it and keep nothing.", "schema": object{"type": "boolean"}},
					object{"$ref": "#/components/parameters/Reason"},
					object{"$ref": "#/components/parameters/IdempotencyKey"},
				}, w.parameters...),
				"responses": object{
					"200": object{"description": "Judged and not kept (validate_only).", "content": correction},
					"201": created(object{"content": correction}), "default": object{"$ref": "#/components/responses/Problem"},
				},
			}
			if w.content != nil {
				op["requestBody"] = object{"required": true, "content": w.content}
			}
			at(paths, path)[w.method] = op
		}
	}
}

// conditional describes a read that has a validator (RFC 9110).
func conditional(op, responses, ok object) {
	op["parameters"] = append(parametersOf(op), object{"$ref": "#/components/parameters/IfNoneMatch"})
	at(ok, "headers")["ETag"] = object{"$ref": "#/components/headers/ETag"}
	responses["304"] = object{"$ref": "#/components/responses/NotModified"}
}

// finish says of every operation what holds for all.
func finish(doc object) {
	for path, item := range at(doc, "paths") {
		for _, op := range item.(object) {
			op := op.(object)
			responses := at(op, "responses")
			responses["4XX"] = object{"$ref": "#/components/responses/Problem"}
			for status, r := range responses {
				r := r.(object)
				if status[0] == '2' && strings.HasPrefix(path, "/v1/") {
					at(r, "headers")["X-Request-Id"] = object{"$ref": "#/components/headers/RequestID"}
				}
			}
			if id := op["operationId"].(string); op["description"] == nil {
				op["description"] = op["summary"]
				op["summary"] = strings.TrimSpace(spaced(id[strings.Index(id, "_")+1:]))
			}
		}
	}
}

// spaced turns ListVehicleFasteners into "List vehicle fasteners".
func spaced(name string) string {
	var out strings.Builder
	for i, r := range name {
		if i > 0 && r >= 'A' && r <= 'Z' && !(name[i-1] >= 'A' && name[i-1] <= 'Z') {
			out.WriteByte(' ')
			r += 'a' - 'A'
		}
		out.WriteRune(r)
	}
	return out.String()
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
