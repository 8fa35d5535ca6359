package main

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"
	"google.golang.org/protobuf/types/pluginpb"

	"proofload/schema"
	"proofload/specdata"
)

// contract knows what the .proto files and the schemas of documents say of each field,
// and makes the OpenAPI document say it too.
type contract struct {
	messages map[string]protoreflect.MessageDescriptor
	methods  map[string]protoreflect.MethodDescriptor
	// sent and answered are the messages that stand in requests and in answers.
	sent, answered map[string]bool
	// facts are JSON Schema keywords by "Message.field".
	facts map[string]object
}

// newContract reads the files of a generator's request.
func newContract(request *pluginpb.CodeGeneratorRequest) (*contract, error) {
	// Options came through a registry of their own; read as linked-in types they have extensions.
	raw, err := proto.Marshal(&descriptorpb.FileDescriptorSet{File: request.ProtoFile})
	if err != nil {
		return nil, err
	}
	var set descriptorpb.FileDescriptorSet
	if err := (proto.UnmarshalOptions{Resolver: protoregistry.GlobalTypes}).Unmarshal(raw, &set); err != nil {
		return nil, err
	}
	files, err := protodesc.NewFiles(&set)
	if err != nil {
		return nil, err
	}
	c := &contract{map[string]protoreflect.MessageDescriptor{}, map[string]protoreflect.MethodDescriptor{}, map[string]bool{}, map[string]bool{}, map[string]object{}}
	for _, name := range request.FileToGenerate {
		f, err := files.FindFileByPath(name)
		if err != nil {
			return nil, err
		}
		for i := range f.Messages().Len() {
			c.messages[string(f.Messages().Get(i).Name())] = f.Messages().Get(i)
		}
		for i := range f.Services().Len() {
			s := f.Services().Get(i)
			for j := range s.Methods().Len() {
				m := s.Methods().Get(j)
				c.methods[string(s.Name())+"_"+string(m.Name())] = m
			}
		}
	}
	for _, m := range c.methods {
		reach(m.Input(), c.sent, annotations.FieldBehavior_OUTPUT_ONLY)
		reach(m.Output(), c.answered, annotations.FieldBehavior_INPUT_ONLY)
	}
	for _, k := range specdata.Kinds {
		b, err := schema.Bundle(k)
		if err != nil {
			return nil, err
		}
		var form object
		if err := json.Unmarshal(b, &form); err != nil {
			return nil, err
		}
		m := c.messages[strings.ToUpper(string(k[:1]))+string(k[1:])]
		c.learn(m, form, form, map[string]bool{})
	}
	for field, like := range likeDocuments {
		facts, ok := c.facts[like]
		if !ok {
			return nil, fmt.Errorf("no schema of a document says anything of %s, which %s is like", like, field)
		}
		c.facts[field] = facts
	}
	for field, facts := range ownFacts {
		if message, name, ok := strings.Cut(field, "."); message != "*" && (!ok || c.messages[message] == nil || c.messages[message].Fields().ByName(protoreflect.Name(name)) == nil) {
			return nil, fmt.Errorf("facts are given for %s, which is no field", field)
		}
		c.facts[field] = facts
	}
	return c, nil
}

// behaviours returns what a field says of itself (AIP-203).
func behaviours(f protoreflect.FieldDescriptor) []annotations.FieldBehavior {
	b, _ := proto.GetExtension(f.Options(), annotations.E_FieldBehavior).([]annotations.FieldBehavior)
	return b
}

func has(f protoreflect.FieldDescriptor, b annotations.FieldBehavior) bool {
	return slices.Contains(behaviours(f), b)
}

// reach collects a message and all that stand in it, but behind fields of a behaviour.
func reach(m protoreflect.MessageDescriptor, into map[string]bool, but annotations.FieldBehavior) {
	if into[string(m.Name())] || m.ParentFile().Package() != "proofload.v1" {
		return
	}
	into[string(m.Name())] = true
	for i := range m.Fields().Len() {
		if f := m.Fields().Get(i); f.Message() != nil && !has(f, but) {
			reach(f.Message(), into, but)
		}
	}
}

// keywords are what a view takes over from the schema of documents.
var keywords = []string{"enum", "const", "pattern", "maxLength", "minimum", "maximum", "examples", "format"}

// learn takes over what the schema of a document says of the fields that a message has
// under the same name and of the same type.
func (c *contract) learn(m protoreflect.MessageDescriptor, form, whole object, seen map[string]bool) {
	properties := at(form, "properties")
	if seen[string(m.Name())] {
		return
	}
	seen[string(m.Name())] = true
	for _, name := range slices.Sorted(maps.Keys(properties)) {
		f := m.Fields().ByName(protoreflect.Name(name))
		p := resolved(properties[name].(object), whole)
		if f == nil {
			continue
		}
		if f.IsList() {
			items, ok := p["items"].(object)
			if !ok {
				continue
			}
			p = resolved(items, whole)
		}
		switch {
		case f.Kind() == protoreflect.MessageKind && p["properties"] != nil:
			c.learn(f.Message(), p, whole, seen)
		case f.Kind() == protoreflect.StringKind && (p["type"] == "string" || p["enum"] != nil || p["const"] != nil), f.Kind() == protoreflect.Int32Kind && p["type"] == "integer":
			c.add(string(m.Name())+"."+name, p)
		case f.Kind() == protoreflect.MessageKind && p["type"] == "string":
			// A quantity is a text in a document and a message in a view; what is like the
			// document's finds its form under a name that no field has.
			c.add(string(m.Name())+"."+name, p)
		}
	}
}

func (c *contract) add(field string, p object) {
	facts := object{}
	for _, k := range keywords {
		v, ok := p[k]
		// Patterns of free text keep control characters out, which no view has anyway.
		if text, is := v.(string); ok && !(is && strings.ContainsFunc(text, func(r rune) bool { return r < ' ' })) {
			facts[k] = v
		}
	}
	if facts["const"] != nil {
		facts["enum"] = []any{facts["const"]}
		delete(facts, "const")
	}
	was, ok := c.facts[field]
	if ok {
		// A message that stands in several places allows what each allows.
		if a, b := list(was["enum"]), list(facts["enum"]); a != nil && b != nil {
			for _, word := range b {
				if !slices.Contains(a, word) {
					a = append(a, word)
				}
			}
			was["enum"] = a
		}
		return
	}
	c.facts[field] = facts
}

func list(v any) []any {
	l, _ := v.([]any)
	return l
}

// resolved follows references inside a file; what stands beside one counts before it.
func resolved(p, whole object) object {
	ref, ok := p["$ref"].(string)
	if !ok {
		return p
	}
	out := maps.Clone(resolved(at(whole, strings.Split(strings.TrimPrefix(ref, "#/"), "/")...), whole))
	for k, v := range p {
		if k != "$ref" {
			out[k] = v
		}
	}
	return out
}

// input is the name of the schema of a message as it is sent, where it is answered too.
func (c *contract) input(message string) string {
	if c.answered[message] {
		return message + "Input"
	}
	return message
}

// shape makes the schemas and the operations of a document say what is known.
func (c *contract) shape(doc object) error {
	schemas := at(doc, "components", "schemas")
	for _, name := range slices.Sorted(maps.Keys(c.messages)) {
		s, ok := schemas[name].(object)
		if !ok {
			continue
		}
		if c.sent[name] {
			in := clone(s).(object)
			c.sentAs(in, c.messages[name])
			schemas[c.input(name)] = in
		}
		if c.answered[name] {
			c.answeredAs(s, c.messages[name])
		}
	}
	for _, path := range at(doc, "paths") {
		for _, op := range path.(object) {
			op := op.(object)
			service, method, _ := strings.Cut(op["operationId"].(string), "_")
			method, _, _ = strings.Cut(method, "_") // the generator numbers further addresses
			m := c.methods[service+"_"+method]
			if m == nil {
				continue
			}
			c.parameters(op, m)
			for _, content := range at(op, "requestBody", "content") {
				content := content.(object)
				s, ok := content["schema"].(object)
				if !ok {
					continue
				}
				for _, one := range append(list(s["oneOf"]), s) { // the whole request, or one of several forms
					if one := one.(object); one["properties"] != nil {
						c.sentAs(one, m.Input())
					}
				}
				content["schema"] = c.asSent(s)
			}
			if op["requestBody"] != nil && len(at(op, "requestBody", "content")) == 0 {
				delete(op, "requestBody")
			}
		}
	}
	return nil
}

// sentAs makes a schema that of a message in a request: what the server works out is no
// part of it, and nothing else may stand there.
func (c *contract) sentAs(s object, m protoreflect.MessageDescriptor) {
	properties, _ := s["properties"].(object)
	var required []any
	for _, name := range slices.Sorted(maps.Keys(properties)) {
		f := m.Fields().ByName(protoreflect.Name(name))
		if has(f, annotations.FieldBehavior_OUTPUT_ONLY) {
			delete(properties, name)
			continue
		}
		p := c.asSent(properties[name].(object)).(object)
		delete(p, "writeOnly")
		properties[name] = p
		c.describe(p, m, f)
		if has(f, annotations.FieldBehavior_REQUIRED) {
			required = append(required, name)
			if f.IsList() {
				p["minItems"] = 1
			}
		}
		if string(m.Name())+"."+name == "Correction.changes" { // taking a change out again is for amendments
			at(p, "items")["not"] = object{"required": []any{"drop"}}
		}
	}
	delete(s, "required")
	if required != nil {
		s["required"] = required
	}
	s["additionalProperties"] = false
	for k, v := range ownShapes[string(m.Name())] {
		s[k] = clone(v)
	}
}

// asSent copies a schema with references to messages as they are sent.
func (c *contract) asSent(v any) any {
	switch v := v.(type) {
	case object:
		out := object{}
		for k, inner := range v {
			if name, ok := strings.CutPrefix(fmt.Sprint(inner), "#/components/schemas/"); ok && k == "$ref" && c.sent[name] {
				inner = "#/components/schemas/" + c.input(name)
			}
			out[k] = c.asSent(inner)
		}
		return out
	case []any:
		out := make([]any, len(v))
		for i := range v {
			out[i] = c.asSent(v[i])
		}
		return out
	}
	return v
}

// answeredAs makes a schema that of a message in an answer: lists are always there, and
// so is what its .proto file says is never empty.
func (c *contract) answeredAs(s object, m protoreflect.MessageDescriptor) {
	properties, _ := s["properties"].(object)
	var required []any
	for _, name := range slices.Sorted(maps.Keys(properties)) {
		f := m.Fields().ByName(protoreflect.Name(name))
		if has(f, annotations.FieldBehavior_INPUT_ONLY) {
			delete(properties, name)
			continue
		}
		p := properties[name].(object)
		delete(p, "readOnly")
		// The generator wraps a reference to say that it is read only.
		if all := list(p["allOf"]); len(all) == 1 {
			delete(p, "allOf")
			p["$ref"] = all[0].(object)["$ref"]
		}
		c.describe(p, m, f)
		if f.IsList() || has(f, annotations.FieldBehavior_NON_EMPTY_DEFAULT) || m.Name() == "LintDocumentsResponse" || m.Name() == "Counts" {
			required = append(required, name)
		}
	}
	delete(s, "required")
	if required != nil {
		s["required"] = required
	}
}

// describe adds what is known of a field to its schema.
func (c *contract) describe(p object, m protoreflect.MessageDescriptor, f protoreflect.FieldDescriptor) {
	facts, ok := c.facts[string(m.Name())+"."+string(f.Name())]
	if !ok {
		facts, ok = c.facts["*."+string(f.Name())]
		ok = ok && (strings.HasSuffix(string(m.Name()), "Request") || timeless[string(f.Name())])
	}
	if f.Kind() == protoreflect.Int64Kind && facts["pattern"] == nil {
		p["pattern"] = wholeNumber
	}
	if !ok || f.Kind() == protoreflect.MessageKind {
		return
	}
	if f.IsList() {
		p = at(p, "items")
	}
	for k, v := range facts {
		p[k] = clone(v)
	}
}

// parameters describes the query of an operation by the fields of its message.
func (c *contract) parameters(op object, m protoreflect.MethodDescriptor) {
	for _, p := range parametersOf(op) {
		p := p.(object)
		if p["in"] != "query" {
			continue
		}
		f := m.Input().Fields().ByName(protoreflect.Name(p["name"].(string)))
		if f == nil {
			continue
		}
		s := at(p, "schema")
		c.describe(s, m.Input(), f)
		inner := s
		if f.IsList() {
			inner = at(s, "items")
		}
		if examples := list(inner["examples"]); len(examples) > 0 {
			p["example"] = examples[0]
			if f.IsList() {
				p["example"] = examples[:1]
			}
		}
		if has(f, annotations.FieldBehavior_REQUIRED) {
			p["required"] = true
		}
	}
}

func clone(v any) any {
	switch v := v.(type) {
	case object:
		out := make(object, len(v))
		for k, inner := range v {
			out[k] = clone(inner)
		}
		return out
	case []any:
		out := make([]any, len(v))
		for i := range v {
			out[i] = clone(v[i])
		}
		return out
	}
	return v
}
