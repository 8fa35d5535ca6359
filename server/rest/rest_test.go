package rest

import (
	"encoding/json"
	"log/slog"
	"maps"
	"net/http"
	"net/http/httptest"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"proofload/api/openapi"
)

// The addresses served are the addresses of the OpenAPI document, and their
// queries have the fields it names: nothing is undocumented, nothing only documented.
func TestRoutesAreTheOpenAPIDocument(t *testing.T) {
	var doc struct {
		Paths map[string]map[string]struct {
			Parameters []struct{ Name, In string }
		}
	}
	if err := json.Unmarshal(openapi.JSON, &doc); err != nil {
		t.Fatal(err)
	}
	documented := map[string]string{}
	for path, item := range doc.Paths {
		for method, op := range item {
			if op.Parameters == nil && !strings.HasPrefix(path, "/v1/") {
				continue // the service's own addresses
			}
			var query []string
			for _, p := range op.Parameters {
				if p.In == "query" {
					query = append(query, p.Name)
				}
			}
			slices.Sort(query)
			documented[strings.ToUpper(method)+" "+path] = strings.Join(query, " ")
		}
	}
	all, err := routes()
	if err != nil {
		t.Fatal(err)
	}
	served := map[string]string{}
	for _, r := range append(append(all, documentWrites()...), sheetRoute) {
		served[r.method+" "+r.path] = strings.Join(slices.Sorted(maps.Keys(r.query)), " ")
	}
	served["GET /schemas/{file}"] = ""
	if !maps.Equal(documented, served) {
		for k, v := range documented {
			if w, ok := served[k]; !ok || v != w {
				t.Errorf("%s is documented with the query %q and served with %q (%t)", k, v, w, ok)
			}
		}
		for k := range served {
			if _, ok := documented[k]; !ok {
				t.Errorf("%s is served and not documented", k)
			}
		}
	}
}

// RFC 9110 section 12.5.1: the most specific range decides, its quality counts;
// the third group is the example of that section.
func TestAccepts(t *testing.T) {
	const example = "text/*;q=0.3, text/plain;q=0.7, text/plain;format=flowed, text/plain;format=fixed;q=0.4, */*;q=0.5"
	for _, c := range []struct {
		accept, media string
		quality       float64
	}{
		{"", "application/json", 1},
		{"*/*", "application/json", 1},
		{"application/json", "application/json", 1},
		{"application/*", "application/json", 1},
		{"APPLICATION/JSON", "application/json", 1},
		{"text/html,application/xhtml+xml,*/*;q=0.8", "application/json", 0.8},
		{"text/html", "application/json", 0},
		{"application/json;q=0, */*", "application/json", 0},
		{"*/*;q=0.1, application/json;q=0.9", "application/json", 0.9},
		{"application/json; q=2", "application/json", 0},
		{"application/json; q=x", "application/json", 0},
		{";;;,,,", "application/json", 0},

		{example, "text/html", 0.3},
		{example, "image/jpeg", 0.5},
		{example, "text/plain", 0.7}, // media type parameters are not told apart here
	} {
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		if c.accept != "" {
			r.Header.Set("Accept", c.accept)
		}
		if got := accepts(r, c.media); got != c.quality {
			t.Errorf("%q of %s: got %g, want %g", c.accept, c.media, got, c.quality)
		}
	}
}

// RFC 9562 section 4: version 4, variant 10.
func TestInstanceIsAURN(t *testing.T) {
	form := regexp.MustCompile(`^urn:uuid:[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$`)
	seen := map[string]bool{}
	for range 100 {
		id := instance()
		if !form.MatchString(id) || seen[id] {
			t.Fatalf("instance %s", id)
		}
		seen[id] = true
	}
}

// A connection that is slow to say, to send or to take something ends.
func TestServerHasLimits(t *testing.T) {
	s := NewServer(&Handler{}, slog.New(slog.DiscardHandler))
	for name, d := range map[string]time.Duration{"header": s.ReadHeaderTimeout, "read": s.ReadTimeout, "write": s.WriteTimeout, "idle": s.IdleTimeout} {
		if d <= 0 || d > 5*time.Minute {
			t.Errorf("%s time is %s; allowed: up to 5 minutes", name, d)
		}
	}
	if s.MaxHeaderBytes <= 0 || s.MaxHeaderBytes > 64<<10 {
		t.Errorf("headers may have %d bytes", s.MaxHeaderBytes)
	}
}
