package main

import (
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/descriptorpb"
)

var update = flag.Bool("update", false, "take the .proto files as they are for what was promised")

// bufConfig says how the .proto files are judged: the usual rules and those of comments,
// but what AIPs decide otherwise. A closed vocabulary is a string in the spelling of
// documents, a service is called as the thing it serves, a Get returns the resource
// (AIP-131), and several methods may (AIP-134 to 136).
const bufConfig = `{"version": "v2",
 "lint": {"use": ["STANDARD", "COMMENTS"], "ignore": ["google"], "except": ["SERVICE_SUFFIX", "RPC_RESPONSE_STANDARD_NAME", "RPC_REQUEST_RESPONSE_UNIQUE"], "disallow_comment_ignores": true},
 "breaking": {"use": ["FILE", "WIRE_JSON"], "ignore": ["google"]}}`

// The .proto files pass the rules of others, and nothing that was promised in
// testdata/contract.binpb is taken back: programs that were built against it go on.
func TestBuf(t *testing.T) {
	root, err := moduleRoot()
	if err != nil {
		t.Fatal(err)
	}
	buf := filepath.Join(root, "testdata", "npm", "node_modules", "@bufbuild", "buf-linux-x64", "bin", "buf")
	if _, err := os.Stat(buf); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("no buf: npm ci --prefix testdata/npm")
		}
		t.Skip("THE .proto FILES ARE NOT JUDGED FROM OUTSIDE: npm ci --prefix testdata/npm")
	}
	request, err := compile(t.Context(), filepath.Join(root, "proto"))
	if err != nil {
		t.Fatal(err)
	}
	now, promised := filepath.Join(t.TempDir(), "now.binpb"), filepath.Join("testdata", "contract.binpb")
	image(t, request.ProtoFile, now, true)
	if *update {
		image(t, request.ProtoFile, promised, false)
	}
	for _, args := range [][]string{{"lint", now}, {"breaking", now, "--against", promised}} {
		cmd := exec.CommandContext(t.Context(), buf, append(args, "--config", bufConfig)...)
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Errorf("buf %s: %v\n%s", args[0], err, out)
		}
	}
	// The judge speaks: a field that changes its type, or loses its name, is seen.
	broken := request.ProtoFile[len(request.ProtoFile)-1]
	broken.MessageType[0].Field[0].Name = proto.String("another")
	image(t, request.ProtoFile, now, false)
	if out, err := exec.CommandContext(t.Context(), buf, "breaking", now, "--against", promised, "--config", bufConfig).CombinedOutput(); err == nil {
		t.Errorf("a renamed field is not seen: %s", out)
	}
}

// image writes files as buf reads them, with or without their comments.
func image(t *testing.T, files []*descriptorpb.FileDescriptorProto, name string, comments bool) {
	t.Helper()
	set := &descriptorpb.FileDescriptorSet{}
	for _, f := range files {
		f := proto.CloneOf(f)
		if !comments {
			f.SourceCodeInfo = nil
		}
		set.File = append(set.File, f)
	}
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(set)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, b, 0o644); err != nil {
		t.Fatal(err)
	}
}

// AIP-203: every field says how it behaves, and in one way: sent, answered or both.
func TestEveryFieldSaysHowItBehaves(t *testing.T) {
	root, err := moduleRoot()
	if err != nil {
		t.Fatal(err)
	}
	request, err := compile(t.Context(), filepath.Join(root, "proto"))
	if err != nil {
		t.Fatal(err)
	}
	c, err := newContract(request)
	if err != nil {
		t.Fatal(err)
	}
	for name, m := range c.messages {
		if name == "Needs" {
			continue // an option of methods, in no exchange
		}
		for i := range m.Fields().Len() {
			f := m.Fields().Get(i)
			required, optional, output := has(f, annotations.FieldBehavior_REQUIRED), has(f, annotations.FieldBehavior_OPTIONAL), has(f, annotations.FieldBehavior_OUTPUT_ONLY)
			switch {
			case !required && !optional && !output && !has(f, annotations.FieldBehavior_INPUT_ONLY):
				t.Errorf("%s does not say how it behaves; write (google.api.field_behavior) = REQUIRED, OPTIONAL or OUTPUT_ONLY", f.FullName())
			case output && (required || optional), required && optional:
				t.Errorf("%s says two things: %v", f.FullName(), behaviours(f))
			case strings.HasSuffix(name, "Request") && output:
				t.Errorf("%s is of a request and only answered", f.FullName())
			case !c.sent[name] && !output:
				t.Errorf("%s is only answered and says %v; write OUTPUT_ONLY, with NON_EMPTY_DEFAULT where it is never empty", f.FullName(), behaviours(f))
			}
		}
	}
}
