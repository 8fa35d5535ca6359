package main

import (
	"bytes"
	"context"
	"fmt"
	"io/fs"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"

	"github.com/bufbuild/protocompile"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/descriptorpb"
	"google.golang.org/protobuf/types/pluginpb"

	// Linked in so that imports of google/api resolve to the very descriptors
	// the generated code will use.
	_ "google.golang.org/genproto/googleapis/api/annotations"
)

// compile reads every .proto file under a folder into the request that protoc
// would send to a generator.
func compile(ctx context.Context, folder string) (*pluginpb.CodeGeneratorRequest, error) {
	var names []string
	err := filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || filepath.Ext(path) != ".proto" {
			return err
		}
		name, err := filepath.Rel(folder, path)
		names = append(names, filepath.ToSlash(name))
		return err
	})
	if err != nil {
		return nil, err
	}
	slices.Sort(names)
	compiler := protocompile.Compiler{
		Resolver: protocompile.WithStandardImports(protocompile.CompositeResolver{
			&protocompile.SourceResolver{ImportPaths: []string{folder}},
			protocompile.ResolverFunc(linkedIn),
		}),
		SourceInfoMode: protocompile.SourceInfoStandard,
	}
	compiled, err := compiler.Compile(ctx, names...)
	if err != nil {
		return nil, err
	}
	request := &pluginpb.CodeGeneratorRequest{FileToGenerate: names}
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
	}
	for _, f := range compiled {
		add(f)
	}
	return request, nil
}

func linkedIn(path string) (protocompile.SearchResult, error) {
	f, err := protoregistry.GlobalFiles.FindFileByPath(path)
	if err != nil {
		return protocompile.SearchResult{}, fmt.Errorf("import %q is neither under proto/ nor linked into protogen: %w", path, err)
	}
	return protocompile.SearchResult{Desc: f}, nil
}

// withProtoNames copies a request with every JSON name set to the proto name,
// because our JSON keeps them.
func withProtoNames(request *pluginpb.CodeGeneratorRequest) *pluginpb.CodeGeneratorRequest {
	out := proto.CloneOf(request)
	var rename func([]*descriptorpb.DescriptorProto)
	rename = func(messages []*descriptorpb.DescriptorProto) {
		for _, m := range messages {
			for _, f := range m.Field {
				f.JsonName = proto.String(f.GetName())
			}
			rename(m.NestedType)
		}
	}
	for _, f := range out.ProtoFile {
		rename(f.MessageType)
	}
	return out
}

// runPlugin runs one generator of go.mod's tool list.
func runPlugin(ctx context.Context, root, plugin, parameter string, request *pluginpb.CodeGeneratorRequest) (map[string][]byte, error) {
	request = proto.CloneOf(request)
	if parameter != "" {
		request.Parameter = proto.String(parameter)
	}
	in, err := proto.MarshalOptions{Deterministic: true}.Marshal(request)
	if err != nil {
		return nil, err
	}
	cmd := exec.CommandContext(ctx, "go", "tool", plugin)
	cmd.Dir = root
	cmd.Stdin = bytes.NewReader(in)
	var stderr strings.Builder
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("%s: %w\n%s", plugin, err, stderr.String())
	}
	var response pluginpb.CodeGeneratorResponse
	if err := proto.Unmarshal(out, &response); err != nil {
		return nil, fmt.Errorf("%s: answer: %w", plugin, err)
	}
	if response.Error != nil {
		return nil, fmt.Errorf("%s: %s", plugin, response.GetError())
	}
	files := map[string][]byte{}
	for _, f := range response.File {
		files[f.GetName()] = []byte(f.GetContent())
	}
	return files, nil
}
