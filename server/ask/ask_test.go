package ask_test

import (
	"strings"
	"testing"

	"proofload/server/ask"
	"proofload/server/fault"
	"proofload/server/store"
	"proofload/specdata"
)

// field demands an error that names a field and says what is allowed.
func field(t *testing.T, err error, name, says string) {
	t.Helper()
	e := fault.From(err)
	if err == nil || e.Kind != fault.InvalidArgument || len(e.Violations) != 1 || e.Violations[0].Field != name || !strings.Contains(e.Message, says) {
		t.Errorf("got %v, want a refusal of %s with %q", err, name, says)
	}
}

func TestAt(t *testing.T) {
	for text, want := range map[string]store.At{
		"": store.AtHead(), "position:1": store.AtPosition(1), "position:9223372036854775807": store.AtPosition(1<<63 - 1), "release:2026.1": store.AtRelease("2026.1"),
	} {
		if got, err := ask.At("at", text); err != nil || got != want || got.String() != text {
			t.Errorf("%q: got %q, %v", text, got, err)
		}
	}
	for text, says := range map[string]string{
		"12": "allowed: position:N", ":": "allowed", "position": "positions count from 1", "position:0": "positions count from 1", "position:-1": "count", "position:01": "count",
		"position:1 ": "count", "position:99999999999999999999": "count", "time:": "write it like time:", "time:2026-09-14": "write it like",
		"release:": "write it like release:", "release:a b": "names no release", "release:\x00": "names no release", "revision:3": "allowed", "head": "allowed", "now": "allowed",
		"time:0001-01-01T00:00:00Z": "never set", "time:0001-01-01T01:00:00+01:00": "never set",
	} {
		_, err := ask.At("from", text)
		field(t, err, "from", says)
	}
}

// A least position says how new the state has to be that is read from, whatever moment.
func TestWhen(t *testing.T) {
	if m, err := ask.When("at", "", 7); err != nil || m != ask.NewestFrom(7) || m.String() != "now" {
		t.Errorf("got %v, %v", m, err)
	}
	_, err := ask.When("at", "", -1)
	field(t, err, "min_position", "negative")
	for _, at := range []string{"position:9", "release:r", "time:2026-09-14T08:00:00Z"} {
		if m, err := ask.When("to", at, 3); err != nil || m.Least != 3 || m.String() != at {
			t.Errorf("%s from 3: %v, %v", at, m, err)
		}
	}
	if err := (ask.Moment{}).At.Validate(); err == nil {
		t.Error("the zero moment is one")
	}
}

func TestWords(t *testing.T) {
	if n, err := ask.Name("name", "fasteners/hub-nut", specdata.KindFastener); err != nil || n != "fasteners/hub-nut" {
		t.Errorf("got %v, %v", n, err)
	}
	_, err := ask.Name("parent", "fasteners/hub-nut", specdata.KindVehicle)
	field(t, err, "parent", "write vehicles/<id>")
	if id, err := ask.ID("name", "corrections/x-1/reach", "corrections", "/reach"); err != nil || id != "x-1" {
		t.Errorf("got %v, %v", id, err)
	}
	for _, s := range []string{"", "corrections/", "corrections/a", "tokens/a/reach", "corrections/a/b/reach", "corrections//reach"} {
		_, err := ask.ID("name", s, "corrections", "/reach")
		field(t, err, "name", "of the form corrections/<id>/reach")
	}
	for text, want := range map[string]bool{"": false, "false": false, "true": true} {
		if got, err := ask.Bool("moves", text); err != nil || got != want {
			t.Errorf("%q: got %v, %v", text, got, err)
		}
	}
	for _, s := range []string{"1", "True", "yes", "t"} {
		_, err := ask.Bool("moves", s)
		field(t, err, "moves", "neither true nor false")
	}
	if n, err := ask.Whole("after", "-12", 64); err != nil || n != -12 {
		t.Errorf("got %v, %v", n, err)
	}
	for _, s := range []string{"1e3", "+1", "01", " 1", "9223372036854775808", "0x1"} {
		_, err := ask.Whole("after", s, 64)
		field(t, err, "after", "not a whole number")
	}
	_, err = ask.Whole("page_size", "2147483648", 32)
	field(t, err, "page_size", "32 bits")
	if n, err := ask.Number("size", "12.5"); err != nil || n != 12.5 {
		t.Errorf("got %v, %v", n, err)
	}
	for _, s := range []string{"NaN", "Inf", "-inf", "0x1p3", "1_0", "1,5", "1e999"} {
		_, err := ask.Number("size", s)
		field(t, err, "size", "not a number")
	}
	_, err = ask.Word("joint", "weel", specdata.JointKinds...)
	field(t, err, "joint", "allowed: ")
}

func TestWrites(t *testing.T) {
	for _, c := range []struct{ message, header, want, says string }{
		{"", "", "", ""}, {"a", "", "a", ""}, {"", "b", "b", ""}, {"a", "a", "a", ""}, {"a", "b", "", "differs"},
		{"a/b", "", "", "without space and slash"}, {"", "a b", "", "without space"}, {strings.Repeat("x", 101), "", "", "1 to 100"},
	} {
		got, err := ask.RequestID(c.message, c.header)
		if c.says != "" {
			field(t, err, "request_id", c.says)
		} else if err != nil || got != c.want {
			t.Errorf("%q, %q: got %q, %v", c.message, c.header, got, err)
		}
	}
	if v, err := ask.Etag(ask.EtagOf(7)); err != nil || v != 7 {
		t.Errorf("got %v, %v", v, err)
	}
	if _, err := ask.Etag(""); fault.From(err).Kind != fault.EtagRequired {
		t.Errorf("no etag: %v", err)
	}
	for _, s := range []string{"7", `"07"`, `"0"`, `"-1"`, `W/"7"`, `"7`} {
		_, err := ask.Etag(s)
		field(t, err, "etag", "quotes included")
	}
	_, err := ask.ContentHash("")
	field(t, err, "content_hash", "missing")
}

func TestPageSizes(t *testing.T) {
	for _, c := range []struct {
		size int32
		want int
	}{{0, 50}, {1, 1}, {1000, 1000}, {1001, 1000}} {
		if got, err := (ask.Page{Size: c.size}).Limit(1000); err != nil || got != c.want {
			t.Errorf("%d: got %d, %v", c.size, got, err)
		}
	}
	_, err := ask.Page{Size: -1}.Limit(1000)
	field(t, err, "page_size", "negative")
}

// A token is good for its own query and nowhere else, and nobody without the key
// writes one. The code of another key, of the same text, is a forgery.
func TestTokens(t *testing.T) {
	p := ask.NewPages()
	c := ask.Cursor{Position: 4, After: "hub-nut"}
	token := p.Token("q", c)
	if got, err := p.Cursor("q", token); err != nil || got != c {
		t.Errorf("got %v, %v", got, err)
	}
	forged := ask.NewPages().Token("q", c)
	for query, token := range map[string]string{"r": token, "q": forged, "q ": token, "": token} {
		if _, err := p.Cursor(query, token); fault.From(err).Kind != fault.PageTokenInvalid {
			t.Errorf("%q of %q: %v", token, query, err)
		}
	}
}

func FuzzToken(f *testing.F) {
	p := ask.NewPages()
	good := p.Token("q", ask.Cursor{After: "2"})
	for _, s := range []string{"", good, good[:len(good)-1], "H8Cufmto78kBOA", "AAAAAAAAAAD_____", "KMkOSFr6vhwBMC45OTk5OTkuMQ"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, token string) {
		_, _, err := ask.CutFixed(p, []int{1, 2, 3}, "q", ask.Page{Size: 1, Token: token})
		if ok := token == "" || token == good; ok != (err == nil) || err != nil && fault.From(err).Kind != fault.PageTokenInvalid {
			t.Errorf("token %q: %v", token, err)
		}
	})
}

func FuzzAt(f *testing.F) {
	for _, s := range []string{"", "position:1", "time:2026-09-14T08:00:00Z", "release:2026-10", "position:01", "now", "time:0001-01-01T00:00:00Z"} {
		f.Add(s, int64(0))
	}
	f.Fuzz(func(t *testing.T, text string, least int64) {
		m, err := ask.When("at", text, least)
		if err != nil {
			if fault.From(err).Kind != fault.InvalidArgument {
				t.Errorf("%q: %v", text, err)
			}
			return
		}
		if err := m.At.Validate(); err != nil {
			t.Errorf("%q: %v", text, err)
		}
		if again, err := ask.At("at", m.At.String()); err != nil || again.String() != m.At.String() {
			t.Errorf("%q became %q: %v", text, m.At, err)
		}
	})
}
