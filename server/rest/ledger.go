package rest

import (
	"bytes"
	"errors"
	"net/http"
	"strings"
	"time"

	"google.golang.org/protobuf/encoding/protojson"

	pb "proofload/api/proofload/v1"
	"proofload/server/access"
	"proofload/server/ask"
	"proofload/server/fault"
	"proofload/server/prints"
	"proofload/server/web"
	"proofload/specdata"
	"proofload/specdata/sheet"
	"proofload/specdata/whom"
)

// signedNote is the text of a checkpoint: the note, byte for byte.
func signedNote(body []byte) ([]byte, error) {
	var c pb.Checkpoint
	err := protojson.Unmarshal(body, &c)
	return []byte(c.Note), err
}

// keyText is the text of a verifier key: the key alone.
func keyText(body []byte) ([]byte, error) {
	var k pb.VerifierKey
	err := protojson.Unmarshal(body, &k)
	return []byte(k.Key + "\n"), err
}

var (
	pdfType     = []string{"application/pdf"}
	htmlType    = []string{"text/html; charset=utf-8"}
	sheetPolicy = []string{"default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'"}
)

// sheetRoute is the address that prints; paper is in no .proto file.
var sheetRoute = route{method: http.MethodGet, path: "/v1/procedures/{id}/sheet", query: params{
	"vehicle": textParam, "vin": textParam, "options": textsParam, "built": textParam, "side": textParam, "format": textParam, "paper": textParam, "printed": textParam, "at": textParam, "min_position": wholeParam,
}}

// sheet prints a procedure, with a code that tells whether the sheet is still valid. The
// bytes are those of the command line for the same sheet.
func (h *Handler) sheet(w http.ResponseWriter, r *http.Request) {
	q, err := queryOf(r, sheetRoute.query)
	if err != nil {
		fail(w, r, err)
		return
	}
	format, paper, err := formOf(r, q.Get("format"), q.Get("paper"))
	if err != nil {
		fail(w, r, err)
		return
	}
	name, err := ask.Name("name", "procedures/"+r.PathValue("id"), specdata.KindProcedure)
	if err != nil {
		fail(w, r, err)
		return
	}
	m, err := q.when()
	if err != nil {
		fail(w, r, err)
		return
	}
	base, err := h.address(r)
	if err != nil {
		fail(w, r, err)
		return
	}
	wanted := prints.Request{
		Procedure: name, Asked: whom.Asked{Vehicle: q.Get("vehicle"), VIN: q.Get("vin"), Stated: whom.Stated{Options: q.Values["options"], Built: q.Get("built")}}, Side: q.Get("side"), Moment: m, Printed: specdata.Date(q.Get("printed")), Base: base,
	}
	if wanted.Printed == "" {
		wanted.Printed = specdata.Date(time.Now().Format(time.DateOnly))
	}
	if caller := access.Caller(r.Context()); caller != nil {
		wanted.By = caller.Person
	}
	ctx, cancel := withDeadline(r)
	defer cancel()
	s, err := h.prints.Make(ctx, wanted)
	if err != nil {
		h.fail(w, r, err)
		return
	}
	var b bytes.Buffer
	media := pdfType
	if format == "html" {
		media, err = htmlType, s.HTML(&b)
		w.Header()["Content-Security-Policy"] = sheetPolicy
	} else {
		err = s.PDF(&b, paper)
	}
	var bad *sheet.Unprintable
	if errors.As(err, &bad) {
		err = fault.New(fault.SheetUnprintable, "%v", bad).With("record", bad.Record).With("character", string(bad.Character))
	}
	if err != nil {
		h.fail(w, r, err)
		return
	}
	header := w.Header()
	header["Cache-Control"] = revalidate
	header["Vary"] = vary
	header["Link"] = []string{"<" + s.CheckURL + `>; rel="describedby"`}
	header[positionHeader] = h.positionText(s.For.Moment().Position)
	sendText(w, r, media, b.Bytes())
}

// formOf reads what a sheet is to be: PDF, or HTML where a browser asks and nothing is said.
func formOf(r *http.Request, format, paper string) (string, sheet.Paper, error) {
	switch format {
	case "pdf", "html":
	case "":
		if format = "pdf"; web.Wanted(r) {
			format = "html"
		}
	default:
		return "", "", fault.Field("format", "format %q is not made; allowed: pdf, html", ask.Clip(format))
	}
	// Where the address says the form, it wins over what the program says it takes: a
	// browser that follows a link to a PDF does not ask for one.
	if !r.URL.Query().Has("format") && accepts(r, "application/pdf") == 0 && accepts(r, "text/html") == 0 {
		return "", "", notAcceptable("application/pdf", "text/html")
	}
	switch {
	case paper == "" || strings.EqualFold(paper, string(sheet.A4)):
		return format, sheet.A4, nil
	case strings.EqualFold(paper, string(sheet.Letter)):
		return format, sheet.Letter, nil
	}
	return "", "", fault.Field("paper", "paper %q is unknown; allowed: a4, letter", ask.Clip(paper))
}

// address is where readers reach this server: as it was started to say, or else as
// the request reached it.
func (h *Handler) address(r *http.Request) (string, error) {
	switch {
	case h.publicURL != "":
		return h.publicURL, nil
	case !access.LocalHost(r.Host) && !h.gate.Listed(r.Host):
		// Anybody can write a name into a request; only the operator can put one on paper.
		return "", fault.New(fault.HostUnknown, "sheet carries the address of this server, and nobody said that %q is it; start the server with --public-url or --host", ask.Clip(r.Host)).With("host", ask.Clip(r.Host))
	case r.TLS != nil:
		return "https://" + r.Host, nil
	}
	return "http://" + r.Host, nil
}
