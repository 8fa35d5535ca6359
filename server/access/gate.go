package access

import (
	"context"
	"encoding/base64"
	"strings"

	"proofload/server/fault"
)

// Gate says who asks. The nil Gate knows nobody and lets everybody read.
type Gate struct {
	keys *Keys
	// required: even reading needs a token.
	required bool
}

// NewGate makes a gate of tokens. required asks for one with every request.
func NewGate(keys *Keys, required bool) *Gate { return &Gate{keys, required} }

// Required reports whether every request needs a token.
func (g *Gate) Required() bool { return g != nil && g.required }

// Identify gives the token of an Authorization field, nil where none is needed and
// none was given. A token that was given must be good, even where none is needed:
// who sends one wants to be known. The error is TokenMissing or TokenInvalid.
func (g *Gate) Identify(ctx context.Context, authorization string) (*Token, error) {
	if authorization == "" || g == nil {
		if g.Required() {
			return nil, missing("a token")
		}
		return nil, nil
	}
	secret, ok := bearer(authorization)
	if !ok {
		return nil, fault.New(fault.TokenInvalid, "authorization is of a kind that is not taken; write Authorization: Bearer TOKEN")
	}
	t, err := g.keys.Find(ctx, secret)
	if err != nil {
		return nil, err
	}
	return t, nil
}

// bearer gives the token of an Authorization field (RFC 6750, section 2.1; the
// scheme is written in any case, RFC 9110, section 11.1).
func bearer(authorization string) (secret string, ok bool) {
	scheme, secret, _ := strings.Cut(authorization, " ")
	secret = strings.TrimLeft(secret, " ")
	return secret, strings.EqualFold(scheme, "Bearer") && secret != "" && len(secret) <= 4*secretLength
}

// OfBrowser turns the password that a browser asked a person for (RFC 7617) into
// the form of a token, and leaves everything else as it is. Browsers send it by
// themselves, so it may be used for reading only.
func OfBrowser(authorization string) string {
	scheme, text, _ := strings.Cut(authorization, " ")
	if !strings.EqualFold(scheme, "Basic") {
		return authorization
	}
	pair, err := base64.StdEncoding.DecodeString(strings.TrimSpace(text))
	if err != nil {
		return authorization
	}
	_, password, _ := strings.Cut(string(pair), ":")
	return "Bearer " + password
}

type callerKey struct{}

// With puts who asks into a context.
func With(ctx context.Context, t *Token) context.Context {
	if t == nil {
		return ctx
	}
	return context.WithValue(ctx, callerKey{}, t)
}

// Caller gives who asks, nil for somebody without a token.
func Caller(ctx context.Context) *Token {
	t, _ := ctx.Value(callerKey{}).(*Token)
	return t
}

// Need gives the caller where their token has one of the roles. The error is
// TokenMissing without a token and RoleRequired without a role.
func Need(ctx context.Context, roles ...Role) (*Token, error) {
	t := Caller(ctx)
	if t == nil {
		return nil, missing("a token with the role " + either(roles))
	}
	for _, r := range roles {
		if t.Has(r) {
			return t, nil
		}
	}
	return nil, fault.New(fault.RoleRequired, "token %s of %s has the roles %s; this needs the role %s", t.ID, t.Person, roleNames(t.Roles), either(roles)).
		With("token", t.ID).With("roles", roleNames(t.Roles)).With("role", either(roles))
}

func missing(what string) error {
	return fault.New(fault.TokenMissing, "request carries no token; this needs %s, sent as Authorization: Bearer TOKEN", what).With("needs", what)
}

func either(roles []Role) string {
	names := make([]string, len(roles))
	for i, r := range roles {
		names[i] = string(r)
	}
	return strings.Join(names, " or ")
}
