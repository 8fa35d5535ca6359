package main

import (
	"math/rand/v2"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "proofload/api/proofload/v1"
)

// What people with tokens send to hurt is their fault too, never the server's, and
// nothing of it is kept.
func TestHostileWrites(t *testing.T) {
	d := startOffice(t)
	d.give(t, "all", "Sten Aldous", "editor", "reviewer", "admin")
	random := rand.New(rand.NewPCG(5, 6))
	messages := [][]byte{nil, {0}, {0xff}, []byte("\x0a\x05\xff\xfe\xfd\x00a"), []byte(strings.Repeat("\x0a\x80", 50)), []byte(strings.Repeat("\x0b", 10_000))}
	for range 25 {
		b := make([]byte, random.IntN(200))
		for i := range b {
			b[i] = byte(random.Uint32())
		}
		messages = append(messages, b)
	}
	ctx := metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+d.tokens["all"])
	for _, f := range []protoreflect.FileDescriptor{pb.File_proofload_v1_corrections_proto, pb.File_proofload_v1_access_proto} {
		s := f.Services().Get(0)
		for i := range s.Methods().Len() {
			for _, m := range messages {
				var out []byte
				method := "/" + string(s.FullName()) + "/" + string(s.Methods().Get(i).Name())
				switch err := d.conn.Invoke(ctx, method, m, &out, grpc.ForceCodecV2(rawCodec{})); status.Code(err) {
				case codes.Internal, codes.Unknown, codes.DataLoss:
					t.Errorf("%s of %x: %v", method, m, err)
				}
			}
		}
	}
	tag := doAt(t, d.running, "GET", "/v1/"+carrier+"/document", "").header.Get("ETag")
	deep := strings.Repeat("[", 50_000) + strings.Repeat("]", 50_000)
	for _, body := range []string{
		"", "null", "0", `""`, "[]", "{}", deep, `{"note":` + deep + `}`, `[` + deep + `]`, `[{"op":"add","path":"","value":null}]`, `[{"op":"add","path":"/note","value":` + deep + `}]`,
		`[{"op":"copy","from":"","path":"/note"}]`, `[{"op":"move","from":"/tightening","path":"/tightening/stages"}]`, `[{"op":"test","path":"/~2"}]`, `[{"op":"remove","path":"/-1"}]`,
		`[{"op":"add","path":"/applies_to/999999999999999999999","value":{}}]`, `{"kind":null,"id":null}`, `{"id":"../../etc/passwd"}`, `{"note":"\u0000"}`, `{"note":"\ud800"}`, "{\"note\":\"\xff\"}",
		`{"count":1e400}`, `{"count":-0}`, `{"count":1.5}`, `{"note":"` + strings.Repeat("x", 900_000) + `"}`, `{"` + strings.Repeat("k", 900_000) + `":1}`, "a: &a [*a]", "a: &a [x,x]\nb: [*a,*a,*a]",
		`{"changes":[{"record":"` + carrier + `","document":"kind: &a [*a]","base_revision":"1"}],"reason":"because I say so"}`, `{"changes":` + deep + `}`, `{"token":{}}`, `{"person":"\u202e","roles":["admin"]}`,
	} {
		for _, media := range []string{"application/json", "application/merge-patch+json", "application/json-patch+json", "application/yaml"} {
			for _, to := range []string{"PATCH /v1/" + carrier + "/document", "PUT /v1/" + carrier + "/document", "POST /v1/corrections", "POST /v1/tokens", "POST /v1/corrections/20200101-000000-000aaaaa:approve"} {
				method, path, _ := strings.Cut(to, " ")
				x := doAt(t, d.running, method, path, body, append(d.bearer("all"), "Content-Type", media, "If-Match", tag, "Proofload-Reason", "made to hurt somebody")...)
				if x.status >= 500 || x.status < 400 {
					t.Errorf("%s as %s of %.60q: %d %.300s", to, media, body, x.status, x.body)
				}
			}
		}
	}
	if x := doAt(t, d.running, "GET", "/v1/corrections", ""); string(x.body) != "{\"corrections\":[]}\n" {
		t.Errorf("something was kept: %.300s", x.body)
	}
}
