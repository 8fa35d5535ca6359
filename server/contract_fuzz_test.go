package main

import (
	"cmp"
	"encoding/json"
	"flag"
	"fmt"
	"maps"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"proofload/api/openapi"
)

// requests is how many requests TestTheDocumentTellsWhatIsTaken makes.
var requests = flag.Int("requests", 1500, "requests drawn from the OpenAPI document")

// drawer draws requests that the OpenAPI document allows.
type drawer struct {
	t       *rapid.T
	schemas map[string]any
	// library are values that exist, by the name of the parameter or property.
	library map[string][]string
	// without is a field that may not be there.
	without string
	// sides says of each procedure whether a side is to be given.
	sides map[string]string
	// hashes are those of the documents of records.
	hashes map[string]string
}

func (d drawer) resolve(s map[string]any) map[string]any {
	for s["$ref"] != nil {
		s = d.schemas[strings.TrimPrefix(s["$ref"].(string), "#/components/schemas/")].(map[string]any)
	}
	return s
}

// value draws a value that a schema allows: one that exists, an example, or any.
func (d drawer) value(name string, s map[string]any) any {
	if not, ok := s["not"].(map[string]any); ok && s["$ref"] != nil { // of what it refers to, without a field
		d.without = not["required"].([]any)[0].(string)
	}
	s = d.resolve(s)
	if l := d.library[name]; len(l) > 0 && s["enum"] == nil && s["type"] == "string" && rapid.IntRange(0, 9).Draw(d.t, "known") > 0 {
		return rapid.SampledFrom(l).Draw(d.t, name)
	}
	if c, ok := s["const"]; ok {
		return c
	}
	if enum, ok := s["enum"].([]any); ok {
		return rapid.SampledFrom(enum).Draw(d.t, name)
	}
	if of, ok := s["oneOf"].([]any); ok && s["properties"] == nil {
		return d.value(name, rapid.SampledFrom(of).Draw(d.t, name).(map[string]any))
	}
	if examples, ok := s["examples"].([]any); ok && rapid.IntRange(0, 3).Draw(d.t, "example") > 0 {
		return rapid.SampledFrom(examples).Draw(d.t, name)
	}
	switch s["type"] {
	case "boolean":
		return rapid.Bool().Draw(d.t, name)
	case "integer", "number":
		least := 0
		if m, ok := s["minimum"].(float64); ok {
			least = int(m)
		}
		return rapid.IntRange(least, least+2000).Draw(d.t, name)
	case "array":
		items, _ := s["items"].(map[string]any)
		least := 0
		if m, ok := s["minItems"].(float64); ok {
			least = int(m)
		}
		out := []any{}
		for range rapid.IntRange(least, least+1).Draw(d.t, name) {
			out = append(out, d.value(name, items))
		}
		return out
	case "string":
		if p, ok := s["pattern"].(string); ok && !strings.Contains(p, "[^") {
			out := rapid.StringMatching(p).Draw(d.t, name)
			if m, ok := s["maxLength"].(float64); ok && len(out) > int(m) {
				out = out[:int(m)]
			}
			return strings.TrimRight(out, "-")
		}
		if s["format"] == "date-time" {
			return "2027-03-01T08:00:00Z"
		}
		if s["format"] == "byte" {
			return "AAEC"
		}
		least, most := 0, 60
		if m, ok := s["minLength"].(float64); ok {
			least = int(m)
		}
		if m, ok := s["maxLength"].(float64); ok {
			most = min(most, int(m))
		}
		text := rapid.StringOfN(rapid.RuneFrom([]rune("abcdefgh 0123éß½")), least, most, most)
		out, pattern := text.Draw(d.t, name), regexp.MustCompile(fmt.Sprint(cmp.Or(s["pattern"], any(""))))
		for range 20 { // most texts have the form already
			if pattern.MatchString(out) {
				break
			}
			out = text.Draw(d.t, name)
		}
		return out
	}
	out := map[string]any{}
	properties, _ := s["properties"].(map[string]any)
	required, _ := s["required"].([]any)
	if one, ok := s["oneOf"].([]any); ok { // of these exactly one
		one := slices.DeleteFunc(slices.Clone(one), func(o any) bool { return o.(map[string]any)["required"].([]any)[0] == d.without })
		at := rapid.IntRange(0, len(one)-1).Draw(d.t, "which")
		required = slices.Concat(required, one[at].(map[string]any)["required"].([]any))
		properties = maps.Clone(properties)
		delete(properties, d.without)
		for _, other := range slices.Delete(one, at, at+1) {
			delete(properties, other.(map[string]any)["required"].([]any)[0].(string))
		}
	}
	if some, ok := s["anyOf"].([]any); ok {
		required = slices.Concat(required, rapid.SampledFrom(some).Draw(d.t, "which").(map[string]any)["required"].([]any))
	}
	for _, key := range slices.Sorted(maps.Keys(properties)) {
		if slices.Contains(required, any(key)) || rapid.IntRange(0, 2).Draw(d.t, "there") == 0 {
			out[key] = d.value(key, properties[key].(map[string]any))
		}
	}
	if not, ok := s["not"].(map[string]any); ok { // not all of these
		if fields := not["required"].([]any); !slices.ContainsFunc(fields, func(f any) bool { return out[f.(string)] == nil }) {
			delete(out, fields[0].(string))
		}
	}
	d.suit(out)
	if hash, record := d.hashes[fmt.Sprint(out["record"])], out["base_hash"] != nil; record && hash != "" {
		out["base_hash"] = hash
	}
	return out
}

var (
	noteLibrary = regexp.MustCompile(`(?m)^library .*$`)
	notePerson  = regexp.MustCompile(`(?m)^person .*$`)
	noteKey     = regexp.MustCompile(`(?m)^— \S+ `)
)

// suit gives a job what its procedure asks for, and a signed note the names of the library
// and of the caller: those are values that exist, like an id. A transcript is subtitles,
// whose grammar no schema says.
func (d drawer) suit(job map[string]any) {
	if note, ok := job["note"].(string); ok {
		note = noteLibrary.ReplaceAllString(note, "library "+d.library["origin"][0])
		job["note"] = noteKey.ReplaceAllString(notePerson.ReplaceAllString(note, "person Maud Ibbot"), "— Maud.Ibbot ")
	}
	if job["text"] != nil && job["procedure"] != nil {
		job["text"] = "WEBVTT\n\n00:01.000 --> 00:03.000\nChock the wheels.\n"
	}
	name, ok := job["procedure"].(string)
	sides, known := d.sides[strings.TrimPrefix(name, "procedures/")]
	if !ok || !known {
		return
	}
	for _, key := range []string{"side", "vehicle", "options", "built", "vin"} {
		delete(job, key)
	}
	if sides == "one" {
		job["side"] = "left"
	}
}

// request draws a request of an operation: its address and its body, "" for none.
func (d drawer) request(path string, op map[string]any) (address, body string) {
	q := url.Values{}
	parameters, _ := op["parameters"].([]any)
	for _, p := range parameters {
		p := p.(map[string]any)
		if p["$ref"] != nil || p["in"] == "header" {
			continue
		}
		name, s := p["name"].(string), p["schema"].(map[string]any)
		switch {
		case p["in"] == "path":
			key := name
			if name == "id" {
				key = strings.Split(path, "/")[2] // ids of that collection
			}
			path = strings.ReplaceAll(path, "{"+name+"}", url.PathEscape(fmt.Sprint(d.value(key, s))))
		case name == "page_token": // a value of an answer before
		case p["required"] == true || rapid.IntRange(0, 3).Draw(d.t, "given") == 0:
			v := d.value(name, s)
			if l, ok := v.([]any); ok {
				for _, one := range l {
					q.Add(name, fmt.Sprint(one))
				}
				continue
			}
			q.Set(name, fmt.Sprint(v))
		}
	}
	if id, ok := strings.CutSuffix(strings.TrimPrefix(path, "/v1/procedures/"), "/sheet"); ok && d.sides[id] != "" {
		asked := map[string]any{"procedure": id}
		d.suit(asked)
		for _, key := range []string{"side", "vehicle", "options", "built", "vin"} {
			q.Del(key)
		}
		if asked["side"] != nil {
			q.Set("side", "left")
		}
	}
	if q.Has("from_position") { // one of the two, as their descriptions say
		q.Del("from_size")
	}
	if len(q) > 0 {
		path += "?" + q.Encode()
	}
	if b, ok := op["requestBody"].(map[string]any); ok {
		media := b["content"].(map[string]any)["application/json"].(map[string]any)
		text, err := json.Marshal(d.value("", media["schema"].(map[string]any)))
		if err != nil {
			d.t.Fatal(err)
		}
		body = string(text)
	}
	return path, body
}

// What the OpenAPI document allows the server takes: of requests drawn from the
// document alone fewer than one in a hundred are refused as wrong in form. An answer
// that nothing is there, or that the state forbids it, is no refusal of the form.
func TestTheDocumentTellsWhatIsTaken(t *testing.T) {
	d := startOffice(t)
	var doc struct {
		Paths      map[string]map[string]map[string]any
		Components struct{ Schemas map[string]any }
	}
	if err := json.Unmarshal(openapi.JSON, &doc); err != nil {
		t.Fatal(err)
	}
	sides := proceduresOf(t, d)
	procedures := slices.Sorted(maps.Keys(sides))
	library := map[string][]string{
		"vehicles": {"quill-1"}, "fasteners": {"quill-1-rear-hub-nut", "quill-1-rear-carrier-bolt"}, "assemblies": {"quill-1-rear-corner"}, "procedures": procedures, "sources": {"quill-chassis-2018"},
		"rules": {"torque-over-yield"}, "vehicle": {"quill-1"}, "source": {"quill-chassis-2018"}, "at": {"position:1"}, "from": {"position:1"}, "to": {"position:1"}, "min_position": {"1", "0"}, "from_position": {"1"}, "after": {"0", "1"}, "place": {"rear hub", "Rear hub"},
		"number": {"1"}, "names": {carrier}, "record": {carrier, "fasteners/quill-1-rear-hub-nut", "vehicles/quill-1", "sources/quill-chassis-2018", "assemblies/quill-1-rear-corner", "procedures/quill-1-rear-hub-bearing"}, "fastener": {carrier}, "built": {"2019-06-30"}, "checks": codesOf(t, d.running), "options": {"rear_brake=disc"}, "from_size": {"1", "288"}, "vin": {},
	}
	var key struct{ Origin string }
	if err := json.Unmarshal(doAt(t, d.running, "GET", "/v1/keys/ledger", "").body, &key); err != nil {
		t.Fatal(err)
	}
	library["origin"] = []string{key.Origin}
	for _, p := range procedures {
		library["procedure"] = append(library["procedure"], "procedures/"+p)
	}
	hashes := map[string]string{}
	for _, r := range library["record"] {
		hashes[r] = strings.Trim(doAt(t, d.running, "GET", "/v1/"+r+"/document", "").header.Get("Etag"), `"`)
	}
	type operation struct {
		method, path string
		op           map[string]any
	}
	var all []operation
	for _, path := range slices.Sorted(maps.Keys(doc.Paths)) {
		for _, method := range slices.Sorted(maps.Keys(doc.Paths[path])) {
			op := doc.Paths[path][method]
			if id := op["operationId"].(string); strings.Contains(id, "WatchLog") || strings.HasPrefix(path, "/v1/tokens") || method == "put" || method == "patch" || method == "delete" {
				continue // streams; what would lock this test out; writes that need If-Match, which TestDocumentWrites has
			}
			all = append(all, operation{strings.ToUpper(method), path, op})
		}
	}
	sent, refused, reasons := 0, 0, map[string]int{}
	bearer := append(d.bearer("editor"), "Content-Type", "application/json")
	draw := rapid.Custom(func(t *rapid.T) [4]string {
		o := rapid.SampledFrom(all).Draw(t, "operation")
		address, body := drawer{t: t, schemas: doc.Components.Schemas, library: library, sides: sides, hashes: hashes}.request(o.path, o.op)
		return [4]string{o.method, address, body, o.path}
	})
	for seed := range *requests {
		r := draw.Example(seed)
		x := plainly(t, d.running, r[0], r[1], r[2], bearer...)
		sent++
		switch {
		case x.status >= 500 && x.reason() != "POSITION_AHEAD":
			t.Errorf("%s %s %s: %d %s", r[0], r[1], r[2], x.status, x.body)
		case x.reason() == "POSITION_NOT_PUBLISHED": // nothing is there
		case x.status == 400 || x.status == 422 && x.reason() == "INVALID_ARGUMENT" || x.status == 405 || x.status == 406 || x.status == 415:
			refused++
			var p struct{ Detail string }
			_ = json.Unmarshal(x.body, &p)
			key := r[0] + " " + r[3] + " " + x.reason()
			if reasons[key]++; reasons[key] <= 9 {
				t.Logf("%s %s %s: %s", r[0], r[1], r[2], p.Detail)
			}
		}
	}
	t.Logf("%d of %d requests that the document allows are refused: %.2f %%", refused, sent, 100*float64(refused)/float64(sent))
	if refused*100 >= sent {
		t.Errorf("%d of %d requests that the document allows are refused, which is %.1f %%; allowed: under 1 %%\n%v", refused, sent, 100*float64(refused)/float64(sent), reasons)
	}
}

// codesOf prints sheets and returns their codes.
func codesOf(t *testing.T, to *running) []string {
	t.Helper()
	var out []string
	for _, side := range []string{"left", "right"} {
		x := doAt(t, to, "GET", "/v1/procedures/quill-1-rear-hub-bearing/sheet?format=html&side="+side, "")
		out = append(out, sheetCode.FindString(string(x.body)))
	}
	return out
}

var sheetCode = regexp.MustCompile(`PL-[-0-9A-Z]+`)

// proceduresOf lists the ids of all procedures that need no option, with their sides.
func proceduresOf(t *testing.T, d *office) map[string]string {
	t.Helper()
	var page struct {
		Procedures []struct {
			ID, Sides string
		}
	}
	if err := json.Unmarshal(doAt(t, d.running, "GET", "/v1/procedures?page_size=1000", "").body, &page); err != nil || len(page.Procedures) == 0 {
		t.Fatal(err)
	}
	out := map[string]string{}
	for _, p := range page.Procedures {
		side := ""
		if p.Sides == "one" {
			side = "&side=left"
		}
		job := map[string]string{"procedure": "procedures/" + p.ID}
		if side != "" {
			job["side"] = "left"
		}
		body, err := json.Marshal(job)
		if err != nil {
			t.Fatal(err)
		}
		x := plainly(t, d.running, "GET", "/v1/procedures/"+p.ID+"/sheet?format=html"+side, "")
		y := plainly(t, d.running, "POST", "/v1/jobs", string(body), append(d.bearer("editor"), "Content-Type", "application/json")...)
		if x.status == 200 && y.status < 300 {
			out[p.ID] = p.Sides
		}
	}
	return out
}
