package access

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/base64"
	"net"
	"net/netip"
	"slices"
	"strings"
	"time"

	"proofload/server/fault"
)

// Settings say who gets in.
type Settings struct {
	// Required asks every request for a token, but for what is open.
	Required bool
	// Hosts are the names under which the server is reached, beside those of this
	// machine; none where every request needs a token: any name.
	Hosts []string
	// Proxies are the networks whose word about where a request came from is taken.
	Proxies []netip.Prefix
	// Public opens the methods that their .proto files call open.
	Public bool
	// Identities know those who show no token of this server; nil for nobody.
	Identities *Identities
}

// Gate says who asks and where from. The nil Gate knows nobody and lets everybody read.
type Gate struct {
	keys *Keys
	set  Settings
}

// NewGate returns a gate of tokens.
func NewGate(keys *Keys, set Settings) *Gate { return &Gate{keys, set} }

// Required reports whether every request needs a token.
func (g *Gate) Required() bool { return g != nil && g.set.Required }

// Public reports whether open methods are answered without a token.
func (g *Gate) Public() bool { return g != nil && g.set.Public }

// Origin is where a request came from.
type Origin struct {
	// Address is the address of the caller, or of the last proxy that is not trusted.
	Address string
	// Local says that the request was made on this machine, under a name of this
	// machine, and that nothing forwarded it. Only such a request may be open.
	Local bool
	// Certificate is that of the caller, verified, nil where none was shown.
	Certificate *x509.Certificate
}

// Shown returns the caller's certificate where TLS verified one.
func Shown(s *tls.ConnectionState) *x509.Certificate {
	if s == nil || len(s.VerifiedChains) == 0 {
		return nil
	}
	return s.VerifiedChains[0][0]
}

// forwarding are the header fields that proxies add (RFC 7239; RFC 9110, section
// 7.6.3; common practice for the others).
var forwarding = []string{"X-Forwarded-For", "Forwarded", "Via", "X-Forwarded-Host", "X-Forwarded-Proto", "X-Real-Ip"}

// OriginOf returns where a request came from: remote is the address of the
// connection, host the name it was sent to, values a look-up of header fields. The
// error is HostUnknown for a name that is not one of this server.
func (g *Gate) OriginOf(remote, host string, values func(field string) []string) (Origin, error) {
	local := LocalHost(host)
	if !local && !g.knows(host) {
		return Origin{}, fault.New(fault.HostUnknown, "host %q is not a name of this server; allowed: %s", clip(host), strings.Join(append([]string{"localhost", "127.0.0.1", "[::1]"}, g.hosts()...), ", ")).With("host", clip(host))
	}
	o := Origin{Address: addressOf(remote), Local: local}
	// Where everybody needs a token, a proxy on this machine makes all seem local.
	o.Local = o.Local && !g.Required() && loopback(o.Address)
	for _, f := range forwarding {
		if v := values(f); len(v) > 0 {
			o.Local = false
			if f == "X-Forwarded-For" && g.trusts(o.Address) {
				o.Address = g.lastUntrusted(v, o.Address)
			}
		}
	}
	return o, nil
}

func (g *Gate) hosts() []string {
	if g == nil {
		return nil
	}
	return g.set.Hosts
}

// knows reports whether a Host names this server. Where everybody shows a token and
// no names are given, any will do: a page of another site that resolves its name to
// this machine gets nowhere.
func (g *Gate) knows(host string) bool {
	if g == nil {
		return false
	}
	if len(g.set.Hosts) == 0 {
		return g.set.Required
	}
	name := host
	if h, _, err := net.SplitHostPort(host); err == nil {
		name = h
	}
	return slices.ContainsFunc(g.set.Hosts, func(h string) bool { return strings.EqualFold(h, name) || strings.EqualFold(h, host) })
}

// Listed reports whether the operator named a host as one of the server's.
func (g *Gate) Listed(host string) bool {
	return g != nil && len(g.set.Hosts) > 0 && g.knows(host)
}

func (g *Gate) trusts(address string) bool {
	if g == nil {
		return false
	}
	ip, err := netip.ParseAddr(address)
	return err == nil && slices.ContainsFunc(g.set.Proxies, func(p netip.Prefix) bool { return p.Contains(ip.Unmap()) })
}

// lastUntrusted returns the address that the nearest trusted proxy says the request
// came from, going back through those that are trusted too.
func (g *Gate) lastUntrusted(fields []string, address string) string {
	list := strings.Split(strings.Join(fields, ","), ",")
	for i := len(list) - 1; i >= 0 && g.trusts(address); i-- {
		ip, err := netip.ParseAddr(strings.TrimSpace(list[i]))
		if err != nil {
			break
		}
		address = ip.Unmap().String()
	}
	return address
}

func addressOf(remote string) string {
	host, _, err := net.SplitHostPort(remote)
	if err != nil {
		host = remote
	}
	return host
}

func loopback(address string) bool {
	if address == "127.0.0.1" {
		return true
	}
	ip, err := netip.ParseAddr(address)
	return err == nil && ip.Unmap().IsLoopback()
}

// Identify returns the token of an Authorization field, nil where none is needed and
// none was given. A token that was given must be good, even where none is needed:
// who sends one wants to be known. The error is TokenMissing or TokenInvalid.
func (g *Gate) Identify(ctx context.Context, authorization string, o Origin) (*Token, error) {
	if g != nil && authorization == "" {
		if t := g.set.Identities.byCertificate(o.Certificate); t != nil {
			return t, t.usable(time.Now())
		}
	}
	if authorization == "" || g == nil {
		if g != nil && (g.set.Required || !o.Local) {
			return nil, missing("a token")
		}
		return nil, nil
	}
	secret, ok := bearer(authorization)
	if g.set.Identities.isIDToken(secret) {
		return g.set.Identities.byIDToken(ctx, secret)
	}
	if !ok || len(secret) > 4*secretLength {
		return nil, fault.New(fault.TokenInvalid, "authorization is of a kind that is not taken; write Authorization: Bearer TOKEN")
	}
	return g.keys.Find(ctx, secret)
}

// bearer returns the token of an Authorization field (RFC 6750, section 2.1; the
// scheme is written in any case, RFC 9110, section 11.1).
func bearer(authorization string) (secret string, ok bool) {
	scheme, secret, _ := strings.Cut(authorization, " ")
	secret = strings.TrimLeft(secret, " ")
	return secret, strings.EqualFold(scheme, "Bearer") && secret != ""
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

type (
	callerKey struct{}
	originKey struct{}
)

// With puts who asks into a context.
func With(ctx context.Context, t *Token) context.Context {
	if t == nil {
		return ctx
	}
	return context.WithValue(ctx, callerKey{}, t)
}

// From puts where a request came from into a context.
func From(ctx context.Context, o Origin) context.Context {
	return context.WithValue(ctx, originKey{}, o)
}

// OriginIn returns where a request came from, as From put it; ok is false where nobody did.
func OriginIn(ctx context.Context) (o Origin, ok bool) {
	o, ok = ctx.Value(originKey{}).(Origin)
	return o, ok
}

// Caller returns who asks, nil for somebody without a token.
func Caller(ctx context.Context) *Token {
	t, _ := ctx.Value(callerKey{}).(*Token)
	return t
}

// Payer returns under which name budgets count a request: that of its token, or of
// the address it came from.
func Payer(ctx context.Context) string {
	o, _ := ctx.Value(originKey{}).(Origin)
	if t := Caller(ctx); t != nil && !o.Local {
		return "token " + t.ID
	}
	return o.payer()
}

// payer counts an IPv6 network as one caller: a household has 2^64 addresses.
func (o Origin) payer() string {
	if o.Local {
		return thisMachine
	}
	if ip, err := netip.ParseAddr(o.Address); err == nil && ip.Is6() && !ip.Is4In6() {
		if p, err := ip.WithZone("").Prefix(64); err == nil {
			return p.String()
		}
	}
	return o.Address
}

// Still reports, as an error, that the token under which a request came has expired
// or been revoked since. What goes on for long asks it before it answers more.
func Still(ctx context.Context) error {
	t := Caller(ctx)
	switch {
	case t == nil:
		return nil
	case t.keys == nil: // somebody whom a certificate or an issuer vouched for until then
		return t.usable(time.Now())
	}
	_, err := t.keys.find(ctx, t.key)
	return err
}

// Need returns the caller where their token has one of the roles. The error is
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

func clip(s string) string {
	s = strings.ToValidUTF8(s, "\uFFFD")
	if r := []rune(s); len(r) > 80 {
		return string(r[:80]) + "…"
	}
	return s
}
