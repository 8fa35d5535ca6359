package main

import (
	"bytes"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"

	pb "proofload/api/proofload/v1"
	"proofload/specdata"
)

// Writes of documents in the words of HTTP, each of which makes a correction.
func TestDocumentWrites(t *testing.T) {
	d := startOffice(t)
	const path = "/v1/" + carrier + "/document"
	read := doAt(t, d.running, "GET", path, "")
	tag := read.header.Get("ETag")
	whole := string(read.body)
	edited := strings.Replace(whole, `"title":"`, `"note":"cleaned first","title":"`, 1)
	fresh := strings.Replace(edited, "quill-1-rear-carrier-bolt", "quill-1-new-bolt", 1)
	const merge, patch, json, yaml = "application/merge-patch+json", "application/json-patch+json", "application/json", "application/yaml"
	note := `{"note":"cleaned first"}`
	why := []string{"Proofload-Reason", "a remark for the shop"}
	bearer := d.bearer("editor")
	header := func(parts ...[]string) (out []string) {
		for _, p := range parts {
			out = append(out, p...)
		}
		return out
	}
	is := func(media string) []string { return []string{"Content-Type", media} }
	match := func(tag string) []string { return []string{"If-Match", tag} }
	for _, c := range []struct {
		name, method, path, body string
		header                   []string
		status                   int
		reason, says             string
	}{
		{"nobody", "PATCH", path, note, header(is(merge), match(tag), why), 401, "TOKEN_MISSING", "editor"},
		{"another role", "PATCH", path, note, header(d.bearer("reviewer"), is(merge), match(tag), why), 403, "ROLE_REQUIRED", "editor"},
		{"no base", "PATCH", path, note, header(bearer, is(merge), why), 428, "ETAG_REQUIRED", "If-Match"},
		{"any base", "PATCH", path, note, header(bearer, is(merge), match("*"), why), 428, "ETAG_REQUIRED", "If-Match"},
		{"no base of PUT", "PUT", path, edited, header(bearer, is(json), why), 428, "ETAG_REQUIRED", "If-Match"},
		{"no base of DELETE", "DELETE", path, "", header(bearer, why), 428, "ETAG_REQUIRED", "If-Match"},
		{"base that never was", "PATCH", path, note, header(bearer, is(merge), match(`"`+strings.Repeat("0", 64)+`"`), why), 412, "ETAG_MISMATCH", "no revision"},
		{"weak base", "PATCH", path, note, header(bearer, is(merge), match("W/"+tag), why), 412, "ETAG_MISMATCH", "ETag"},
		{"base without quotes", "PATCH", path, note, header(bearer, is(merge), match(strings.Trim(tag, `"`)), why), 412, "ETAG_MISMATCH", "ETag"},
		{"two bases", "PATCH", path, note, header(bearer, is(merge), match(tag+", "+tag), why), 400, "INVALID_ARGUMENT", "one"},
		{"new, and there is one", "PUT", path, edited, header(bearer, is(json), []string{"If-None-Match", "*"}, why), 412, "ETAG_MISMATCH", "exists"},
		{"new and with a base", "PUT", path, edited, header(bearer, is(json), match(tag), []string{"If-None-Match", "*"}, why), 400, "INVALID_ARGUMENT", "If-None-Match"},
		{"new by PATCH", "PATCH", path, note, header(bearer, is(merge), []string{"If-None-Match", "*"}, why), 400, "INVALID_ARGUMENT", "If-None-Match"},
		{"no reason", "PATCH", path, note, header(bearer, is(merge), match(tag)), 400, "INVALID_ARGUMENT", "Proofload-Reason"},
		{"two reasons", "PATCH", path + "?reason=another+reason", note, header(bearer, is(merge), match(tag), why), 400, "INVALID_ARGUMENT", "differs"},
		{"short reason", "PATCH", path + "?reason=x", note, header(bearer, is(merge), match(tag)), 400, "INVALID_ARGUMENT", "characters"},
		{"unknown query field", "PATCH", path + "?resaon=x", note, header(bearer, is(merge), match(tag)), 400, "INVALID_ARGUMENT", "resaon"},
		{"plain JSON as a patch", "PATCH", path, note, header(bearer, is(json), match(tag), why), 415, "UNSUPPORTED_MEDIA", merge},
		{"no media type", "PATCH", path, note, header(bearer, match(tag), why), 415, "UNSUPPORTED_MEDIA", merge},
		{"a patch as a document", "PUT", path, note, header(bearer, is(merge), match(tag), why), 415, "UNSUPPORTED_MEDIA", yaml},
		{"compressed", "PATCH", path, note, header(bearer, is(merge), match(tag), why, []string{"Content-Encoding", "gzip"}), 415, "UNSUPPORTED_MEDIA", "gzip"},
		{"not JSON", "PATCH", path, "{", header(bearer, is(merge), match(tag), why), 400, "REQUEST_MALFORMED", "RFC 7396"},
		{"a list as a merge patch", "PATCH", path, "[]", header(bearer, is(merge), match(tag), why), 400, "REQUEST_MALFORMED", "RFC 7396"},
		{"an object as a list of operations", "PATCH", path, note, header(bearer, is(patch), match(tag), why), 400, "REQUEST_MALFORMED", "RFC 6902"},
		{"a key twice", "PATCH", path, `{"note":"a","note":"b"}`, header(bearer, is(merge), match(tag), why), 400, "REQUEST_MALFORMED", "note"},
		{"a number beyond all", "PATCH", path, `{"count":1e1000001}`, header(bearer, is(merge), match(tag), why), 400, "REQUEST_MALFORMED", ""},
		{"an invalid document", "PATCH", path, `{"tightening":{"stages":[{"torque":"62"}]}}`, header(bearer, is(merge), match(tag), why), 422, "DOCUMENT_UNREADABLE", ""},
		{"an invalid whole", "PUT", path, "kind: fastener\nid: quill-1-rear-carrier-bolt\n", header(bearer, is(yaml), match(tag), why), 422, "DOCUMENT_UNREADABLE", ""},
		{"nothing at all", "PUT", path, " ", header(bearer, is(yaml), match(tag), why), 400, "REQUEST_MALFORMED", "whole document"},
		{"too large", "PUT", path, strings.Repeat("# ", 1<<19+1), header(bearer, is(yaml), match(tag), why), 413, "LIMIT_SIZE", "1048576"},
		{"a test that fails", "PATCH", path, `[{"op":"test","path":"/title","value":"x"},{"op":"remove","path":"/note"}]`, header(bearer, is(patch), match(tag), why), 422, "PATCH_FAILED", "/title"},
		{"another's document", "PUT", path, fresh, header(bearer, is(json), match(tag), why), 422, "DOCUMENT_UNREADABLE", "names record"},
		{"no such record", "PATCH", "/v1/fasteners/quill-1-none/document", note, header(bearer, is(merge), match(tag), why), 404, "RECORD_NOT_FOUND", "quill-1-none"},
		{"no id", "PATCH", "/v1/fasteners/Quill%201/document", note, header(bearer, is(merge), match(tag), why), 400, "INVALID_ARGUMENT", "lower-case"},
		{"withdrawing what is not there", "DELETE", "/v1/fasteners/quill-1-none/document", "", header(bearer, match(tag), why), 404, "RECORD_NOT_FOUND", ""},
		{"withdrawing with a body", "DELETE", path, "{}", header(bearer, match(tag), why), 400, "REQUEST_MALFORMED", "body"},
		{"nothing changes", "PUT", path, whole, header(bearer, is(json), match(tag), why), 422, "NOTHING_CHANGED", ""},
		{"another method", "POST", path, note, header(bearer, is(merge), match(tag), why), 405, "METHOD_NOT_ALLOWED", "PATCH"},
	} {
		t.Run(c.name, func(t *testing.T) {
			x := doAt(t, d.running, c.method, c.path, c.body, c.header...)
			if x.status != c.status || x.reason() != c.reason || !strings.Contains(string(x.body), quoteInside(c.says)) {
				t.Errorf("got %d %s, want %d %s with %q", x.status, x.body, c.status, c.reason, c.says)
			}
			if accept := x.header.Get("Accept-Patch"); (c.status == 415 && c.method == "PATCH" && c.name != "compressed") != (accept == merge+", "+patch) {
				t.Errorf("Accept-Patch is %q; RFC 5789 section 2.2 asks for it with 415", accept)
			}
		})
	}
	if x := doAt(t, d.running, "GET", "/v1/corrections", ""); bytes.Contains(x.body, []byte(`"name"`)) {
		t.Fatalf("what was refused is kept: %s", x.body)
	}

	for _, c := range []struct {
		name, method, path, body string
		header                   []string
		fields                   int
	}{
		{"merge patch", "PATCH", path, note, header(is(merge), match(tag), why), 1},
		{"JSON patch, reason in the query", "PATCH", path + "?reason=a+remark+for+the+shop&evidence=sheet+2&evidence=sheet+3", `[{"op":"add","path":"/note","value":"cleaned first"}]`, header(is(patch), match(tag)), 1},
		{"whole as JSON", "PUT", path, edited, header(is(json), match(tag), why), 1},
		{"whole as YAML", "PUT", path, edited, header(is(yaml), match(tag), why), 1}, // JSON is YAML
		{"new", "PUT", "/v1/fasteners/quill-1-new-bolt/document", fresh, header(is(json), []string{"If-None-Match", "*"}, why), 0},
		{"withdraw", "DELETE", path, "", header(match(tag), why), 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			only := doAt(t, d.running, c.method, c.path+join(c.path)+"validate_only=true", c.body, header(bearer, c.header)...)
			if only.status != 200 || only.header.Get("Location") != "" || bytes.Contains(only.body, []byte(`"name"`)) {
				t.Errorf("judged only: %d %s", only.status, only.body)
			}
			x := doAt(t, d.running, c.method, c.path, c.body, header(bearer, c.header)...)
			var made pb.Correction
			if err := protojson.Unmarshal(x.body, &made); err != nil || x.status != 201 || x.header.Get("Location") != "/v1/"+made.Name {
				t.Fatalf("%d %v %s", x.status, x.header, x.body)
			}
			if r := made.Records[0]; len(r.Fields) != c.fields || r.Withdraw != (c.method == "DELETE") || made.Reason != "a remark for the shop" || len(made.Evidence) != strings.Count(c.path, "evidence=") {
				t.Errorf("made %v", &made)
			}
			got := doAt(t, d.running, "GET", x.header.Get("Location"), "")
			if !bytes.Equal(got.body, x.body) || got.header.Get("ETag") != made.Etag {
				t.Errorf("at its address: %d %s", got.status, got.body)
			}
			end := doAt(t, d.running, "POST", "/v1/"+made.Name+":withdraw", `{"etag":`+quote(made.Etag)+`}`, header(bearer, is(json))...)
			if end.status != 200 {
				t.Errorf("withdrawn: %d %s", end.status, end.body)
			}
		})
	}
	if x := doAt(t, d.running, "GET", path, ""); x.header.Get("ETag") != tag {
		t.Error("proposing changed the document")
	}
}

func join(path string) string {
	if strings.Contains(path, "?") {
		return "&"
	}
	return "?"
}

// Every kind of record has the writes.
func TestEveryKindHasDocumentWrites(t *testing.T) {
	for _, k := range specdata.Kinds {
		for _, method := range []string{"PUT", "PATCH", "DELETE"} {
			if x := do(t, method, "/v1/"+k.Collection()+"/a/document", ""); x.status != 401 {
				t.Errorf("%s of a %s document: %d, want 401", method, k, x.status)
			}
		}
	}
}
