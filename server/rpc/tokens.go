package rpc

import (
	"context"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "proofload/api/proofload/v1"
	"proofload/server/access"
	"proofload/server/ask"
	"proofload/server/fault"
)

// Access implements the Access service.
type Access struct {
	pb.UnimplementedAccessServer
	keys  *access.Keys
	pages *ask.Pages
}

// tokensCollection is the collection of tokens in resource names.
const tokensCollection = "tokens"

// CreateToken implements pb.AccessServer; so do the methods below.
func (a *Access) CreateToken(ctx context.Context, r *pb.CreateTokenRequest) (*pb.Token, error) {
	if _, err := access.Cleared(ctx); err != nil {
		return nil, err
	}
	in := r.GetToken()
	for field, set := range map[string]bool{
		"token.name": in.GetName() != "", "token.create_time": in.GetCreateTime() != nil, "token.revoke_time": in.GetRevokeTime() != nil, "token.secret": in.GetSecret() != "",
	} {
		if set {
			return nil, outputOnly(field)
		}
	}
	roles := make([]access.Role, len(in.GetRoles()))
	for i, role := range in.GetRoles() {
		roles[i] = access.Role(role)
	}
	var expires time.Time
	if in.GetExpireTime() != nil {
		if err := in.ExpireTime.CheckValid(); err != nil {
			return nil, fault.Field("expire_time", "expire_time is not a time: %v", err)
		}
		expires = in.ExpireTime.AsTime()
	}
	secret, t, err := a.keys.Issue(ctx, in.GetPerson(), roles, expires)
	if err != nil {
		return nil, err
	}
	out := tokenMessage(t)
	out.Secret = secret
	return out, nil
}

func outputOnly(field string) error {
	return fault.Field(field, "field %s is written by the server; leave it out", field)
}

func tokenMessage(t *access.Token) *pb.Token {
	out := &pb.Token{Name: tokensCollection + "/" + t.ID, Person: t.Person, CreateTime: timestamppb.New(t.Created)}
	for _, r := range t.Roles {
		out.Roles = append(out.Roles, string(r))
	}
	if !t.Expires.IsZero() {
		out.ExpireTime = timestamppb.New(t.Expires)
	}
	if !t.Revoked.IsZero() {
		out.RevokeTime = timestamppb.New(t.Revoked)
	}
	return out
}

func (a *Access) ListTokens(ctx context.Context, r *pb.ListTokensRequest) (*pb.ListTokensResponse, error) {
	if _, err := access.Cleared(ctx); err != nil {
		return nil, err
	}
	all, err := a.keys.List(ctx)
	if err != nil {
		return nil, err
	}
	part, next, err := ask.CutFixed(a.pages, all, "tokens", ask.Page{Size: r.PageSize, Token: r.PageToken})
	if err != nil {
		return nil, err
	}
	out := &pb.ListTokensResponse{NextPageToken: next}
	for _, t := range part {
		out.Tokens = append(out.Tokens, tokenMessage(t))
	}
	return out, nil
}

func (a *Access) RevokeToken(ctx context.Context, r *pb.RevokeTokenRequest) (*pb.Token, error) {
	if _, err := access.Cleared(ctx); err != nil {
		return nil, err
	}
	id, err := ask.ID("name", r.Name, tokensCollection, "")
	if err != nil {
		return nil, err
	}
	t, err := a.keys.Revoke(ctx, id)
	if err != nil {
		return nil, err
	}
	return tokenMessage(t), nil
}
