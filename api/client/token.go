package client

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"fmt"
	"net"
	"net/url"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// WithToken sends a token with every call. It is sent encrypted or to this machine
// only; a call to another over a connection that is not encrypted fails instead.
func WithToken(token string) grpc.DialOption { return grpc.WithPerRPCCredentials(bearer(token)) }

type bearer string

// RequireTransportSecurity implements credentials.PerRPCCredentials. Whether the
// connection has to be encrypted depends on where it goes, which is known per call.
func (bearer) RequireTransportSecurity() bool { return false }

// GetRequestMetadata implements credentials.PerRPCCredentials.
func (b bearer) GetRequestMetadata(ctx context.Context, uri ...string) (map[string]string, error) {
	info, _ := credentials.RequestInfoFromContext(ctx)
	if err := credentials.CheckSecurityLevel(info.AuthInfo, credentials.PrivacyAndIntegrity); err != nil {
		if len(uri) == 0 {
			return nil, fmt.Errorf("token is not sent: the connection is not encrypted, and it is not known where it goes")
		}
		u, err := url.Parse(uri[0])
		if err != nil || loopback(net.JoinHostPort(u.Hostname(), "0")) != nil {
			return nil, fmt.Errorf("token is not sent to %s: the connection is not encrypted; dial with transport credentials", uri[0])
		}
	}
	return map[string]string{"authorization": "Bearer " + string(b)}, nil
}

// repeatable returns a request that has a place for a request id one, where the caller
// gave none, so that it may be sent again and is done once. The caller's message is
// not changed.
func repeatable(in any) any {
	m, ok := in.(proto.Message)
	if !ok {
		return in
	}
	id := m.ProtoReflect().Descriptor().Fields().ByName("request_id")
	if id == nil || m.ProtoReflect().Has(id) {
		return in
	}
	var b [16]byte
	rand.Read(b[:])
	r := proto.Clone(m).ProtoReflect()
	r.Set(id, protoreflect.ValueOfString(hex.EncodeToString(b[:])))
	return r.Interface()
}
