package main

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
)

// A browser that signed in is known by a cookie that scripts cannot read and other sites
// cannot send; what another site makes it send changes nothing.
func TestSignIn(t *testing.T) {
	d := startOffice(t)
	form := []string{"Content-Type", "application/x-www-form-urlencoded", "Accept", "text/html"}
	signIn := func(name, secret, to string) exchange {
		return doAt(t, d.running, "POST", "/sign-in", url.Values{"name": {name}, "token": {secret}, "to": {to}}.Encode(), form...)
	}
	for _, x := range []exchange{signIn("Piet Oram", d.tokens["editor"], "/jobs"), signIn("Maud Ibbot", "plt_wrong", "/jobs"), signIn("", "", "")} {
		if x.status != http.StatusUnauthorized || x.header.Get("Set-Cookie") != "" || !strings.Contains(string(x.body), `name="token"`) {
			t.Errorf("a wrong name or token is answered with %d %v", x.status, x.header)
		}
	}
	x := signIn("maud ibbot", d.tokens["editor"], "//elsewhere.example/")
	cookie := x.header.Get("Set-Cookie")
	if x.status != http.StatusSeeOther || x.header.Get("Location") != "/jobs" || !strings.Contains(cookie, "HttpOnly") || !strings.Contains(cookie, "SameSite=Strict") || strings.Contains(cookie, "Domain") {
		t.Fatalf("signing in is answered with %d to %q with %q", x.status, x.header.Get("Location"), cookie)
	}
	pair, _, _ := strings.Cut(cookie, ";")
	body := `{"procedure":"procedures/quill-1-rear-hub-bearing","vehicle":"quill-1","options":["rear_brake=disc"],"built":"2018-W10","side":"left"}`
	for _, c := range []struct {
		header []string
		status int
	}{
		{[]string{"Sec-Fetch-Site", "cross-site"}, http.StatusForbidden},
		{[]string{"Origin", "https://elsewhere.example"}, http.StatusForbidden},
		{[]string{"Sec-Fetch-Site", "same-site"}, http.StatusForbidden},
		{[]string{"Sec-Fetch-Site", "same-origin"}, http.StatusOK},
	} {
		x := doAt(t, d.running, "POST", "/v1/jobs", body, append([]string{"Cookie", pair, "Content-Type", "application/json"}, c.header...)...)
		if x.status != c.status {
			t.Errorf("a job opened with %v: %d %s, want %d", c.header, x.status, x.body, c.status)
		}
	}
	if x := doAt(t, d.running, "POST", "/jobs", "procedure=x", append([]string{"Cookie", pair, "Sec-Fetch-Site", "cross-site"}, form...)...); x.status != http.StatusForbidden {
		t.Errorf("a form of another site: %d", x.status)
	}
	if x := doAt(t, d.running, "GET", "/jobs", "", "Cookie", pair, "Accept", "text/html"); x.status != http.StatusOK {
		t.Errorf("the jobs of somebody who signed in: %d", x.status)
	}
	if x := doAt(t, d.running, "GET", "/jobs", "", "Cookie", "proofload=plt_gone", "Accept", "text/html"); x.status != http.StatusSeeOther {
		t.Errorf("the jobs of somebody whose token is gone: %d, want the way to sign in", x.status)
	}
}

// The code of a sheet opens the door with what the sheet is for; the code of one that is
// not valid any more says so, and a mistyped one is asked for again.
func TestCodeAtTheDoor(t *testing.T) {
	d := startOffice(t)
	x := doAt(t, d.running, "POST", "/sign-in", url.Values{"name": {"Maud Ibbot"}, "token": {d.tokens["editor"]}, "to": {"/jobs"}}.Encode(), "Content-Type", "application/x-www-form-urlencoded", "Accept", "text/html")
	pair, _, _ := strings.Cut(x.header.Get("Set-Cookie"), ";")
	door := func(code string) string {
		x := doAt(t, d.running, "GET", "/jobs/new?code="+url.QueryEscape(code), "", "Cookie", pair, "Accept", "text/html")
		if x.status != http.StatusOK {
			t.Errorf("%s: %d", code, x.status)
		}
		return string(x.body)
	}
	_, code := print(t, d.running, "quill-1-rear-hub-bearing/sheet?format=html&side=right")
	page := door(strings.ToLower(code))
	for _, want := range []string{"<h2>Rear hub bearing, one side</h2>", `name="vehicle" value="quill-1"`, "<option selected>disc", "<option selected>right", `name="built" value=""`} {
		if !strings.Contains(page, want) {
			t.Errorf("the door does not have %s", want)
		}
	}
	_, code = print(t, d.running, "quill-1-starter-renewal/sheet?format=html&options=gearbox%3Dautomatic")
	if page = door(code); !strings.Contains(page, "<option selected>automatic") {
		t.Error("the door forgets the gearbox that the sheet is for")
	}
	if page = door("PL-15MZ-7K2Q-9RXD"); !strings.Contains(page, `role="alert"`) || !strings.Contains(page, `name="code"`) {
		t.Error("a mistyped code is not asked for again")
	}
}
