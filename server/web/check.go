package web

import (
	"context"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	pb "proofload/api/proofload/v1"
	"proofload/server/fault"
	"proofload/server/view"
)

// Checker says whether the sheet with a code is still valid, and up to which position
// that is true.
type Checker func(ctx context.Context, code string) (*pb.Check, int64, error)

// ServeChecks sets what judges the codes of sheets. Its pages are read on a phone, at
// the vehicle: whether the sheet holds stands first and large.
func (p *Pages) ServeChecks(check Checker) { p.checker = check }

// askCode takes a code that somebody types.
func (p *Pages) askCode(w http.ResponseWriter, r *http.Request) {
	if code := strings.TrimSpace(r.URL.Query().Get("code")); code != "" {
		http.Redirect(w, r, "/checks/"+url.PathEscape(code), http.StatusSeeOther)
		return
	}
	p.show(w, r, http.StatusOK, "check.html", about{For: []clause{{Text: "any sheet that this library printed"}}}, map[string]any{"Title": "Check a sheet", "Notice": &pb.Notice{Caution: view.Caution}})
}

// verdicts are what a page says in large letters.
var verdicts = map[string]string{
	"current": "This sheet is still valid", "superseded": "Do not use: superseded", "withdrawn": "Do not use: withdrawn",
}

func (p *Pages) check(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), deadline)
	defer cancel()
	c, position, err := p.checker(ctx, r.PathValue("code"))
	if err == nil {
		whom := c.ForWhom.GetText()
		if whom == "" {
			whom = "the variant that the sheet names; this program cannot make the sheet again"
		}
		p.show(w, r, http.StatusOK, "check.html", about{For: []clause{{Text: whom}}, Not: c.ForWhom.GetNotText(), Position: position}, map[string]any{
			"Title": verdicts[c.State], "C": c, "Code": strings.TrimPrefix(c.Name, "checks/"), "Verdict": verdicts[c.State], "Notice": c.Notice, "Position": strconv.FormatInt(position, 10),
		})
		return
	}
	e := fault.From(err)
	verdict := ""
	switch e.Kind {
	case fault.SheetCodeMistyped:
		verdict = "Code mistyped"
	case fault.SheetCodeUnknown:
		verdict = "Code not known here"
	case fault.SheetCodeFalse:
		verdict = "Do not use: no such sheet"
	default:
		p.Fail(w, r, err)
		return
	}
	p.show(w, r, e.Kind.Row().Status, "check.html", about{For: []clause{{Text: "no sheet of this library"}}}, map[string]any{
		"Title": verdict, "Code": r.PathValue("code"), "Verdict": verdict, "Error": e, "Row": e.Kind.Row(), "Notice": &pb.Notice{Caution: view.Caution},
	})
}
