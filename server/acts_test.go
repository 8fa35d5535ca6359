package main

import (
	"encoding/base64"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"

	"golang.org/x/mod/sumdb/note"
	"google.golang.org/protobuf/encoding/protojson"

	pb "proofload/api/proofload/v1"
	"proofload/server/ledger"
	"proofload/server/ledger/personal"
	"proofload/specdata"
	"proofload/specdata/act"
)

// Nobody with authority acts without a trace: each act is a leaf of the ledger, is told
// by the log on both wires, and is proved as a revision is.
func TestActsLeaveATrace(t *testing.T) {
	d := startOffice(t)
	d.give(t, "una", "Una Birk", "editor")
	in := propose(&pb.CorrectionChange{Record: carrier, BaseRevision: 1, MergePatch: torque(t, "64", "47")})
	c := d.correction(t, "una", "CreateCorrection", in)
	c = d.correction(t, "reviewer", "ApproveCorrection", &pb.ApproveCorrectionRequest{RequestId: request(), Name: c.Name, ContentHash: c.ContentHash, Comment: "read it too"})
	c = d.correction(t, "reviewer", "PublishCorrection", &pb.PublishCorrectionRequest{RequestId: request(), Name: c.Name, Etag: c.Etag})
	published := c.Position
	waive := d.correction(t, "editor", "CreateCorrection", propose(&pb.CorrectionChange{Record: carrier, BaseRevision: 2, MergePatch: object(t,
		`{"waivers":[{"rule":"value-in-prose","at":"/note","value":"x","reason":"the maker words it so in its own sheet","until":"2027-03-01","by":"Maud Ibbot"},
		{"rule":"odd-size","at":"/thread","value":"y","reason":"the maker words it so in its own sheet","until":"2027-03-01","by":"Maud Ibbot"}]}`)}))
	d.correction(t, "reviewer", "RejectCorrection", &pb.RejectCorrectionRequest{RequestId: request(), Name: waive.Name, ContentHash: waive.ContentHash, Comment: "not like this"})
	again := d.correction(t, "editor", "CreateCorrection", propose(&pb.CorrectionChange{Record: carrier, BaseRevision: 2, MergePatch: object(t, `{"note":"cleaned"}`)}))
	d.correction(t, "editor", "WithdrawCorrection", &pb.WithdrawCorrectionRequest{RequestId: request(), Name: again.Name, Etag: again.Etag, Comment: "not needed"})
	if x := doAt(t, d.running, "POST", "/v1/releases?release_id=Spring.2027", `{"note":"for the books"}`, append(d.bearer("reviewer"), "Content-Type", "application/json")...); x.status != 200 {
		t.Fatalf("release: %d %s", x.status, x.body)
	}
	for _, x := range d.ask(t, "admin", "ListTokens", &pb.ListTokensRequest{}).message.(*pb.ListTokensResponse).Tokens {
		if x.Person == "Una Birk" {
			d.ask(t, "admin", "RevokeToken", &pb.RevokeTokenRequest{Name: x.Name})
		}
	}

	x := doAt(t, d.running, "GET", "/v1/log?kinds=act&documents=true&page_size=100", "")
	var page pb.ListLogResponse
	if err := protojson.Unmarshal(x.body, &page); err != nil {
		t.Fatal(err, string(x.body))
	}
	over, err := pb.NewHistoryClient(d.conn).ListLog(t.Context(), &pb.ListLogRequest{Kinds: []string{"act"}, PageSize: 100})
	if err != nil || len(over.Entries) != len(page.Entries) {
		t.Errorf("gRPC tells %d acts, REST %d: %v", len(over.GetEntries()), len(page.Entries), err)
	}
	var told []string
	for _, e := range page.Entries {
		a, err := act.Parse(specdata.Name(e.Name), e.Document)
		if err != nil {
			t.Fatal(err)
		}
		told = append(told, fmt.Sprintf("%s by %s: %s", a.What, a.By, a.Details["person"]))
	}
	want := []string{
		"token-given by the server at its start: Maud Ibbot", "token-given by the server at its start: Piet Oram", "token-given by the server at its start: Runa Estby", // at the start, told with the first act
		"token-given by Runa Estby: Una Birk",
		"correction-approved by Piet Oram: ",
		"correction-rejected by Piet Oram: ", "correction-withdrawn by Maud Ibbot: ", "release-named by Piet Oram: ", "token-revoked by Runa Estby: Una Birk",
	}
	slices.Sort(told[:min(3, len(told))]) // in order of their ids, which are chance
	if !slices.Equal(told, want) {
		t.Errorf("told are\n%s\nwant\n%s", strings.Join(told, "\n"), strings.Join(want, "\n"))
	}
	var key struct{ Key string }
	if err := json.Unmarshal(doAt(t, d.running, "GET", "/v1/keys/ledger", "").body, &key); err != nil {
		t.Fatal(err)
	}
	v, err := note.NewVerifier(key.Key)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range page.Entries {
		x := doAt(t, d.running, "GET", "/v1/"+e.Name+"/revisions/1/proof", "")
		p, err := ledger.ParseProof(x.body)
		if err != nil {
			t.Fatal(err, string(x.body))
		}
		leaf, _, err := p.Check(v)
		if err != nil || leaf.Name != e.Name || !leaf.Is(e.Document) {
			t.Errorf("%s: leaf %v, %v", e.Name, leaf, err)
		}
	}
	// An act is no record: nothing else shows it, and nobody proposes one.
	for _, path := range []string{"/v1/" + page.Entries[0].Name, "/v1/acts", "/v1/diff?from=position:" + fmt.Sprint(published)} {
		if x := doAt(t, d.running, "GET", path, ""); x.status == 200 && strings.Contains(string(x.body), "token") {
			t.Errorf("%s shows acts: %d %s", path, x.status, x.body)
		}
	}
	if x := doAt(t, d.running, "POST", "/v1/corrections", `{"reason":"made up by nobody","changes":[{"record":"acts/token-0f3c9a51d2be-given","document":"{}"}]}`, append(d.bearer("editor"), "Content-Type", "application/json")...); x.status != 400 {
		t.Errorf("an act is proposed: %d %s", x.status, x.body)
	}
}

// What an author and a reviewer sign with keys of their own comes with the proof; a
// server that changes it, or makes it up, is found out.
func TestOwnSignatures(t *testing.T) {
	d := startOffice(t)
	var key struct{ Origin string }
	if err := json.Unmarshal(doAt(t, d.running, "GET", "/v1/keys/ledger", "").body, &key); err != nil {
		t.Fatal(err)
	}
	people := map[string]string{"editor": "Maud Ibbot", "reviewer": "Piet Oram"}
	private, public := map[string]string{}, map[string]string{}
	for role, person := range people {
		var err error
		if private[role], public[role], err = personal.NewKey(person); err != nil {
			t.Fatal(err)
		}
	}
	c := d.correction(t, "editor", "CreateCorrection", propose(&pb.CorrectionChange{Record: carrier, BaseRevision: 1, MergePatch: torque(t, "64", "47")}))
	sign := func(role string, as personal.Role, content string) string {
		t.Helper()
		n, err := personal.Sign(personal.Statement{Library: key.Origin, Content: content, Role: as, Person: people[role]}, private[role])
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	send := func(role, note string) exchange {
		return doAt(t, d.running, "POST", "/v1/"+c.Name+":sign", `{"note":`+fmt.Sprintf("%q", note)+`}`, append(d.bearer(role), "Content-Type", "application/json")...)
	}
	for what, x := range map[string]exchange{
		"another's word":           send("reviewer", sign("editor", personal.Author, c.ContentHash)),
		"a reviewer before":        send("reviewer", sign("reviewer", personal.Reviewer, c.ContentHash)),
		"a reviewer as author":     send("reviewer", sign("reviewer", personal.Author, c.ContentHash)),
		"other content":            send("editor", sign("editor", personal.Author, strings.Repeat("0", 64))),
		"no note":                  send("editor", "proofload correction\n"),
		"nobody":                   send("", sign("editor", personal.Author, c.ContentHash)),
		"somebody who administers": send("admin", sign("editor", personal.Author, c.ContentHash)),
	} {
		if x.status < 400 || x.status >= 500 {
			t.Errorf("%s signs: %d %s", what, x.status, x.body)
		}
	}
	d.correction(t, "editor", "SignCorrection", &pb.SignCorrectionRequest{RequestId: request(), Name: c.Name, Note: sign("editor", personal.Author, c.ContentHash)})
	d.correction(t, "reviewer", "ApproveCorrection", &pb.ApproveCorrectionRequest{RequestId: request(), Name: c.Name, ContentHash: c.ContentHash})
	c = d.correction(t, "reviewer", "SignCorrection", &pb.SignCorrectionRequest{RequestId: request(), Name: c.Name, Note: sign("reviewer", personal.Reviewer, c.ContentHash)})
	c = d.correction(t, "reviewer", "PublishCorrection", &pb.PublishCorrectionRequest{RequestId: request(), Name: c.Name, Etag: c.Etag})
	if len(c.Signatures) != 2 {
		t.Fatalf("signatures: %v", c.Signatures)
	}
	x := doAt(t, d.running, "GET", "/v1/"+carrier+"/revisions/2/proof", "")
	var proof struct {
		Leaf          string   `json:"leaf"`
		SignedContent []byte   `json:"signed_content"`
		Signatures    []string `json:"signatures"`
	}
	if err := json.Unmarshal(x.body, &proof); err != nil || len(proof.Signatures) != 2 {
		t.Fatal(err, string(x.body))
	}
	text, _ := base64.StdEncoding.DecodeString(proof.Leaf)
	leaf, err := ledger.ParseLeaf(text)
	if err != nil {
		t.Fatal(err)
	}
	keys := []string{public["editor"], public["reviewer"]}
	if by, err := personal.Vouched(leaf.Name, leaf.Document, leaf.Withdrawn, leaf.Authors, leaf.Reviewer, key.Origin, proof.SignedContent, proof.Signatures, keys); err != nil || len(by) != 2 {
		t.Errorf("vouched by %v, %v", by, err)
	}
	for what, lie := range map[string]func() error{
		"another document": func() error {
			_, err := personal.Vouched(leaf.Name, strings.Repeat("1", 64), false, leaf.Authors, leaf.Reviewer, key.Origin, proof.SignedContent, proof.Signatures, keys)
			return err
		},
		"another reviewer": func() error {
			_, err := personal.Vouched(leaf.Name, leaf.Document, false, leaf.Authors, "Una Birk", key.Origin, proof.SignedContent, proof.Signatures, keys)
			return err
		},
		"other authors": func() error {
			_, err := personal.Vouched(leaf.Name, leaf.Document, false, []string{"Una Birk"}, leaf.Reviewer, key.Origin, proof.SignedContent, proof.Signatures, keys)
			return err
		},
		"a signature less": func() error {
			_, err := personal.Vouched(leaf.Name, leaf.Document, false, leaf.Authors, leaf.Reviewer, key.Origin, proof.SignedContent, proof.Signatures[:1], keys)
			return err
		},
		"a content of its own": func() error {
			doc := strings.Repeat("1", 64)
			made, _ := personal.Content{Drafts: []personal.Part{{Name: carrier, Hash: doc}}, Reason: "made up"}.Bytes()
			_, err := personal.Vouched(leaf.Name, doc, false, leaf.Authors, leaf.Reviewer, key.Origin, made, proof.Signatures, keys)
			return err
		},
		"keys of its own": func() error {
			lying, _, err := personal.NewKey("Piet Oram")
			if err != nil {
				return err
			}
			n, err := personal.Sign(personal.Statement{Library: key.Origin, Content: c.ContentHash, Role: personal.Reviewer, Person: "Piet Oram"}, lying)
			if err != nil {
				return err
			}
			_, err = personal.Vouched(leaf.Name, leaf.Document, false, leaf.Authors, leaf.Reviewer, key.Origin, proof.SignedContent, []string{proof.Signatures[0], n}, keys)
			return err
		},
		"an author's word for a reviewer's": func() error {
			_, err := personal.Vouched(leaf.Name, leaf.Document, false, leaf.Authors, "Maud Ibbot", key.Origin, proof.SignedContent, proof.Signatures[:1], keys[:1])
			return err
		},
	} {
		if err := lie(); err == nil {
			t.Errorf("%s passes", what)
		}
	}
}
