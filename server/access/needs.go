package access

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	pb "proofload/api/proofload/v1"
	"proofload/server/fault"
)

// Needs says whose token a method takes, as its .proto file does.
type Needs struct {
	// Roles are those of which the token must have one; none for reading.
	Roles []Role
	// Open methods can be answered without a token also where reading needs one.
	Open bool
	// Heavy methods take a processor for long.
	Heavy bool
}

// needs maps the full names of methods, as "/proofload.v1.Specs/GetFastener", to
// what their .proto files say. It does not change.
var needs = readNeeds()

// Services returns the descriptors of every service of the contract, in order of name.
func Services() []protoreflect.ServiceDescriptor {
	var all []protoreflect.ServiceDescriptor
	protoregistry.GlobalFiles.RangeFilesByPackage(pb.File_proofload_v1_specs_proto.Package(), func(f protoreflect.FileDescriptor) bool {
		for i := range f.Services().Len() {
			all = append(all, f.Services().Get(i))
		}
		return true
	})
	slices.SortFunc(all, func(a, b protoreflect.ServiceDescriptor) int {
		return strings.Compare(string(a.FullName()), string(b.FullName()))
	})
	return all
}

// MethodName returns the name of a method as calls carry it.
func MethodName(m protoreflect.MethodDescriptor) string {
	return fmt.Sprintf("/%s/%s", m.Parent().FullName(), m.Name())
}

func readNeeds() map[string]Needs {
	all := map[string]Needs{}
	for _, s := range Services() {
		for i := range s.Methods().Len() {
			m := s.Methods().Get(i)
			if !proto.HasExtension(m.Options(), pb.E_Needs) {
				continue // Clear refuses it, and a test names it
			}
			said := proto.GetExtension(m.Options(), pb.E_Needs).(*pb.Needs)
			n := Needs{Open: said.Open, Heavy: said.Heavy}
			for _, r := range said.Roles {
				n.Roles = append(n.Roles, Role(strings.ToLower(strings.TrimPrefix(r.String(), "ROLE_"))))
			}
			all[MethodName(m)] = n
		}
	}
	return all
}

// NeedsOf returns what a method asks for, false where its .proto file does not say.
func NeedsOf(method string) (Needs, bool) {
	n, ok := needs[method]
	return n, ok
}

type clearedKey struct{}

// Clear checks that the caller may call a method of the contract and returns the
// context with which to call it. Every transport calls it before it reads what is
// asked, so that a caller who may not learns nothing else. The error is TokenMissing
// or RoleRequired.
func Clear(ctx context.Context, method string) (context.Context, error) {
	n, ok := needs[method]
	switch {
	case !ok:
		return nil, fault.New(fault.Internal, "method %s does not say who may call it", method)
	case len(n.Roles) == 0:
		return ctx, nil
	}
	t, err := Need(ctx, n.Roles...)
	if err != nil {
		return nil, err
	}
	return context.WithValue(ctx, clearedKey{}, t), nil
}

// Cleared returns the caller of a method that asks for a role. It fails where a
// transport did not call Clear, so that forgetting it lets nobody in.
func Cleared(ctx context.Context) (*Token, error) {
	t, ok := ctx.Value(clearedKey{}).(*Token)
	if !ok {
		return nil, missing("a token whose role was checked")
	}
	return t, nil
}
