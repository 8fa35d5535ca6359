package web_test

import (
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"proofload/server/catalog"
	"proofload/server/store"
	"proofload/server/store/sqlite"
	"proofload/server/web"
	"proofload/specdata"
	"proofload/specdata/document"
)

// poison fills every text of a record with what would be markup, if a page let it.
func poison(v reflect.Value) {
	switch v.Kind() {
	case reflect.String:
		v.SetString(`"><script>alert(1)</script><a href="javascript:alert(2)" onclick='x'>`)
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		poison(v.Elem())
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 1, 1))
		poison(v.Index(0))
	case reflect.Map:
		v.Set(reflect.MakeMap(v.Type()))
		v.SetMapIndex(reflect.ValueOf(`<b>`), reflect.ValueOf([]string{`<i>`}))
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[specdata.Quantity]() {
			v.Set(reflect.ValueOf(specdata.MustQuantity("12 N.m")))
			return
		}
		for i := range v.NumField() {
			poison(v.Field(i))
		}
	}
}

// Whatever is in a record, a page shows it as text.
func TestPagesShowMarkupAsText(t *testing.T) {
	s, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "test.db"), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	p := store.Publication{Authors: []string{"<script>"}, Reviewer: "<script>", Reason: `<script>alert(3)</script>`, Time: time.Unix(1, 0)}
	paths := []string{"/", "/search?query=%3Cscript%3E"}
	for _, k := range specdata.Kinds {
		r := specdata.New(k)
		poison(reflect.ValueOf(r).Elem())
		h := r.Header()
		h.Kind, h.ID = k, "a"
		raw, err := json.Marshal(r)
		if err != nil {
			t.Fatal(err)
		}
		doc, err := document.Canonicalize(raw)
		if err != nil {
			t.Fatal(err)
		}
		p.Changes = append(p.Changes, store.Change{Name: r.Name(), Document: doc})
		paths = append(paths, "/"+string(r.Name()))
	}
	if _, err := s.Publish(t.Context(), p); err != nil {
		t.Fatal(err)
	}
	c, err := catalog.New(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	pages, err := web.New(c, slog.New(slog.NewTextHandler(io.Discard, nil)))
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range paths {
		r := httptest.NewRequest("GET", path, nil)
		r.Header.Set("Accept", "text/html")
		w := httptest.NewRecorder()
		pages.ServeHTTP(w, r)
		if w.Code != http.StatusOK {
			t.Errorf("%s: %d %s", path, w.Code, w.Body)
			continue
		}
		if path != "/" && !strings.Contains(w.Body.String(), "&lt;script&gt;") {
			t.Errorf("%s does not show the text at all", path)
		}
		doc, err := html.Parse(w.Body)
		if err != nil {
			t.Fatal(err)
		}
		for n := range doc.Descendants() {
			if n.Type == html.ElementNode && n.Data == "script" && (n.FirstChild != nil || len(n.Attr) != 2 || n.Attr[0].Val != "/live.js") {
				t.Errorf("%s has a script", path)
			}
			for _, a := range n.Attr {
				if strings.HasPrefix(a.Key, "on") || strings.HasPrefix(strings.TrimSpace(a.Val), "javascript:") {
					t.Errorf("%s has %s=%q", path, a.Key, a.Val)
				}
			}
		}
	}
}

// The link to the next page of a torque table keeps the filter, which the page
// token belongs to.
func TestNextPageKeepsTheFilter(t *testing.T) {
	s, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "test.db"), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	p := store.Publication{Authors: []string{"a"}, Reviewer: "b", Reason: "test", Time: time.Unix(1, 0)}
	add := func(r specdata.Record) {
		raw, err := json.Marshal(r)
		if err != nil {
			t.Fatal(err)
		}
		doc, err := document.Canonicalize(raw)
		if err != nil {
			t.Fatal(err)
		}
		p.Changes = append(p.Changes, store.Change{Name: r.Name(), Document: doc})
	}
	add(&specdata.Vehicle{Head: specdata.Head{Kind: specdata.KindVehicle, ID: "v", Title: "V"}, Options: map[string][]string{"brake": {"disc", "drum"}}})
	for i := range 620 {
		brake := []string{"disc", "drum"}[i/600]
		add(&specdata.Fastener{Head: specdata.Head{Kind: specdata.KindFastener, ID: "f-" + strconv.Itoa(i), Title: "Nut"}, AppliesTo: []specdata.Applies{{Vehicle: "v", Where: map[string][]string{"brake": {brake}}}}})
	}
	if _, err := s.Publish(t.Context(), p); err != nil {
		t.Fatal(err)
	}
	c, err := catalog.New(t.Context(), s)
	if err != nil {
		t.Fatal(err)
	}
	pages, err := web.New(c, slog.New(slog.NewTextHandler(io.Discard, nil)))
	if err != nil {
		t.Fatal(err)
	}
	rows, path := 0, "/vehicles/v?brake=disc"
	for n := 0; path != "" && n < 5; n++ {
		w := httptest.NewRecorder()
		pages.ServeHTTP(w, httptest.NewRequest("GET", path, nil))
		if w.Code != http.StatusOK {
			t.Fatalf("%s: %d %s", path, w.Code, w.Body)
		}
		doc, err := html.Parse(w.Body)
		if err != nil {
			t.Fatal(err)
		}
		path = ""
		for n := range doc.Descendants() {
			for _, a := range n.Attr {
				switch {
				case n.Data == "a" && strings.HasPrefix(a.Val, "/fasteners/"):
					rows++
				case n.Data == "a" && strings.Contains(a.Val, "page_token="):
					path = "/vehicles/v" + a.Val
				}
			}
		}
	}
	if rows != 600 {
		t.Errorf("pages show %d fasteners, want the 600 with disc brakes", rows)
	}
}
