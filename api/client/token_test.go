package client

import (
	"context"
	"strings"
	"testing"

	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/metadata"

	pb "proofload/api/proofload/v1"
)

// plain is a connection that is not encrypted.
type plain struct{ credentials.CommonAuthInfo }

func (plain) AuthType() string { return "insecure" }

func TestTokenIsSentSafelyOnly(t *testing.T) {
	for _, c := range []struct {
		uri   string
		level credentials.SecurityLevel
		sent  bool
	}{
		{"https://127.0.0.1:7451/proofload.v1.Specs", credentials.NoSecurity, true},
		{"https://[::1]:7451/proofload.v1.Specs", credentials.NoSecurity, true},
		{"https://localhost/proofload.v1.Specs", credentials.NoSecurity, true},
		{"https://192.0.2.1:7451/proofload.v1.Specs", credentials.NoSecurity, false},
		{"https://localhost.example/proofload.v1.Specs", credentials.NoSecurity, false},
		{"https://192.0.2.1:7451/proofload.v1.Specs", credentials.IntegrityOnly, false},
		{"https://192.0.2.1:7451/proofload.v1.Specs", credentials.PrivacyAndIntegrity, true},
	} {
		info := credentials.RequestInfo{AuthInfo: plain{credentials.CommonAuthInfo{SecurityLevel: c.level}}}
		m, err := bearer("secret").GetRequestMetadata(credentials.NewContextWithRequestInfo(t.Context(), info), c.uri)
		if (err == nil) != c.sent || c.sent && m["authorization"] != "Bearer secret" {
			t.Errorf("%s at level %s: got %v, %v; want sent %t", c.uri, c.level, m, err, c.sent)
		}
		if err != nil && strings.Contains(err.Error(), "secret") {
			t.Errorf("the token is in the error %v", err)
		}
	}
}

// desk counts what it is asked and fails the first times.
type desk struct {
	pb.UnimplementedCorrectionsServer
	ids, tokens []string
}

func (d *desk) ApproveCorrection(ctx context.Context, r *pb.ApproveCorrectionRequest) (*pb.Correction, error) {
	d.ids = append(d.ids, r.RequestId)
	d.tokens = append(d.tokens, metadata.ValueFromIncomingContext(ctx, "authorization")...)
	if len(d.ids) < 3 {
		return nil, unavailable
	}
	return &pb.Correction{Name: r.Name}, nil
}

// A correction that is sent again carries the same request id, and the caller's own
// where there is one.
func TestCorrectionsAreRepeatable(t *testing.T) {
	for _, own := range []string{"", "mine"} {
		d := &desk{}
		c := dialTo(t, func(s registrar) { pb.RegisterCorrectionsServer(s, d) }, WithToken("plt_a"))
		in := &pb.ApproveCorrectionRequest{Name: "corrections/a", RequestId: own}
		if _, err := c.Corrections.ApproveCorrection(t.Context(), in); err != nil {
			t.Fatal(err)
		}
		if len(d.ids) != 3 || d.ids[0] == "" || d.ids[0] != d.ids[1] || d.ids[1] != d.ids[2] || own != "" && d.ids[0] != own {
			t.Errorf("request ids are %q, the caller's %q", d.ids, own)
		}
		if in.RequestId != own {
			t.Error("the caller's request was changed")
		}
		if len(d.tokens) != 3 || d.tokens[0] != "Bearer plt_a" {
			t.Errorf("tokens are %q", d.tokens)
		}
	}
}
