package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/pluginpb"

	pb "proofload/api/proofload/v1"
)

// npmPrograms returns the folder of the programs that judge from outside. Without one of
// them the test skips with one line; CI has to have them.
func npmPrograms(t *testing.T, program string) string {
	t.Helper()
	npm, err := filepath.Abs(filepath.Join("..", "testdata", "npm"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(npm, "node_modules", ".bin", program)); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("no %s: npm ci --prefix testdata/npm", program)
		}
		t.Skipf("NOBODY FROM OUTSIDE JUDGES THE CONTRACT: no %s; npm ci --prefix testdata/npm", program)
	}
	return npm
}

// program runs one of npm's programs and returns what it printed.
func program(t *testing.T, folder, npm, name string, args ...string) []byte {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), filepath.Join(npm, "node_modules", ".bin", name), args...)
	cmd.Dir = folder
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%s %v: %v\n%s", name, args, err, out)
	}
	return out
}

// generateCalls writes what protoc-gen-es makes of the linked-in .proto files.
func generateCalls(t *testing.T, npm, into string) {
	t.Helper()
	request := &pluginpb.CodeGeneratorRequest{Parameter: proto.String("target=ts,import_extension=js")}
	seen := map[string]bool{}
	var add func(protoreflect.FileDescriptor)
	add = func(f protoreflect.FileDescriptor) {
		if seen[f.Path()] {
			return
		}
		seen[f.Path()] = true
		for i := range f.Imports().Len() {
			add(f.Imports().Get(i).FileDescriptor)
		}
		request.ProtoFile = append(request.ProtoFile, protodesc.ToFileDescriptorProto(f))
		if filepath.Dir(f.Path()) != "google/protobuf" {
			request.FileToGenerate = append(request.FileToGenerate, f.Path())
		}
	}
	add(pb.File_proofload_v1_specs_proto)
	add(pb.File_proofload_v1_history_proto)
	in, err := proto.Marshal(request)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), filepath.Join(npm, "node_modules", ".bin", "protoc-gen-es"))
	cmd.Stdin = bytes.NewReader(in)
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("protoc-gen-es: %v", err)
	}
	var made pluginpb.CodeGeneratorResponse
	if err := proto.Unmarshal(out, &made); err != nil || made.Error != nil {
		t.Fatalf("protoc-gen-es: %v, %s", err, made.GetError())
	}
	for _, f := range made.File {
		write(t, filepath.Join(into, f.GetName()), f.GetContent())
	}
}

func write(t *testing.T, file, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// Two clients that others' generators make of the contract compile without a complaint
// and work against a server that asks for tokens: one of the OpenAPI document, one of the
// .proto files, as Connect and as gRPC-Web.
func TestGeneratedClients(t *testing.T) {
	npm := npmPrograms(t, "tsc")
	folder := t.TempDir()
	if err := os.CopyFS(folder, os.DirFS(filepath.Join(npm, "clients"))); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(filepath.Join(npm, "node_modules"), filepath.Join(folder, "node_modules")); err != nil {
		t.Fatal(err)
	}
	document, err := filepath.Abs(filepath.Join("..", "api", "openapi", "proofload.v1.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(folder, "generated"), 0o755); err != nil {
		t.Fatal(err)
	}
	program(t, folder, npm, "openapi-typescript", document, "-o", filepath.Join(folder, "generated", "rest.ts"))
	generateCalls(t, npm, filepath.Join(folder, "generated"))
	program(t, folder, npm, "tsc", "--outDir", "made")
	shut := start(t, "--require-token")
	tokens := map[string]string{}
	for _, m := range givenTokens.FindAllStringSubmatch(shut.greeting, -1) {
		tokens[m[1]] = m[2]
	}
	for _, client := range []string{"rest", "connect"} {
		cmd := exec.CommandContext(t.Context(), "node", "--preserve-symlinks", filepath.Join("made", client+".js"))
		cmd.Dir = folder
		cmd.Env = append(os.Environ(), "SERVER=http://"+shut.http, "READER="+tokens["reviewer"], "EDITOR="+tokens["editor"], "RECORD=quill-1-rear-hub-nut")
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Errorf("%s: %v\n%s", client, err, out)
		}
	}
}

// Two linters of others, each with its own list of what does not apply and why, find
// nothing in the OpenAPI document.
func TestTheContractIsJudged(t *testing.T) {
	npm := npmPrograms(t, "redocly")
	document := filepath.Join("..", "..", "api", "openapi", "proofload.v1.json")
	program(t, npm, npm, "redocly", "lint", "--config", "redocly.yaml", document)
	program(t, npm, npm, "spectral", "lint", "--fail-severity", "hint", "-r", "spectral.yaml", document)
}
