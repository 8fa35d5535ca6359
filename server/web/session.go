package web

import (
	"context"
	"net/http"
	"net/url"
	"strings"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/grpc"

	"proofload/server/access"
	"proofload/server/fault"
)

// The cookie that a browser is known by holds the token itself, out of reach of
// scripts and of every other site. Over TLS its name has the prefix that keeps other
// hosts of the domain from setting it (RFC 6265bis, 4.1.3.2).
const (
	plainCookie  = "proofload"
	secureCookie = "__Host-proofload"
)

// Session returns the token that a browser signed in with, "" for none.
func Session(r *http.Request) string {
	name := plainCookie
	if r.TLS != nil {
		name = secureCookie
	}
	c, err := r.Cookie(name)
	if err != nil {
		return ""
	}
	return c.Value
}

// protection refuses what another site makes a browser send.
var protection = http.NewCrossOriginProtection()

// OwnOrigin reports whether a request that changes something comes from a page of this
// server, or from no browser at all.
func OwnOrigin(r *http.Request) error {
	if err := protection.Check(r); err != nil {
		return fault.New(fault.CrossOrigin, "request comes from a page of another site; open the page of this server and do it there")
	}
	return nil
}

// Gate says whose a token is.
type Gate func(ctx context.Context, authorization string) (*access.Token, error)

// ServeSignIn sets what knows tokens.
func (p *Pages) ServeSignIn(g Gate) { p.gate = g }

func setSession(w http.ResponseWriter, r *http.Request, secret string) {
	c := &http.Cookie{Name: plainCookie, Value: secret, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode}
	if r.TLS != nil {
		c.Name, c.Secure = secureCookie, true
	}
	if secret == "" {
		c.MaxAge = -1
	}
	http.SetCookie(w, c)
}

// within keeps a redirect on this server.
func within(to string) string {
	u, err := url.Parse(to)
	if err != nil || u.Host != "" || u.Scheme != "" || !strings.HasPrefix(to, "/") || strings.HasPrefix(to, "//") || strings.Contains(to, "\\") {
		return "/jobs"
	}
	return to
}

func (p *Pages) signIn(w http.ResponseWriter, r *http.Request) {
	p.show(w, r, http.StatusOK, "sign-in.html", everyVehicle(0), map[string]any{"Title": "Sign in", "To": within(r.URL.Query().Get("to"))})
}

// maxForm is the most that a form may send.
const maxForm = 256 << 10

// form reads a form of a page of this server.
func (p *Pages) form(w http.ResponseWriter, r *http.Request) bool {
	r.Body = http.MaxBytesReader(w, r.Body, maxForm)
	err := OwnOrigin(r)
	if err == nil {
		if parsed := r.ParseForm(); parsed != nil {
			err = fault.New(fault.RequestMalformed, "form cannot be read: %v", parsed)
		}
	}
	if err != nil {
		p.Fail(w, r, err)
	}
	return err == nil
}

func (p *Pages) signingIn(w http.ResponseWriter, r *http.Request) {
	if !p.form(w, r) {
		return
	}
	name, secret, to := strings.TrimSpace(r.PostFormValue("name")), strings.TrimSpace(r.PostFormValue("token")), within(r.PostFormValue("to"))
	t, err := p.gate(r.Context(), "Bearer "+secret)
	if err == nil && (t == nil || !strings.EqualFold(t.Person, name)) {
		err = fault.New(fault.TokenInvalid, "name and token do not belong together")
	}
	if err != nil {
		if e := fault.From(err); e.Kind.Row().Status >= 500 {
			p.Fail(w, r, err)
			return
		}
		p.show(w, r, http.StatusUnauthorized, "sign-in.html", everyVehicle(0), map[string]any{
			"Title": "Sign in", "To": to, "Person": name, "Problem": "That name and that token do not belong together. Write the name as it was given out with the token; a token begins with plt_.",
		})
		return
	}
	setSession(w, r, secret)
	http.Redirect(w, r, to, http.StatusSeeOther)
}

func (p *Pages) signOut(w http.ResponseWriter, r *http.Request) {
	if !p.form(w, r) {
		return
	}
	setSession(w, r, "")
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// cleared returns the context with which a page calls a method of a service, or
// answers the request itself: who is not signed in is asked to.
func (p *Pages) cleared(w http.ResponseWriter, r *http.Request, ctx context.Context, method string) (context.Context, bool) {
	out, err := access.Clear(ctx, "/proofload.v1."+method)
	switch {
	case err == nil:
		// The service tells the position in the head of its answer, as to any transport.
		return grpc.NewContextWithServerTransportStream(out, &runtime.ServerTransportStream{}), true
	case fault.From(err).Kind == fault.TokenMissing:
		to := r.URL.RequestURI()
		if r.Method != http.MethodGet {
			to = r.URL.Path
		}
		http.Redirect(w, r, "/sign-in?to="+url.QueryEscape(to), http.StatusSeeOther)
	default:
		p.Fail(w, r, err)
	}
	return nil, false
}
