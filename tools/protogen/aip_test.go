package main

import (
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"
)

// ours compiles proto/ and gives our files, with their comments.
func ours(t *testing.T) []protoreflect.FileDescriptor {
	t.Helper()
	root, err := moduleRoot()
	if err != nil {
		t.Fatal(err)
	}
	request, err := compile(t.Context(), filepath.Join(root, "proto"))
	if err != nil {
		t.Fatal(err)
	}
	set := &descriptorpb.FileDescriptorSet{File: request.ProtoFile}
	files, err := protodesc.NewFiles(set)
	if err != nil {
		t.Fatal(err)
	}
	var out []protoreflect.FileDescriptor
	for _, name := range request.FileToGenerate {
		f, err := files.FindFileByPath(name)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, f)
	}
	return out
}

// descriptors walks everything that is named in a file.
func descriptors(f protoreflect.FileDescriptor, visit func(protoreflect.Descriptor)) {
	var messages func(protoreflect.MessageDescriptors)
	messages = func(ms protoreflect.MessageDescriptors) {
		for i := range ms.Len() {
			m := ms.Get(i)
			visit(m)
			for j := range m.Fields().Len() {
				visit(m.Fields().Get(j))
			}
			messages(m.Messages())
		}
	}
	messages(f.Messages())
	for i := range f.Services().Len() {
		s := f.Services().Get(i)
		visit(s)
		for j := range s.Methods().Len() {
			visit(s.Methods().Get(j))
		}
	}
}

// AIP-192: everything has a comment, and it is a sentence.
func TestEverythingIsDocumented(t *testing.T) {
	for _, f := range ours(t) {
		if c := f.SourceLocations().ByPath(protoreflect.SourcePath{12}); len(c.LeadingComments) == 0 {
			t.Errorf("%s has no comment at its head", f.Path())
		}
		descriptors(f, func(d protoreflect.Descriptor) {
			comment := strings.TrimSpace(f.SourceLocations().ByDescriptor(d).LeadingComments)
			if comment == "" || !strings.HasSuffix(comment, ".") {
				t.Errorf("%s has the comment %q; write a sentence", d.FullName(), comment)
			}
		})
	}
}

// AIP-140, AIP-190: names; AIP-126 does not apply, closed vocabularies are strings
// in the spelling of documents.
func TestNames(t *testing.T) {
	field, message := regexp.MustCompile(`^[a-z]+(_[a-z]+)*$`), regexp.MustCompile(`^[A-Z][A-Za-z]*$`)
	for _, f := range ours(t) {
		if f.Package() != "proofload.v1" || !strings.HasPrefix(f.Path(), "proofload/v1/") {
			t.Errorf("%s is of package %s; AIP-191 asks for folders like the package", f.Path(), f.Package())
		}
		descriptors(f, func(d protoreflect.Descriptor) {
			form := message
			if _, ok := d.(protoreflect.FieldDescriptor); ok {
				form = field
			}
			if !form.MatchString(string(d.Name())) {
				t.Errorf("%s is not spelt as %s", d.FullName(), form)
			}
		})
	}
}

func plural(resource string) string {
	if stem, ok := strings.CutSuffix(resource, "y"); ok {
		return stem + "ies"
	}
	return resource + "s"
}

// AIP-131, 132, 136, 158 and 127: standard methods, custom verbs, paging, addresses.
func TestMethods(t *testing.T) {
	snake := func(s string) string {
		return strings.ToLower(regexp.MustCompile(`([a-z])([A-Z])`).ReplaceAllString(s, "${1}_$2"))
	}
	for _, f := range ours(t) {
		for i := range f.Services().Len() {
			methods := f.Services().Get(i).Methods()
			for j := range methods.Len() {
				m := methods.Get(j)
				name := string(m.Name())
				in, out := m.Input(), m.Output()
				if string(in.Name()) != name+"Request" {
					t.Errorf("%s takes %s; AIP-131 asks for %sRequest", name, in.Name(), name)
				}
				rules := rulesOf(t, m)
				switch {
				case strings.HasPrefix(name, "Get"):
					resource := strings.TrimPrefix(name, "Get")
					if string(out.Name()) != resource {
						t.Errorf("%s returns %s; AIP-131 asks for the resource", name, out.Name())
					}
					expectField(t, in, "name", protoreflect.StringKind, true)
					for _, r := range rules {
						if r.GetGet() == "" || r.Body != "" || !strings.Contains(r.GetGet(), "{name=") {
							t.Errorf("%s: address %v; AIP-131 asks for GET with the name in it", name, r)
						}
					}
				case strings.HasPrefix(name, "List"), name == "Search", name == "DiffLibrary":
					if string(out.Name()) != name+"Response" {
						t.Errorf("%s returns %s", name, out.Name())
					}
					expectField(t, in, "page_size", protoreflect.Int32Kind, false)
					expectField(t, in, "page_token", protoreflect.StringKind, false)
					expectField(t, out, "next_page_token", protoreflect.StringKind, false)
					first := out.Fields().ByNumber(1)
					if first == nil || !first.IsList() {
						t.Errorf("%s: the first field of the answer is not the list (AIP-158)", name)
					}
					for _, r := range rules {
						if r.GetGet() == "" || r.Body != "" {
							t.Errorf("%s: address %v; AIP-132 asks for GET", name, r)
						}
						if strings.Contains(r.GetGet(), "{") && !strings.Contains(r.GetGet(), "{parent=") {
							t.Errorf("%s: address %v; AIP-132 asks for the parent", name, r)
						}
					}
				case strings.HasPrefix(name, "Create"):
					resource := strings.TrimPrefix(name, "Create")
					if string(out.Name()) != resource {
						t.Errorf("%s returns %s; AIP-133 asks for the resource", name, out.Name())
					}
					expectField(t, in, protoreflect.Name(snake(resource)), protoreflect.MessageKind, true)
					for _, r := range rules {
						if r.GetPost() != "/v1/"+plural(snake(resource)) || r.Body != snake(resource) {
							t.Errorf("%s: address %v; AIP-133 asks for POST to the collection with the resource as its body", name, r)
						}
					}
				default: // custom: verb and noun, the verb behind a colon
					verb := snake(regexp.MustCompile(`^[A-Z][a-z]+`).FindString(name))
					for _, r := range rules {
						address := r.GetGet() + r.GetPost()
						if !strings.HasSuffix(address, ":"+verb) {
							t.Errorf("%s: address %s; AIP-136 asks for :%s at its end", name, address, verb)
						}
						if r.GetPost() != "" && r.Body != "*" {
							t.Errorf("%s: body %q; AIP-136 asks for *", name, r.Body)
						}
					}
				}
				// Reads answer for a moment: at and min_position come together, but
				// where only the newest state can be read.
				if in.Fields().ByName("at") != nil {
					expectField(t, in, "at", protoreflect.StringKind, false)
					expectField(t, in, "min_position", protoreflect.Int64Kind, false)
				}
				if m.IsStreamingClient() || m.IsStreamingServer() && strings.HasPrefix(name, "List") {
					t.Errorf("%s streams; AIP-158 pages", name)
				}
			}
		}
	}
}

// AIP-122, AIP-203: collections are plural, what must be given says so.
func TestAddresses(t *testing.T) {
	collections := []string{"rules", "documents", "joint", "search", "corrections", "tokens", "log", "diff", "releases", "keys", "checkpoints", "checks", "jobs", "acts", "narrations"}
	for _, r := range []string{"vehicle", "fastener", "assembly", "procedure", "source"} {
		collections = append(collections, plural(r))
	}
	seen := map[string]string{}
	for _, f := range ours(t) {
		for i := range f.Services().Len() {
			methods := f.Services().Get(i).Methods()
			for j := range methods.Len() {
				for _, r := range rulesOf(t, methods.Get(j)) {
					address := r.GetGet() + r.GetPost()
					parts := regexp.MustCompile(`^/v1/(?:\{(?:name|parent)=)?([a-z]+)`).FindStringSubmatch(address)
					if parts == nil || !slices.Contains(collections, parts[1]) {
						t.Errorf("address %s is not under /v1/ and one of %v", address, collections)
					}
					plain := fmt.Sprintf("%T %s", r.Pattern, regexp.MustCompile(`\{[a-z]+=([a-z]+/)\*\}`).ReplaceAllString(address, "$1*"))
					if was, ok := seen[plain]; ok {
						t.Errorf("%s is an address of %s and of %s", address, was, methods.Get(j).Name())
					}
					seen[plain] = string(methods.Get(j).Name())
				}
			}
		}
	}
}

func rulesOf(t *testing.T, m protoreflect.MethodDescriptor) []*annotations.HttpRule {
	t.Helper()
	// The options came through a dynamic registry; read them as the linked-in type.
	raw, err := proto.Marshal(m.Options())
	if err != nil {
		t.Fatal(err)
	}
	var options descriptorpb.MethodOptions
	if err := (proto.UnmarshalOptions{Resolver: protoregistry.GlobalTypes}).Unmarshal(raw, &options); err != nil {
		t.Fatal(err)
	}
	rule, _ := proto.GetExtension(&options, annotations.E_Http).(*annotations.HttpRule)
	if rule == nil {
		t.Errorf("%s has no address (AIP-127)", m.FullName())
		return nil
	}
	return append([]*annotations.HttpRule{rule}, rule.AdditionalBindings...)
}

func expectField(t *testing.T, m protoreflect.MessageDescriptor, name protoreflect.Name, kind protoreflect.Kind, required bool) {
	t.Helper()
	f := m.Fields().ByName(name)
	if f == nil || f.Kind() != kind || f.IsList() {
		t.Errorf("%s has no field %s of type %s", m.Name(), name, kind)
		return
	}
	raw, err := proto.Marshal(f.Options())
	if err != nil {
		t.Fatal(err)
	}
	var options descriptorpb.FieldOptions
	if err := (proto.UnmarshalOptions{Resolver: protoregistry.GlobalTypes}).Unmarshal(raw, &options); err != nil {
		t.Fatal(err)
	}
	behaviour, _ := proto.GetExtension(&options, annotations.E_FieldBehavior).([]annotations.FieldBehavior)
	if slices.Contains(behaviour, annotations.FieldBehavior_REQUIRED) != required {
		t.Errorf("%s.%s: required is %t, want %t (AIP-203)", m.Name(), name, !required, required)
	}
}
