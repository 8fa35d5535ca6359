package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	reflectionpb "google.golang.org/grpc/reflection/grpc_reflection_v1"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/dynamicpb"

	pb "proofload/api/proofload/v1"
	"proofload/server/view"
	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/library"
)

func demoLibrary(t *testing.T) *library.Memory {
	t.Helper()
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	return lib
}

// Every record of the demo library reads the same over both wires, says that it is
// demo data, and gives back the very document that was published.
func TestEveryRecordOverBothWires(t *testing.T) {
	lib, c := demoLibrary(t), dial(t, demoServer)
	get := map[specdata.Kind]func(string) (proto.Message, error){
		specdata.KindVehicle: func(n string) (proto.Message, error) {
			return c.Specs.GetVehicle(t.Context(), &pb.GetVehicleRequest{Name: n})
		},
		specdata.KindFastener: func(n string) (proto.Message, error) {
			return c.Specs.GetFastener(t.Context(), &pb.GetFastenerRequest{Name: n})
		},
		specdata.KindAssembly: func(n string) (proto.Message, error) {
			return c.Specs.GetAssembly(t.Context(), &pb.GetAssemblyRequest{Name: n})
		},
		specdata.KindProcedure: func(n string) (proto.Message, error) {
			return c.Specs.GetProcedure(t.Context(), &pb.GetProcedureRequest{Name: n})
		},
		specdata.KindSource: func(n string) (proto.Message, error) {
			return c.Specs.GetSource(t.Context(), &pb.GetSourceRequest{Name: n})
		},
	}
	for _, k := range specdata.Kinds {
		for e := range lib.All(k) {
			name := string(e.Name())
			m, err := get[k](name)
			if err != nil {
				t.Fatal(err)
			}
			want, err := view.EncodeJSON(m)
			if err != nil {
				t.Fatal(err)
			}
			x := do(t, "GET", "/v1/"+name, "")
			if x.status != http.StatusOK || !bytes.Equal(x.body, want) {
				t.Errorf("%s: REST gives %d %s, gRPC %s", name, x.status, x.body, want)
			}
			if !view.Demo(m) {
				t.Errorf("%s does not say that it is demo data", name)
			}
			edition := m.(interface{ GetPublished() *pb.Edition }).GetPublished()
			if x.header.Get("ETag") != edition.Etag || edition.DocumentHash != e.Hash || x.header.Get("Proofload-Position") != "1" {
				t.Errorf("%s: validator %s, position %s, edition %v", name, x.header.Get("ETag"), x.header.Get("Proofload-Position"), edition)
			}
			doc := do(t, "GET", "/v1/"+name+"/document", "")
			if !bytes.Equal(doc.body, e.Canonical) || doc.header.Get("ETag") != `"`+e.Hash+`"` {
				t.Errorf("%s: document is not the one that was published", name)
			}
		}
	}
}

// RFC 9110: conditional requests and HEAD.
func TestConditionalReads(t *testing.T) {
	const path = "/v1/fasteners/quill-1-rear-hub-nut"
	first := do(t, "GET", path, "")
	tag := first.header.Get("ETag")
	for _, c := range []struct {
		name, match string
		status      int
	}{
		{"the same", tag, 304},
		{"weak", "W/" + tag, 304},
		{"one of a list", `"x", ` + tag + `, "y"`, 304},
		{"any", "*", 304},
		{"another", `"0123"`, 200},
		{"not a tag", "nonsense", 200},
		{"without quotes", strings.Trim(tag, `"`), 200},
	} {
		for _, method := range []string{"GET", "HEAD"} {
			x := do(t, method, path, "", "If-None-Match", c.match)
			if x.status != c.status || x.header.Get("ETag") != tag || x.header.Get("Vary") == "" || x.header.Get("Cache-Control") != "private, no-cache" {
				t.Errorf("%s, %s: %d %v", method, c.name, x.status, x.header)
			}
			if (method == "HEAD" || x.status == 304) && len(x.body) > 0 {
				t.Errorf("%s, %s: has a body", method, c.name)
			}
		}
	}
	head := do(t, "HEAD", path, "")
	if head.header.Get("Content-Length") != fmt.Sprint(len(first.body)) {
		t.Errorf("HEAD says %s bytes, GET has %d", head.header.Get("Content-Length"), len(first.body))
	}
	list := do(t, "HEAD", "/v1/fasteners?page_size=1", "")
	if list.status != 200 || len(list.body) > 0 {
		t.Errorf("HEAD of a listing: %d with %d bytes", list.status, len(list.body))
	}
}

// calls names every method with a request that succeeds and the same over REST.
var calls = []struct {
	method string
	in     proto.Message
	verb   string
	path   string
	body   string
}{
	{"Specs/GetVehicle", &pb.GetVehicleRequest{Name: "vehicles/quill-1"}, "GET", "/v1/vehicles/quill-1", ""},
	{"Specs/ListVehicles", &pb.ListVehiclesRequest{PageSize: 3}, "GET", "/v1/vehicles?page_size=3", ""},
	{"Specs/GetFastener", &pb.GetFastenerRequest{Name: "fasteners/quill-1-rear-hub-nut", At: "position:1"}, "GET", "/v1/fasteners/quill-1-rear-hub-nut?at=position:1", ""},
	{"Specs/ListFasteners", &pb.ListFastenersRequest{PageSize: 4, Vehicle: "quill-1", Place: "rear hub"}, "GET", "/v1/fasteners?page_size=4&vehicle=quill-1&place=rear+hub", ""},
	{"Specs/GetAssembly", &pb.GetAssemblyRequest{Name: "assemblies/quill-1-rear-hub-disc"}, "GET", "/v1/assemblies/quill-1-rear-hub-disc", ""},
	{"Specs/ListAssemblies", &pb.ListAssembliesRequest{Vehicle: "quill-1"}, "GET", "/v1/assemblies?vehicle=quill-1", ""},
	{"Specs/GetProcedure", &pb.GetProcedureRequest{Name: "procedures/quill-1-rear-hub-bearing"}, "GET", "/v1/procedures/quill-1-rear-hub-bearing", ""},
	{"Specs/ListProcedures", &pb.ListProceduresRequest{PageSize: 1}, "GET", "/v1/procedures?page_size=1", ""},
	{"Specs/GetSource", &pb.GetSourceRequest{Name: "sources/quill-chassis-2018"}, "GET", "/v1/sources/quill-chassis-2018", ""},
	{"Specs/ListSources", &pb.ListSourcesRequest{}, "GET", "/v1/sources", ""},
	{"Specs/ListVehicleFasteners", &pb.ListVehicleFastenersRequest{Parent: "vehicles/quill-1", Place: "rear hub", Options: []string{"rear_brake=disc", "engine=p14"}, Side: "left"}, "GET", "/v1/vehicles/quill-1/fasteners?place=rear+hub&options=rear_brake=disc&options=engine=p14&side=left", ""},
	{"Specs/ResolveFastener", &pb.ResolveFastenerRequest{Vehicle: "quill-1", Place: "rear hub", Title: "collar nut", Options: []string{"rear_brake=disc"}}, "GET", "/v1/fasteners:resolve?vehicle=quill-1&place=rear+hub&title=collar+nut&options=rear_brake%3Ddisc", ""},
	{"Specs/GetDocument", &pb.GetDocumentRequest{Name: "sources/quill-chassis-2018"}, "GET", "/v1/sources/quill-chassis-2018/document", ""},
	{"Specs/ListRevisions", &pb.ListRevisionsRequest{Parent: "sources/quill-chassis-2018"}, "GET", "/v1/sources/quill-chassis-2018/revisions", ""},
	{"Specs/ListUses", &pb.ListUsesRequest{Parent: "fasteners/quill-1-rear-hub-nut"}, "GET", "/v1/fasteners/quill-1-rear-hub-nut/uses", ""},
	{"Specs/Search", &pb.SearchRequest{Query: "hub nut", PageSize: 5}, "GET", "/v1/search?query=hub+nut&page_size=5", ""},
	{"History/ListLog", &pb.ListLogRequest{PageSize: 5, Kinds: []string{"source"}, Moves: true}, "GET", "/v1/log?page_size=5&kinds=source&moves=true", ""},
	{"History/DiffLibrary", &pb.DiffLibraryRequest{From: "position:1"}, "GET", "/v1/diff?from=position:1", ""},
	{"History/ListReleases", &pb.ListReleasesRequest{}, "GET", "/v1/releases", ""},
	{"Checks/LintDocuments", &pb.LintDocumentsRequest{Documents: []*pb.InputDocument{{File: "a.yaml", Text: "kind: source\n"}}}, "POST", "/v1/documents:lint", `{"documents":[{"file":"a.yaml","text":"kind: source\n"}]}`},
	{"Checks/EvaluateJoint", &pb.EvaluateJointRequest{Thread: "M10x1.25", Bolt: "10.9", Torque: "62 N.m"}, "POST", "/v1/joint:evaluate", `{"thread":"M10x1.25","bolt":"10.9","torque":"62 N.m"}`},
	{"Checks/ListRules", &pb.ListRulesRequest{PageSize: 2}, "GET", "/v1/rules?page_size=2", ""},
	{"Checks/GetRule", &pb.GetRuleRequest{Name: "rules/torque-over-yield"}, "GET", "/v1/rules/torque-over-yield", ""},
}

// Every method answers the same over both wires; a method without a line here fails.
func TestEveryMethodOverBothWires(t *testing.T) {
	conn := dialed(t, demoServer)
	left := map[string]bool{}
	for _, f := range []protoreflect.FileDescriptor{pb.File_proofload_v1_specs_proto, pb.File_proofload_v1_checks_proto} {
		for i := range f.Services().Len() {
			s := f.Services().Get(i)
			for j := range s.Methods().Len() {
				left[string(s.Name())+"/"+string(s.Methods().Get(j).Name())] = true
			}
		}
	}
	for _, c := range calls {
		delete(left, c.method)
		service, method, _ := strings.Cut(c.method, "/")
		d, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName("proofload.v1." + service + "." + method))
		if err != nil {
			t.Fatal(err)
		}
		out := dynamicpb.NewMessage(d.(protoreflect.MethodDescriptor).Output())
		var header metadata.MD
		if err := conn.Invoke(t.Context(), "/proofload.v1."+c.method, c.in, out, grpc.Header(&header)); err != nil {
			t.Errorf("%s: %v", c.method, err)
			continue
		}
		x := do(t, c.verb, c.path, c.body, "Content-Type", "application/json")
		if x.status != http.StatusOK {
			t.Errorf("%s: REST answers %d %s", c.method, x.status, x.body)
			continue
		}
		if got := x.header.Values("Proofload-Position"); !slices.Equal(got, header.Get("proofload-position")) {
			t.Errorf("%s: position is %v over REST, %v over gRPC", c.method, got, header.Get("proofload-position"))
		}
		if method == "GetDocument" {
			if got := out.Get(out.Descriptor().Fields().ByName("canonical")).Bytes(); !bytes.Equal(got, x.body) {
				t.Errorf("%s: documents differ", c.method)
			}
			continue
		}
		over := dynamicpb.NewMessage(out.Descriptor())
		if err := protojson.Unmarshal(x.body, over); err != nil {
			t.Errorf("%s: %v", c.method, err)
			continue
		}
		// Through the same type, so that the order of reading does not matter.
		if !proto.Equal(out, over) {
			t.Errorf("%s: gRPC %v\nREST %s", c.method, protojson.Format(out), x.body)
		}
	}
	for m := range left {
		t.Errorf("%s is called in no test", m)
	}
}

// All pages of every listing hold every record once.
func TestListingsAreWhole(t *testing.T) {
	lib := demoLibrary(t)
	for _, k := range specdata.Kinds {
		var want, got []string
		for e := range lib.All(k) {
			want = append(want, string(e.Name()))
		}
		token := ""
		for {
			x := do(t, "GET", "/v1/"+k.Collection()+"?page_size=7&page_token="+url.QueryEscape(token), "")
			var page map[string]json.RawMessage
			if err := json.Unmarshal(x.body, &page); err != nil {
				t.Fatal(err)
			}
			var records []struct{ Name string }
			if err := json.Unmarshal(page[k.Collection()], &records); err != nil {
				t.Fatalf("%s: %v", x.body, err)
			}
			for _, r := range records {
				got = append(got, r.Name)
			}
			token = ""
			if t := page["next_page_token"]; t != nil {
				json.Unmarshal(t, &token)
			}
			if token == "" {
				break
			}
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s: %d records in pages, %d in the library", k, len(got), len(want))
		}
	}
}

// The services a stranger finds by reflection.
func TestReflection(t *testing.T) {
	stream, err := reflectionpb.NewServerReflectionClient(dialed(t, demoServer)).ServerReflectionInfo(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	ask := func(r *reflectionpb.ServerReflectionRequest) *reflectionpb.ServerReflectionResponse {
		if err := stream.Send(r); err != nil {
			t.Fatal(err)
		}
		answer, err := stream.Recv()
		if err != nil {
			t.Fatal(err)
		}
		return answer
	}
	var b strings.Builder
	list := ask(&reflectionpb.ServerReflectionRequest{MessageRequest: &reflectionpb.ServerReflectionRequest_ListServices{}})
	for _, s := range list.GetListServicesResponse().Service {
		fmt.Fprintln(&b, s.Name)
		file := ask(&reflectionpb.ServerReflectionRequest{MessageRequest: &reflectionpb.ServerReflectionRequest_FileContainingSymbol{FileContainingSymbol: s.Name}})
		if len(file.GetFileDescriptorResponse().GetFileDescriptorProto()) == 0 {
			t.Errorf("%s has no description", s.Name)
		}
		if d, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName(s.Name)); err == nil && strings.HasPrefix(s.Name, "proofload.") {
			methods := d.(protoreflect.ServiceDescriptor).Methods()
			for i := range methods.Len() {
				fmt.Fprintf(&b, "  %s\n", methods.Get(i).Name())
			}
		}
	}
	golden(t, "reflection", b.String())
}

// What a terminal shows: the torque table and the first address.
func TestTextForTerminals(t *testing.T) {
	x := do(t, "GET", "/v1/vehicles/quill-1/fasteners?place=rear+hub", "", "Accept", "text/plain")
	if x.status != http.StatusOK || !strings.HasPrefix(x.header.Get("Content-Type"), "text/plain") {
		t.Fatalf("%d %v", x.status, x.header)
	}
	golden(t, "table", string(x.body))
	x = do(t, "GET", "/", "", "Accept", "*/*")
	golden(t, "home", strings.ReplaceAll(string(x.body), demoServer.http, "HOST"))
	x = do(t, "GET", "/", "", "Accept", "application/json")
	var links struct {
		Links    map[string]string
		Vehicles []string
	}
	if err := json.Unmarshal(x.body, &links); err != nil || len(links.Vehicles) == 0 {
		t.Fatalf("%s: %v", x.body, err)
	}
	for rel, path := range links.Links {
		switch {
		case rel == "watch":
			continue // it answers for as long as it is listened to; TestHistory listens
		case rel == "diff":
			path += "position:1"
		case strings.HasSuffix(path, "="):
			path += "nut"
		}
		if y := do(t, "GET", path, ""); y.status != http.StatusOK {
			t.Errorf("link %s leads to %d", rel, y.status)
		}
	}
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	file := filepath.Join("testdata", name+".golden")
	if *update {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs from %s; if that is right, go test ./server -update\n%s", name, file, got)
	}
}

// The rules that answer over the API are the rules of the command line: the same
// findings, in the same order, with the same identity.
func TestLintIsTheLintOfTheCommandLine(t *testing.T) {
	e := demoLibrary(t).Get("fasteners/quill-1-rear-hub-nut")
	slip := strings.Replace(string(e.Canonical), `"240 N.m"`, `"26 N.m"`, 1)
	for _, c := range []struct{ name, media, body string }{
		{"one document in JSON", "application/json", slip},
		{"one document in YAML", "application/yaml", slip}, // JSON is YAML
		{"a request", "application/json; charset=utf-8", `{"documents":[{"text":` + quote(slip) + `}]}`},
	} {
		x := do(t, "POST", "/v1/documents:lint", c.body, "Content-Type", c.media)
		var got pb.LintDocumentsResponse
		if err := protojson.Unmarshal(x.body, &got); err != nil {
			t.Fatalf("%s: %s: %v", c.name, x.body, err)
		}
		lib := demoLibrary(t)
		wrong := &specdata.Fastener{}
		if err := json.Unmarshal([]byte(slip), wrong); err != nil {
			t.Fatal(err)
		}
		rep, err := judge(t.Context(), library.Overlay(lib, &library.Entry{Record: wrong, Canonical: []byte(slip)}), []specdata.Name{e.Name()}, lib)
		if err != nil {
			t.Fatal(err)
		}
		var want, have []string
		for _, f := range rep.Findings {
			want = append(want, f.Identity)
		}
		for _, f := range got.Findings {
			have = append(have, f.Identity)
		}
		slices.Sort(want)
		slices.Sort(have)
		if len(want) == 0 || !slices.Equal(want, have) {
			t.Errorf("%s: the API finds %v, the command line %v", c.name, have, want)
		}
		if got.Publishable || got.Counts.Error == 0 {
			t.Errorf("%s: a torque of 26 N·m beside 177 lbf·ft is publishable: %s", c.name, x.body)
		}
	}
	clean := do(t, "POST", "/v1/documents:lint", string(e.Canonical), "Content-Type", "application/json")
	if !bytes.Contains(clean.body, []byte(`"findings":[]`)) || !bytes.Contains(clean.body, []byte(`"publishable":true`)) {
		t.Errorf("a clean record gives %s", clean.body)
	}
}

func quote(s string) string {
	b, _ := json.Marshal(s)
	return string(b)
}

// The worked example of the mechanics page: M10x1.25 class 10.9 at 62 N·m lies
// inside its window; the arithmetic shows As by ISO 898-1 table 4, 61.2 mm².
func TestEvaluateJoint(t *testing.T) {
	c := dial(t, demoServer)
	out, err := c.Checks.EvaluateJoint(t.Context(), &pb.EvaluateJointRequest{Thread: "M10x1.25", Bolt: "10.9", Torque: "62 N.m"})
	if err != nil {
		t.Fatal(err)
	}
	area := ""
	for _, l := range out.Arithmetic {
		if strings.Contains(l.Name, "stress area") {
			area = l.Text
		}
	}
	if out.Verdict != "good" || area != "61.2 mm²" || len(out.Window) == 0 || len(out.NotChecked) == 0 {
		t.Errorf("got %s, area %s, %d bounds, %v", out.Verdict, area, len(out.Window), out.NotChecked)
	}
	slipped, err := c.Checks.EvaluateJoint(t.Context(), &pb.EvaluateJointRequest{Fastener: "fasteners/quill-1-rear-hub-nut", Torque: "2400 N.m"})
	if err != nil {
		t.Fatal(err)
	}
	if slipped.Verdict != "breaks" && slipped.Verdict != "over yield" {
		t.Errorf("ten times the torque is %s", slipped.Verdict)
	}
}

// A client whose server restarts, or goes back in time, is told and not misled.
func TestClientAgainstTheServer(t *testing.T) {
	c := dial(t, demoServer)
	if _, err := c.Specs.GetVehicle(context.Background(), &pb.GetVehicleRequest{Name: "vehicles/quill-1"}); err != nil {
		t.Fatal(err)
	}
	if c.Position() != 1 {
		t.Errorf("client has seen position %d, want 1", c.Position())
	}
}
