package view_test

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/known/structpb"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	pb "proofload/api/proofload/v1"
	"proofload/server/view"
)

// drawMessage fills a message with random values, a few levels deep.
func drawMessage(t *rapid.T, m protoreflect.Message, depth int) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		if rapid.IntRange(0, 2).Draw(t, "left out") == 0 {
			continue
		}
		one := func() (protoreflect.Value, bool) {
			switch f.Kind() {
			case protoreflect.StringKind:
				return protoreflect.ValueOf(rapid.String().Draw(t, "text")), true
			case protoreflect.BoolKind:
				return protoreflect.ValueOf(rapid.Bool().Draw(t, "bool")), true
			case protoreflect.Int32Kind:
				return protoreflect.ValueOf(rapid.Int32().Draw(t, "int32")), true
			case protoreflect.Int64Kind:
				return protoreflect.ValueOf(rapid.Int64().Draw(t, "int64")), true
			case protoreflect.DoubleKind:
				return protoreflect.ValueOf(rapid.Float64().Draw(t, "double")), true
			case protoreflect.BytesKind:
				return protoreflect.ValueOf(rapid.SliceOf(rapid.Byte()).Draw(t, "bytes")), true
			}
			var inner proto.Message
			switch f.Message().FullName() {
			case "google.protobuf.Timestamp":
				inner = &timestamppb.Timestamp{Seconds: rapid.Int64Range(-1e9, 1e10).Draw(t, "seconds")}
			case "google.protobuf.Struct":
				inner = &structpb.Struct{Fields: map[string]*structpb.Value{rapid.String().Draw(t, "key"): structpb.NewStringValue("")}}
			case "google.protobuf.ListValue":
				inner = &structpb.ListValue{Values: []*structpb.Value{structpb.NewNumberValue(0)}}
			default:
				if depth == 0 {
					return protoreflect.Value{}, false
				}
				t, _ := protoregistry.GlobalTypes.FindMessageByName(f.Message().FullName())
				inner = t.New().Interface()
			}
			if !strings.HasPrefix(string(f.Message().FullName()), "google.") {
				drawMessage(t, inner.ProtoReflect(), depth-1)
			}
			return protoreflect.ValueOf(inner.ProtoReflect()), true
		}
		if !f.IsList() {
			if v, ok := one(); ok {
				m.Set(f, v)
			}
			continue
		}
		for range rapid.IntRange(0, 2).Draw(t, "length") {
			if v, ok := one(); ok {
				m.Mutable(f).List().Append(v)
			}
		}
	}
}

// withoutEmptyLists is a JSON value with its empty lists left out, but those of a
// caller's own document.
func withoutEmptyLists(v any) any {
	switch v := v.(type) {
	case map[string]any:
		for k, inner := range v {
			if l, ok := inner.([]any); ok && len(l) == 0 {
				delete(v, k)
				continue
			}
			v[k] = withoutEmptyLists(inner)
		}
	case []any:
		for i := range v {
			v[i] = withoutEmptyLists(v[i])
		}
	}
	return v
}

// Every message of ours is written as protojson writes it, and has its lists besides.
// The library is the judge: its reader gets the message back, and apart from empty
// lists both wrote the same.
func TestEncodeJSONAgreesWithTheLibrary(t *testing.T) {
	var all []protoreflect.MessageDescriptor
	for _, f := range []protoreflect.FileDescriptor{pb.File_proofload_v1_records_proto, pb.File_proofload_v1_specs_proto, pb.File_proofload_v1_corrections_proto, pb.File_proofload_v1_checks_proto, pb.File_proofload_v1_history_proto, pb.File_proofload_v1_jobs_proto, pb.File_proofload_v1_ledger_proto, pb.File_proofload_v1_access_proto} {
		messages := f.Messages()
		for i := range messages.Len() {
			all = append(all, messages.Get(i))
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.SampledFrom(all).Draw(t, "message")
		kind, err := protoregistry.GlobalTypes.FindMessageByName(d.FullName())
		if err != nil {
			t.Fatal(err)
		}
		m := kind.New()
		drawMessage(t, m, 2)
		have, err := view.EncodeJSON(m.Interface())
		if err != nil {
			t.Fatal(err)
		}
		again := kind.New().Interface()
		if err := protojson.Unmarshal(have, again); err != nil || !proto.Equal(m.Interface(), again) {
			t.Fatalf("%s came back as %v (%v)", have, again, err)
		}
		want, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(m.Interface())
		if err != nil {
			t.Fatal(err)
		}
		var h, w any
		if json.Unmarshal(have, &h) != nil || json.Unmarshal(want, &w) != nil || !reflect.DeepEqual(withoutEmptyLists(h), withoutEmptyLists(w)) {
			t.Fatalf("wrote %s\nthe library %s", have, want)
		}
	})
}

func TestListsAreAlwaysThere(t *testing.T) {
	for _, c := range []struct {
		message proto.Message
		want    string
	}{
		{&pb.ListFastenersResponse{}, `{"fasteners":[]}` + "\n"},
		{&pb.ListVehicleFastenersResponse{Undecided: []*pb.Question{{Key: "side"}}}, `{"fasteners":[],"undecided":[{"key":"side","allowed":[]}],"places":[]}` + "\n"},
	} {
		if b, err := view.EncodeJSON(c.message); err != nil || string(b) != c.want {
			t.Errorf("got %s, %v, want %s", b, err, c.want)
		}
	}
}
