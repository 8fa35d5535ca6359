// Protogen makes everything under api/ that is generated: Go messages, gRPC and
// gateway stubs, and the OpenAPI document. It needs no compiler besides Go: the
// .proto files are compiled in process and the generators are go.mod tools, so a
// checkout always generates with the versions it was tested with.
//
// Usage, from the root of the module:
//
//	go run ./tools/protogen
package main

import (
	"context"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
)

func main() {
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, "protogen:", err)
		os.Exit(1)
	}
}

func run() error {
	root, err := moduleRoot()
	if err != nil {
		return err
	}
	files, err := generate(context.Background(), root)
	if err != nil {
		return err
	}
	stale, err := generated(root)
	if err != nil {
		return err
	}
	for _, name := range stale {
		if _, ok := files[name]; !ok {
			if err := os.Remove(filepath.Join(root, name)); err != nil {
				return err
			}
		}
	}
	for _, name := range slices.Sorted(maps.Keys(files)) {
		path := filepath.Join(root, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return err
		}
		if err := os.WriteFile(path, files[name], 0o644); err != nil {
			return err
		}
	}
	return nil
}

// moduleRoot returns the folder of go.mod, so that go generate may run anywhere.
func moduleRoot() (string, error) {
	out, err := exec.Command("go", "env", "GOMOD").Output()
	if err != nil {
		return "", fmt.Errorf("go env GOMOD: %w", err)
	}
	file := strings.TrimSpace(string(out))
	if filepath.Base(file) != "go.mod" {
		return "", fmt.Errorf("folder is in no module; run protogen inside the checkout")
	}
	return filepath.Dir(file), nil
}

// generated lists what stands in the folders that hold generated files only.
func generated(root string) ([]string, error) {
	var names []string
	for _, pattern := range []string{"api/proofload/*/*.go", "api/openapi/*.json"} {
		found, err := filepath.Glob(filepath.Join(root, pattern))
		if err != nil {
			return nil, err
		}
		for _, f := range found {
			name, err := filepath.Rel(root, f)
			if err != nil {
				return nil, err
			}
			names = append(names, filepath.ToSlash(name))
		}
	}
	return names, nil
}

// generate compiles proto/ and runs the generators. The result maps file names
// relative to the root to contents.
func generate(ctx context.Context, root string) (map[string][]byte, error) {
	request, err := compile(ctx, filepath.Join(root, "proto"))
	if err != nil {
		return nil, err
	}
	files := map[string][]byte{}
	for _, plugin := range []string{"protoc-gen-go", "protoc-gen-go-grpc", "protoc-gen-grpc-gateway"} {
		out, err := runPlugin(ctx, root, plugin, "module=proofload", request)
		if err != nil {
			return nil, err
		}
		maps.Copy(files, out)
	}
	parts, err := runPlugin(ctx, root, "protoc-gen-openapiv3", "", withProtoNames(request))
	if err != nil {
		return nil, err
	}
	c, err := newContract(request)
	if err != nil {
		return nil, err
	}
	doc, err := openAPI(parts, c)
	if err != nil {
		return nil, err
	}
	files["api/openapi/proofload.v1.json"] = doc
	return files, nil
}
