package access

import (
	"bufio"
	"context"
	"crypto/sha256"
	"crypto/x509"
	"encoding/hex"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"

	"proofload/server/fault"
	"proofload/specdata"
	people "proofload/specdata/person"
)

// Sorts of identity that stand in the place of a token of this server.
const (
	// ByCertificate is a name of a client certificate (RFC 5280, section 4.2.1.6): a DNS
	// name, an address of mail, a URI, or the common name where there is none of these.
	ByCertificate = "certificate"
	// ByOIDC is the subject, or the verified address of mail, of an ID token (OpenID
	// Connect Core 1.0, section 5.1).
	ByOIDC = "oidc"
)

// named is whom an identity is of, and what they may do.
type named struct {
	person string
	roles  []Role
}

// Identities say who somebody is that shows no token of this server. Nobody is anybody
// unless a line says so: a certificate authority or an issuer vouches for a name, and
// never for a person or a role here.
type Identities struct {
	known map[string]named
	oidc  *oidc.IDTokenVerifier
}

// ReadIdentities reads lines like
//
//	certificate bay-2.workshop.example = Maud Ibbot: editor
//	oidc piet@workshop.example = Piet Oram: reviewer, admin
//
// where # begins a comment line. The error names the line.
func ReadIdentities(r io.Reader, file string) (*Identities, error) {
	out := &Identities{known: map[string]named{}}
	lines := bufio.NewScanner(r)
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(lines.Text())
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		who, what, ok := strings.Cut(line, "=")
		sort, name, ok2 := strings.Cut(strings.TrimSpace(who), " ")
		name = strings.TrimSpace(name)
		person, list, ok3 := strings.Cut(what, ":")
		if person = strings.TrimSpace(person); !ok || !ok2 || !ok3 || name == "" || person == "" {
			return nil, fmt.Errorf("%s:%d: %q is no identity; write it like: certificate bay-2.workshop.example = Maud Ibbot: editor", file, n, line)
		}
		if sort != ByCertificate && sort != ByOIDC {
			return nil, fmt.Errorf("%s:%d: %q is no sort of identity%s; allowed: %s, %s", file, n, sort, specdata.DidYouMean(sort, slices.Values([]string{ByCertificate, ByOIDC})), ByCertificate, ByOIDC)
		}
		var roles []Role
		for _, word := range strings.Split(list, ",") {
			role := Role(strings.TrimSpace(word))
			if !slices.Contains(Roles, role) {
				return nil, fmt.Errorf("%s:%d: role %q does not exist; allowed: %s", file, n, role, roleNames(Roles))
			}
			roles = append(roles, role)
		}
		if err := validate(person, roles, time.Time{}, time.Time{}); err != nil {
			return nil, fmt.Errorf("%s:%d: %w", file, n, err)
		}
		for _, o := range out.known {
			if o.person != person && people.Same(o.person, person) {
				return nil, fmt.Errorf("%s:%d: %q is %q of another line; write the name the same way, for nobody reviews what they wrote themselves", file, n, person, o.person)
			}
		}
		key := sort + " " + name
		if _, taken := out.known[key]; taken {
			return nil, fmt.Errorf("%s:%d: %s is said twice; say once who it is", file, n, key)
		}
		out.known[key] = named{person, roles}
	}
	return out, lines.Err()
}

// Has reports whether some identity is of a sort.
func (i *Identities) Has(sort string) bool {
	if i == nil {
		return false
	}
	for key := range i.known {
		if strings.HasPrefix(key, sort+" ") {
			return true
		}
	}
	return false
}

// issuerTime is the longest that an issuer may take to say its keys.
const issuerTime = 10 * time.Second

// TrustIssuer makes the identities take ID tokens of an issuer (OpenID Connect Discovery
// 1.0) that were made for an audience. The issuer is asked for its keys now, and again
// when it signs with others.
func (i *Identities) TrustIssuer(ctx context.Context, issuer, audience string) error {
	u, err := url.Parse(issuer)
	if err != nil || u.Host == "" || u.Scheme != "https" && !(u.Scheme == "http" && Local(hostOf(u.Host))) {
		return fmt.Errorf("issuer %q is no https address", issuer)
	}
	if audience == "" {
		return fmt.Errorf("issuer %s is given without an audience; a token made for another program must not open this one", issuer)
	}
	ctx = oidc.ClientContext(ctx, &http.Client{Timeout: issuerTime})
	provider, err := oidc.NewProvider(ctx, issuer)
	if err != nil {
		return fmt.Errorf("issuer %s cannot be asked for its keys: %w", issuer, err)
	}
	i.oidc = provider.Verifier(&oidc.Config{ClientID: audience})
	return nil
}

func hostOf(hostport string) string {
	if h, _, err := net.SplitHostPort(hostport); err == nil {
		return h
	}
	return hostport
}

// longestIDToken bounds what is looked at.
const longestIDToken = 8 << 10

// isIDToken reports whether a bearer's secret is written as an ID token (RFC 7515,
// section 3.1), where those are taken.
func (i *Identities) isIDToken(secret string) bool {
	return i != nil && i.oidc != nil && len(secret) <= longestIDToken && strings.Count(secret, ".") == 2
}

// byIDToken returns the token of whom an ID token is of. What it says of roles counts
// for nothing. The error is TokenInvalid and says nothing of the inside.
func (i *Identities) byIDToken(ctx context.Context, raw string) (*Token, error) {
	ctx, cancel := context.WithTimeout(ctx, issuerTime)
	defer cancel()
	id, err := i.oidc.Verify(ctx, raw)
	if err != nil {
		return nil, fault.New(fault.TokenInvalid, "ID token is not good here: it is expired, of another issuer, made for another program or not signed by the issuer").Because(err)
	}
	var claims struct {
		Email    string `json:"email"`
		Verified bool   `json:"email_verified"`
	}
	if err := id.Claims(&claims); err != nil {
		return nil, fault.New(fault.TokenInvalid, "ID token has claims that cannot be read").Because(err)
	}
	names := []string{id.Subject}
	if claims.Verified && claims.Email != "" {
		names = append(names, claims.Email)
	}
	for _, name := range names {
		if n, ok := i.known[ByOIDC+" "+name]; ok {
			return n.token(ByOIDC, name, id.IssuedAt, id.Expiry), nil
		}
	}
	return nil, fault.New(fault.TokenInvalid, "ID token is of %s, whom the server does not know; an administrator names them in the file of --identities", clip(id.Subject))
}

// byCertificate returns the token of whom a verified client certificate is of, nil where
// no line names it.
func (i *Identities) byCertificate(c *x509.Certificate) *Token {
	if i == nil || c == nil {
		return nil
	}
	names := slices.Concat(c.DNSNames, c.EmailAddresses)
	for _, u := range c.URIs {
		names = append(names, u.String())
	}
	if len(names) == 0 { // RFC 6125, section 6.4.4
		names = []string{c.Subject.CommonName}
	}
	for _, name := range names {
		if n, ok := i.known[ByCertificate+" "+name]; ok {
			return n.token(ByCertificate, name, c.NotBefore, c.NotAfter)
		}
	}
	return nil
}

// token returns the identity as a token of this server, with an id of its own.
func (n named) token(sort, name string, from, until time.Time) *Token {
	hash := sha256.Sum256([]byte(sort + " " + name))
	return &Token{ID: hex.EncodeToString(hash[:6]), Person: n.person, Roles: n.roles, Created: from, Expires: until}
}
