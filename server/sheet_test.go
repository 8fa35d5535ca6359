package main

import (
	"bytes"
	"net/http"
	"regexp"
	"strings"
	"testing"

	"proofload/api/client"
	pb "proofload/api/proofload/v1"
	"proofload/specdata/sheet"
	"proofload/specdata/whom"
)

// sheetCodes returns a code that was made up, one of a library that is further, and one that
// was typed wrongly.
func sheetCodes(t *testing.T) (falseCode, unknown, mistyped string) {
	t.Helper()
	s := &sheet.Sheet{Procedure: "procedures/x", For: whom.For{}.At(whom.Moment{Position: 1})}
	made, err := s.Code("elsewhere", 200)
	if err != nil {
		t.Fatal(err)
	}
	s.For = s.For.At(whom.Moment{Position: 4000})
	far, err := s.Code("elsewhere", 200)
	if err != nil {
		t.Fatal(err)
	}
	bad := []byte(made.String())
	bad[5], bad[6] = 'X', 'Y'
	return made.String(), far.String(), string(bad)
}

var printedCode = regexp.MustCompile(`PL(-[0-9A-Z]{4}){3,7}`)

// print prints a sheet and returns it as HTML with its code.
func print(t *testing.T, r *running, query string) (page, code string) {
	t.Helper()
	x := doAt(t, r, "GET", "/v1/procedures/"+query, "")
	if x.status != http.StatusOK || !strings.HasPrefix(x.header.Get("Content-Type"), "text/html") {
		t.Fatalf("%s: %d %s", query, x.status, x.body)
	}
	code = printedCode.FindString(string(x.body))
	if code == "" || !strings.Contains(string(x.body), "http://"+r.http+"/checks/"+code) {
		t.Fatalf("sheet has the code %q and not its address", code)
	}
	return string(x.body), code
}

// A sheet that was printed at the first position is current, superseded or withdrawn,
// and the answer is the same over both wires and on the page.
func TestSheetCodes(t *testing.T) {
	r, _ := proving(t)
	withdrawnBolt := firstUsed(t, "tamber-2-front-lower-arm")
	for _, c := range []struct {
		print, state string
		same         bool
		verdict      string
		says         []string
	}{
		{"pell-1-cylinder-head-refit/sheet?format=html&at=position:1", "current", true, "This sheet is still valid", []string{"up to position 5"}},
		{"quill-1-rear-hub-bearing/sheet?format=html&side=left&at=position:1", "superseded", false, "Do not use: superseded", []string{
			"torque up 4.2 % from 240 N·m (177 lbf·ft) to 250 N·m (184 lbf·ft)", "safety: wheel", "/tightening/stages/0/torque", "sheet 3 read again", "position 2"}},
		{"quill-1-rear-hub-bearing/sheet?format=html&side=left", "current", true, "This sheet is still valid", nil},
		{"skerry-1-rear-dampers/sheet?format=html&at=position:3", "superseded", true, "Do not use: superseded", []string{"says the same in every line", "Look twice."}},
		{"dray-2-rear-silencer/sheet?format=html&at=position:1", "withdrawn", false, "Do not use: withdrawn", []string{"the maker changed the hangers", "position 3"}},
		{"tamber-2-front-lower-arm/sheet?format=html&side=left&at=position:1", "withdrawn", false, "Do not use: withdrawn", []string{string(withdrawnBolt), "not sold any more"}},
	} {
		page, code := print(t, r, c.print)
		if again, _ := print(t, r, c.print); again != page {
			t.Errorf("%s: printing again gives other bytes", c.print)
		}
		pdf := doAt(t, r, "GET", "/v1/procedures/"+strings.Replace(c.print, "format=html", "format=pdf&paper=letter", 1), "")
		if pdf.status != http.StatusOK || pdf.header.Get("Content-Type") != "application/pdf" || !bytes.HasPrefix(pdf.body, []byte("%PDF")) {
			t.Errorf("%s: as PDF %d %s", c.print, pdf.status, pdf.header.Get("Content-Type"))
		}
		got := both(t, r, "/v1/checks/"+code, &pb.Check{}, func(cl *client.Client) (*pb.Check, error) {
			return cl.Ledger.GetCheck(t.Context(), &pb.GetCheckRequest{Name: "checks/" + strings.ToLower(strings.ReplaceAll(code, "-", ""))})
		})
		if got.State != c.state || got.PrintsTheSame != c.same || got.Name != "checks/"+code || got.Notice.GetCaution() == "" || !got.Notice.Demo {
			t.Errorf("%s: %v", c.print, got)
		}
		screen := doAt(t, r, "GET", "/checks/"+code, "", browser...)
		text := html2text(string(screen.body))
		paper := html2text(page)
		if screen.status != http.StatusOK || !strings.Contains(text, c.verdict) || !strings.Contains(text, got.Summary) {
			t.Errorf("%s: page answers %d %s", c.print, screen.status, text)
		}
		for _, want := range append(c.says, "vehicle maker", got.Title, got.Vehicle) {
			if !strings.Contains(text, want) {
				t.Errorf("%s: page does not say %q: %s", c.print, want, text)
			}
		}
		// The paper and the screen say the same.
		if got.RecordsHash == "" || !strings.Contains(paper, got.RecordsHash) || !strings.Contains(text, got.RecordsHash) {
			t.Errorf("%s: the hash %q is not on paper and screen alike", c.print, got.RecordsHash)
		}
		if len(got.Values) == 0 {
			t.Errorf("%s: no values", c.print)
		}
		for _, v := range got.Values {
			for _, want := range []string{v.What, v.Value, v.Stage, v.Band} {
				if !strings.Contains(paper, want) || !strings.Contains(text, want) {
					t.Errorf("%s: %q is not on paper and screen alike", c.print, want)
				}
			}
			if changed := v.Now != ""; changed && c.same {
				t.Errorf("%s: %s is now %q on a sheet that prints the same", c.print, v.What, v.Now)
			}
		}
	}
	old, code := print(t, r, "quill-1-rear-hub-bearing/sheet?format=html&side=left&at=position:1")
	for _, want := range []string{"OLD: as of position 1, published", "CHANGED SINCE – do not work to this.", "(fasteners/quill-1-rear-hub-nut) is now 250 N·m (184 lbf·ft), position 2"} {
		if !strings.Contains(html2text(old), want) {
			t.Errorf("a sheet of an old moment does not say %q", want)
		}
	}
	if fresh, _ := print(t, r, "quill-1-rear-hub-bearing/sheet?format=html&side=left"); strings.Contains(fresh, "OLD") {
		t.Error("a sheet of now says that it is old")
	}
	_, right := print(t, r, "quill-1-rear-hub-bearing/sheet?format=html&side=right&at=position:1")
	if code == right {
		t.Error("two sides have one code")
	}
	got, err := dial(t, r).Ledger.GetCheck(t.Context(), &pb.GetCheckRequest{Name: "checks/" + right})
	if err != nil || got.Side != "right" || got.Values[0].Now != "250 N·m (184 lbf·ft)" {
		t.Errorf("the right side: %v, %v", got, err)
	}
	falseCode, unknown, mistyped := sheetCodes(t)
	for code, verdict := range map[string]string{falseCode: "Do not use: no such sheet", unknown: "Code not known here", mistyped: "Code mistyped"} {
		x := doAt(t, r, "GET", "/checks/"+code, "", browser...)
		if x.status != 400 && x.status != 404 || !strings.Contains(html2text(string(x.body)), verdict) {
			t.Errorf("%s: page answers %d %s", code, x.status, html2text(string(x.body)))
		}
	}
	if x := doAt(t, r, "GET", "/checks?code="+code, "", browser...); x.status != http.StatusSeeOther || x.header.Get("Location") != "/checks/"+code {
		t.Errorf("typing a code leads to %d %s", x.status, x.header.Get("Location"))
	}
	if x := doAt(t, r, "GET", "/checks", "", browser...); x.status != http.StatusOK {
		t.Errorf("the page to type a code on answers %d", x.status)
	}
}

var tags = regexp.MustCompile(`<[^>]*>`)

// html2text returns what a reader sees.
func html2text(page string) string {
	return strings.NewReplacer("&#39;", "'", "&#43;", "+", "&amp;", "&", "\u00a0", " ", "&lt;", "<", "&#34;", `"`).Replace(tags.ReplaceAllString(page, " "))
}

// What a sheet cannot be printed from is refused in the words of the command line.
func TestSheetRefusals(t *testing.T) {
	for query, want := range map[string][2]string{
		"nope/sheet":                                                                        {"RECORD_NOT_FOUND", "procedures/nope"},
		"quill-1-rear-hub-bearing/sheet":                                                    {"INVALID_ARGUMENT", "Answer with side=left or side=right"},
		"quill-1-rear-hub-bearing/sheet?side=middle":                                        {"INVALID_ARGUMENT", "allowed: left, right"},
		"quill-1-starter-renewal/sheet":                                                     {"INVALID_ARGUMENT", "Which gearbox does the vehicle have: manual or automatic? Answer with options=gearbox=VALUE"},
		"quill-1-starter-renewal/sheet?options=gearbox":                                     {"INVALID_ARGUMENT", "write key=value"},
		"quill-1-rear-hub-bearing/sheet?side=left&options=rear_brake%3Ddrum":                {"INVALID_ARGUMENT", "is not for this vehicle: asked for Vessary Quill 1.4, rear brake drum, but it is for Vessary Quill 1.4, rear brake disc, built up to 2019-W26"},
		"quill-1-rear-hub-bearing/sheet?side=left&options=rear_brake%3Dnonsense":            {"INVALID_ARGUMENT", "allowed: disc, drum"},
		"quill-1-rear-hub-bearing/sheet?side=left&options=foo%3Dbar":                        {"INVALID_ARGUMENT", "is unknown on quill-1"},
		"quill-1-rear-hub-bearing/sheet?side=left&options=rear_brake%3Ddisc":                {"INVALID_ARGUMENT", "When was the vehicle built?"},
		"quill-1-rear-hub-bearing/sheet?side=left&options=rear_brake%3Ddisc&built=2020-W02": {"INVALID_ARGUMENT", "built 2020-W02, but it is for"},
		"quill-1-rear-hub-bearing/sheet?side=left&built=soon":                               {"INVALID_ARGUMENT", "write 2019-06-30"},
		"quill-1-rear-hub-bearing/sheet?side=left&vin=123":                                  {"INVALID_ARGUMENT", "vin"},
		"dray-2-front-discs-and-pads/sheet?options=brake_size%3Db17":                        {"INVALID_ARGUMENT", "is not for this vehicle"},
		"quill-1-rear-hub-bearing/sheet?side=left&format=doc":                               {"INVALID_ARGUMENT", "allowed: pdf, html"},
		"quill-1-rear-hub-bearing/sheet?side=left&paper=a5":                                 {"INVALID_ARGUMENT", "allowed: a4, letter"},
		"quill-1-rear-hub-bearing/sheet?side=left&printed=yesterday":                        {"INVALID_ARGUMENT", "yesterday"},
		"quill-1-rear-hub-bearing/sheet?side=left&at=position:9999":                         {"POSITION_NOT_PUBLISHED", "9999"},
		"quill-1-rear-hub-bearing/sheet?side=left&colour=red":                               {"INVALID_ARGUMENT", "colour"},
		"quill-1-rear-hub-bearing/sheet?side=left&min_position=x":                           {"INVALID_ARGUMENT", "min_position"},
		"quill-1-starter-renewal/sheet?options=gearbox%3Dnone&side=left":                    {"INVALID_ARGUMENT", "allowed: manual, automatic"},
		"Quill/sheet": {"INVALID_ARGUMENT", "Quill"},
	} {
		x := do(t, "GET", "/v1/procedures/"+query, "")
		if x.reason() != want[0] || !strings.Contains(x.field(t, "detail"), want[1]) {
			t.Errorf("%s: %d %s", query, x.status, x.body)
		}
	}
	if x := do(t, "GET", "/v1/procedures/quill-1-rear-hub-bearing/sheet?side=left", "", "Accept", "application/json"); x.status != http.StatusNotAcceptable {
		t.Errorf("a sheet as JSON: %d", x.status)
	}
	if x := do(t, "GET", "/v1/procedures/quill-1-rear-hub-bearing/sheet?side=left&format=html&options=rear_brake%3Ddisc&built=2018-W02", ""); x.status != http.StatusOK || !strings.Contains(string(x.body), "NOT FOR rear brake drum; built from 2019-W27") {
		t.Errorf("a sheet for the right vehicle: %d", x.status)
	}
	if x := do(t, "GET", "/v1/procedures/quill-1-starter-renewal/sheet?options=gearbox%3Dmanual", "", browser...); x.status != http.StatusOK || !strings.HasPrefix(x.header.Get("Content-Type"), "text/html") {
		t.Errorf("a browser gets %d %s", x.status, x.header.Get("Content-Type"))
	}
}

// --public-url is on the paper.
func TestPublicURL(t *testing.T) {
	r := start(t, "--public-url", "https://torque.workshop.example/")
	x := doAt(t, r, "GET", "/v1/procedures/quill-1-rear-hub-bearing/sheet?side=left&format=html", "")
	code := printedCode.FindString(string(x.body))
	if !strings.Contains(string(x.body), "https://torque.workshop.example/checks/"+code) {
		t.Errorf("sheet does not lead to the public address: %s", code)
	}
}

// A page that is asked for with options, a build date or a number says that it is not
// for that vehicle, or asks what is open, and shows no value.
func TestPagesForTheVehicleAskedFor(t *testing.T) {
	for query, want := range map[string]string{
		"procedures/quill-1-rear-hub-bearing?rear_brake=drum":                   "is not for this vehicle",
		"procedures/quill-1-rear-hub-bearing?rear_brake=disc":                   "When was the vehicle built?",
		"procedures/quill-1-rear-hub-bearing?rear_brake=disc&built=2020-W01":    "is not for this vehicle",
		"procedures/quill-1-rear-hub-bearing/present?options=rear_brake%3Ddrum": "is not for this vehicle",
		"procedures/quill-1-rear-hub-bearing?colour=red":                        "is unknown on quill-1",
		"fasteners/quill-1-rear-hub-nut?options=rear_brake%3Ddrum":              "is not for this vehicle",
		"fasteners/quill-1-rear-hub-nut?built=2020-W01":                         "is not for this vehicle",
		"assemblies/quill-1-rear-hub-disc?rear_brake=drum":                      "is not for this vehicle",
		"procedures/quill-1-rear-hub-bearing?vehicle=dray-2":                    "is not for this vehicle",
		"procedures/quill-1-rear-hub-bearing?side=up":                           "allowed: left, right",
		"procedures/dray-2-front-discs-and-pads?side=left":                      "takes no side",
		"procedures/quill-1-left-track-rod-end?side=right":                      "is not for this vehicle",
		"procedures/quill-1-rear-hub-bearing?vehicle=quill-1":                   "Which rear brake does the vehicle have: disc or drum?",
		"procedures/quill-1-rear-hub-bearing?gearbox=manual":                    "When was the vehicle built?",
		"vehicles/quill-1?rear_brak=drum":                                       "is unknown on quill-1",
		"procedures/quill-1-rear-hub-bearing?vin=123":                           "a vehicle identification number has 17",
	} {
		x := do(t, "GET", "/"+query, "", browser...)
		text := html2text(string(x.body))
		status := http.StatusBadRequest
		if strings.HasSuffix(want, "?") {
			status = http.StatusOK // a question is no error
		}
		if x.status != status || !strings.Contains(text, want) || strings.Contains(text, "N·m") {
			t.Errorf("%s: %d %s", query, x.status, text)
		}
	}
	// What was refused is not what a page is for, and an example is a build of the vehicle.
	for query, c := range map[string]struct{ want, never string }{
		"vehicles/quill-1?built=2030-W01":                     {"FOR Vessary Quill 1.4; not yet known", "1.4, built 2030-W01"},
		"vehicles/quill-1?built=2030-W01&rear_brake=disc":     {"FOR Vessary Quill 1.4, rear brake disc; not yet known", "disc, built 2030-W01"},
		"procedures/quill-1-rear-hub-bearing?rear_brake=disc": {"It is only for those built up to 2019-W26.", "decides between"},
		"vehicles/dray-2": {"", "2019-W26"},
	} {
		body := string(do(t, "GET", "/"+query, "", browser...).body)
		if text := strings.Join(strings.Fields(html2text(body)), " "); !strings.Contains(text, c.want) || strings.Contains(body, c.never) || strings.Contains(text, c.never) {
			t.Errorf("%s: want %q and not %q: %s", query, c.want, c.never, text)
		}
	}
	if body := string(do(t, "GET", "/vehicles/dray-2", "", browser...).body); !strings.Contains(body, `placeholder="no 120001"`) {
		t.Error("the example of a build is not one of the Dray, whose builds are counted by serial")
	}
	// The page of a variant lays out what its steps use, with the grade of every fluid.
	const additive = "Additive for limited-slip axles"
	for query, want := range map[string]bool{"axle=open": false, "axle=limited-slip": true, "": true} {
		text := html2text(string(do(t, "GET", "/procedures/brindle-3-rear-axle-cover-reseal?"+query, "", browser...).body))
		if !strings.Contains(text, "Axle oil, 75W-90 GL-5, 2.5") || strings.Contains(text, additive) != want {
			t.Errorf("%s: want the additive %v and the grade of the oil: %s", query, want, text)
		}
	}
	for _, query := range []string{"procedures/quill-1-rear-hub-bearing?rear_brake=disc&built=2018-W02", "fasteners/quill-1-rear-hub-nut?rear_brake=disc&built=2018-W02", "procedures/quill-1-rear-hub-bearing", "procedures/quill-1-rear-hub-bearing/present?step=3", "procedures/quill-1-rear-hub-bearing?side=LEFT&rear_brake=Disc&built=2018-W02"} {
		if x := do(t, "GET", "/"+query, "", browser...); x.status != http.StatusOK {
			t.Errorf("%s: %d", query, x.status)
		}
	}
}

// The page of a vehicle leads on with all that is known of it, and lists apart what is
// not for it.
func TestLinksCarryWhatIsKnown(t *testing.T) {
	x := do(t, "GET", "/vehicles/quill-1?rear_brake=drum&built=2020-W10&side=left&at=position:1", "", browser...)
	page := string(x.body)
	procedures, rest, ok := strings.Cut(page[strings.Index(page, "<h2>Procedures</h2>"):], "not for this vehicle</summary>")
	if !ok || strings.Contains(procedures, "/procedures/quill-1-rear-hub-bearing") || !strings.Contains(rest, "/procedures/quill-1-rear-hub-bearing") {
		t.Errorf("a procedure for disc brakes is not told apart: %s", html2text(procedures))
	}
	for _, want := range []string{
		"/procedures/quill-1-starter-renewal?built=2020-W10&amp;rear_brake=drum&amp;vehicle=quill-1", // it takes no side
		"/fasteners/quill-1-wheel-nut?built=2020-W10&amp;rear_brake=drum&amp;side=left&amp;vehicle=quill-1",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("no link to %s", want)
		}
	}
	page = string(do(t, "GET", "/procedures/quill-1-rear-hub-bearing?rear_brake=disc&built=2018-W02&side=right", "", browser...).body)
	for _, want := range []string{"/fasteners/quill-1-wheel-nut?built=2018-W02&amp;rear_brake=disc&amp;side=right&amp;vehicle=quill-1", "/jobs/new?built=2018-W02&amp;procedure=quill-1-rear-hub-bearing&amp;rear_brake=disc&amp;side=right", "right side"} {
		if !strings.Contains(page, want) {
			t.Errorf("procedure: no %s", want)
		}
	}
	if strings.Contains(page, "side=left") || strings.Contains(page, "either side") {
		t.Error("a page for the right side offers the left")
	}
}
