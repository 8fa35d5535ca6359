package main

import (
	"html"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"proofload/specdata/demo"
)

// example is a line of help: how it ends and what it prints.
type example struct {
	line string
	code int
	// says is part of what it prints on either stream.
	says string
	// before is done by somebody who follows help, in words and not in an example: an edit.
	before string
	// keep is the placeholder that the output answers, and the pattern that finds it.
	keep, pattern string
	// in is the folder below the world's in which it is run: a small library.
	in string
	// interrupt ends it with Ctrl-C, stopped comes after the server has stopped.
	interrupt, stopped bool
}

// The examples of help in the order in which they are run, in the folder of a world. None
// is left out, and none is excused.
var examples = []example{
	{line: `proofload new library river-street --title "River Street workshop"`, says: "river-street/proofload.yaml: a library without records"},
	{line: `proofload new vehicle --library river-street --make Vessary --model Quill --title "Vessary Quill 1.4"`, says: "vehicles/vessary-quill-1-4.yaml: 6 todo comments"},
	{line: `proofload new source --library river-street --title "Quill chassis data" --issuer "Vessary Motor Works"`, says: "sources/quill-chassis-data.yaml: 4 todo comments"},
	{line: `proofload new fastener --library river-street --vehicle vessary-quill-1-4 --title "Rear hub nut"`, says: "fasteners/vessary-quill-1-4-rear-hub-nut.yaml: 22 todo comments"},
	{line: `proofload new assembly --library river-street --vehicle vessary-quill-1-4 --title "Rear hub"`, says: "assemblies/vessary-quill-1-4-rear-hub.yaml: 8 todo comments"},
	{line: `proofload new procedure --library river-street --vehicle vessary-quill-1-4 --title "Rear hub bearing"`, says: "procedures/vessary-quill-1-4-rear-hub-bearing.yaml: 12 todo comments"},
	{line: "proofload schema fastener", says: `"title": "Fastener"`},
	{line: "proofload schema library", says: `"$defs"`},
	{line: "proofload lint", says: " records: "},
	{line: "proofload lint fasteners/quill-1-rear-hub-nut.yaml", says: "1 record: "},
	{line: "proofload lint --since origin/main", says: "0 documents changed since origin/main"},
	{line: "proofload lint --report sarif=lint.sarif --report junit=lint.xml", says: " records: "},
	{line: "proofload lint --diff", says: " records: "},
	{line: "cat draft.yaml | proofload lint -", says: "1 record: "},
	{line: "proofload baseline update known.txt", says: "known.txt: "},
	{line: "proofload lint --baseline known.txt", says: " records: "},
	{line: "proofload baseline prune known.txt", says: "known.txt: "},
	{line: "proofload explain torque-over-yield", says: "## How to mend"},
	{line: "proofload explain waiver-expired", says: "## How to mend"},
	{line: "proofload rules", says: "torque-over-yield"},
	{line: "proofload rules --cites-only practice", says: "common practice"},
	{line: "proofload rules --json", says: `"name": "torque-over-yield"`},
	{line: "proofload rules --library ./our-library", says: "torque-over-yield"},
	{line: "proofload witnesses fasteners/quill-1-rear-hub-nut --demo", says: "quill-1-rear-hub-nut"},
	{line: "proofload witnesses", in: "small", says: " facts: "},
	{line: `proofload joint M10x1.25 10.9 --torque "62 N.m"`, says: "M10x1.25 10.9"},
	{line: `proofload joint M12x1.5 10.9 --torque "40 N.m" --angle "90 deg" --grip "30 mm"`, says: "M12x1.5 10.9"},
	{line: `proofload joint 7/16-20 "grade 8" --torque "60 lbf.ft" --surface oiled`, says: "7/16-20"},
	{line: `proofload joint M12x1.5 10.9 --torque "110 N.m" --kind wheel --into steel --engagement "16 mm" --seat "cone 60 deg" --seat-mean "16 mm"`, says: "M12x1.5 10.9"},
	{line: `proofload joint M10x1 5.8 --torque "32 N.m" --kind banjo --bore "5 mm"`, says: "M10x1 5.8"},
	{line: `proofload joint M12x1.5 10.9 --torque "110 N.m" --lever "400 mm" --reach "40 mm"`, says: "M12x1.5 10.9"},
	{line: "proofload show fasteners/quill-1-rear-hub-nut --demo", says: "240 N·m (177 lbf·ft)"},
	{line: "proofload show quill-1-rear-hub-nut --demo", says: "240 N·m (177 lbf·ft)"},
	{line: "proofload show quill-1-rear-hub-nut --demo --yaml", says: "kind: fastener"},
	{line: "proofload compose quill-1-rear-hub-bearing --demo", says: "wheel nuts"},
	{line: "proofload compose quill-1-rear-hub-bearing --step carrier-tighten --demo", says: "carrier"},
	{line: "proofload run quill-1-rear-hub-bearing --demo", says: "Everything that was opened is closed"},
	{line: "proofload run brindle-3-rear-axle-cover-reseal --option axle=open --demo", says: "Everything that was opened is closed"},
	{line: "proofload run procedures/dray-2-front-discs-and-pads --quiet --demo", says: "Everything that was opened is closed"},
	{line: "proofload draft --demo --assembly quill-1-rear-hub-disc --to-free hub --vehicle quill-1 -o hub.yaml", says: "acts to free it"},
	{line: "proofload sheet quill-1-rear-hub-bearing --side left -o hub.pdf --demo", says: "NOT FOR"},
	{line: "proofload sheet quill-1-rear-hub-bearing --side left --option rear_brake=disc --built 2018-W10 -o hub.pdf --demo", says: "NOT FOR"},
	{line: "proofload sheet dray-2-front-discs-and-pads --paper letter -o discs.pdf --demo", says: "discs.pdf: "},
	{line: "proofload sheet pell-1-cylinder-head-refit -o head.html --demo", says: "head.html: "},
	{line: "proofload narration script --procedure quill-1-rear-hub-bearing --demo -o hub.txt"},
	{line: "proofload narration check --procedure quill-1-rear-hub-bearing --side left --demo hub.txt", says: "0 findings; "},
	{line: "proofload narration check --procedure quill-1-rear-hub-bearing --side left --demo --report json=- hub.txt", says: "{"},
	{line: "proofload narration check --procedure quill-1-rear-hub-bearing --side left --demo --report sarif=hub.sarif hub.txt", says: "0 findings; "},
	{line: "proofload narration callouts --procedure quill-1-rear-hub-bearing --demo hub.txt -o values.vtt --chapters chapters.vtt"},
	{line: "proofload version", says: "rules"},
	{line: "proofload help", says: "Start here:"},
	{line: "proofload help lint", says: "Exit codes: 0 nothing"},
	{line: "proofload help new fastener", says: "Usage: proofload new fastener [flags]"},

	{line: "proofload sheet quill-1-rear-hub-bearing --side left -o hub.pdf --library http://127.0.0.1:7450", says: "is it still valid? http://", keep: "CODE", pattern: `is it still valid\? http://\S+/(PL-\S+)`},
	{line: "proofload correct fasteners/quill-1-rear-hub-nut.yaml --reason \"sheet 3 has a remark\" --evidence \"sheet 3 row 2\" --token-file editor.token", says: "next: another person reviews it",
		before: "sed -i 's/^note: .*/note: turn the hub while the nut is tightened/' fasteners/quill-1-rear-hub-nut.yaml"},
	{line: `proofload correct --set 'fasteners/quill-1-rear-carrier-bolt:/note=clean the thread first' --reason "sheet 2 says so" --token-file editor.token`, says: "note"},
	{line: "proofload narration keep hub.vtt --procedure quill-1-rear-hub-bearing --side left --reference https://videos.example/hub --token-file editor.token", code: 1, says: "1 value is said",
		before: "printf 'WEBVTT\\n\\n00:01.000 --> 00:04.000\\nTighten the carrier bolts to sixty-two newton metres.\\n' > hub.vtt"},
	{line: "proofload correct list", says: "fasteners/quill-1-rear-hub-nut"},
	{line: "proofload correct show fasteners/quill-1-rear-hub-nut", says: "is open"},
	{line: "proofload review list", says: "fasteners/quill-1-rear-carrier-bolt"},
	{line: "proofload review show fasteners/quill-1-rear-hub-nut", says: "next: look the value up in its source", keep: "CONTENT", pattern: `content +([0-9a-f]{64})`},
	{line: "proofload review approve fasteners/quill-1-rear-hub-nut --content CONTENT --token-file reviewer.token", says: "is approved"},
	{line: "proofload correct publish fasteners/quill-1-rear-hub-nut --token-file reviewer.token", says: "is published at position 3"},
	{line: "proofload review show fasteners/quill-1-rear-carrier-bolt", says: "is open", keep: "CONTENT", pattern: `content +([0-9a-f]{64})`},
	{line: `proofload review reject fasteners/quill-1-rear-carrier-bolt --content CONTENT --comment "sheet 2 says nothing of it" --token-file reviewer.token`, says: "is rejected"},
	{line: `proofload release create 2026-10 --note "October books" --token-file reviewer.token`, says: "releases/2026-10 is position 4"},
	{line: "proofload release create first-books --at position:1 --token-file reviewer.token", says: "releases/first-books is position 1"},
	{line: "proofload release list", says: "October books"},
	{line: "proofload diff release:first-books release:2026-10", says: "1 record differs"},
	{line: "proofload diff position:1", says: "1 record differs"},
	{line: "proofload diff release:2026-10 our-library", says: "1 record differs"},
	{line: "proofload export --library http://127.0.0.1:7450 --at release:2026-10 -o october", says: " records as of position "},
	{line: "proofload diff our-library october --json", says: "quill-1-rear-hub-nut"},
	{line: "proofload log", says: "2  "},
	{line: "proofload log --vehicle quill-1 --after 1", says: "changed fasteners/quill-1-rear-hub-nut, revision 2"},
	{line: "proofload log --follow --kind fastener", says: "from position 6; interrupt to stop", interrupt: true},
	{line: "proofload token add --name \"Una Birk\" --role editor --token-file admin.token", says: "plt_", keep: "ID", pattern: `tokens/(\w+) of Una Birk`},
	{line: "proofload token list --token-file admin.token", says: "Una Birk"},
	{line: "proofload token revoke ID --token-file admin.token", says: "of Una Birk is revoked"},
	{line: "proofload job open quill-1-rear-hub-bearing --vehicle quill-1 --option rear_brake=disc --built 2018-W10 --side left --token-file my.token", says: "FOR Vessary Quill 1.4",
		before: "cp editor.token my.token", keep: "JOB", pattern: `(?m)^(\S+)  open  `},
	{line: "proofload job show JOB --token-file my.token", says: "next: 1. "},
	{line: "proofload job tick JOB 1 --token-file my.token", says: "next: 2. "},
	{line: "proofload job reached JOB 15 quill-1-rear-hub-nut 1 \"240 N.m\" --token-file my.token", says: "next: "},
	{line: "proofload job stop JOB --because \"end of shift\" --token-file my.token", says: "end of shift"},
	{line: "proofload job moved --token-file my.token", says: "no job was made to a value that has moved since"},
	{line: "proofload verify --server http://127.0.0.1:7450 --checkpoint kept.txt", says: "kept.txt"},
	{line: "curl -s http://127.0.0.1:7450/v1/fasteners/quill-1-rear-hub-nut/document > nut.json"},
	{line: "curl -s http://127.0.0.1:7450/v1/fasteners/quill-1-rear-hub-nut/revisions/1/proof > nut-proof.json",
		before: "curl -s http://127.0.0.1:7450/v1/fasteners/quill-1-rear-hub-nut/document?at=position:1 > nut.json"},
	{line: "proofload verify nut.json --proof nut-proof.json --checkpoint kept.txt", says: "proved: "},
	{line: "proofload verify CODE --proof sheet.json --checkpoint kept.txt", says: "proved: ", before: "curl -s http://127.0.0.1:7450/v1/checks/CODE/proof > sheet.json"},
	{line: "proofload log --kind act", says: "approved by Piet Oram"},
	{line: `proofload key new maud.key --person "Maud Ibbot"`, says: "signs as Maud Ibbot"},
	{line: "proofload review show fasteners/quill-1-rear-hub-nut", says: "is open", keep: "CONTENT", pattern: `content +([0-9a-f]{64})`,
		before: "proofload key new piet.key --person 'Piet Oram' && proofload correct --set 'fasteners/quill-1-rear-hub-nut:/note=turn the hub meanwhile' --reason 'sheet 3 says so' --token-file editor.token"},
	{line: "proofload review approve fasteners/quill-1-rear-hub-nut --content CONTENT --sign-with piet.key --token-file reviewer.token", says: "signed by Piet Oram as its reviewer"},
	{line: "proofload verify nut.json --proof nut-proof.json --key kept.txt.key --signer piet.key.pub", says: "signed by Piet Oram as its reviewer",
		before: "proofload correct publish fasteners/quill-1-rear-hub-nut --token-file reviewer.token && curl -s http://127.0.0.1:7450/v1/fasteners/quill-1-rear-hub-nut/document > nut.json && curl -s http://127.0.0.1:7450/v1/fasteners/quill-1-rear-hub-nut/revisions/3/proof > nut-proof.json"},
	{line: "proofload witness key north.key --name witness.example/north", says: "north.key.pub"},
	{line: "proofload witness --server http://127.0.0.1:7450 --keep seen.txt --with north.key --once", says: "cosigned: position"},
	{line: "proofload witness --server http://127.0.0.1:7450 --keep seen.txt --with north.key", says: "interrupt to stop", interrupt: true},
	{line: "proofload verify --server http://127.0.0.1:7450 --checkpoint kept.txt --cosigned seen.txt --witness north.key.pub --max-age 1h", says: "witnessed: 1 of 1"},
	{line: "curl -s 'http://127.0.0.1:7450/v1/log?documents=true&page_size=1000' > log.json"},
	{line: "proofload verify --log log.json --checkpoint kept.txt", says: "proved: "},
	{line: "proofload backup friday.db", says: "friday.db"},
	{line: "proofload backup friday.db --store sqlite:.data/proofload.db", says: "friday.db", before: "mv friday.db thursday.db"},
	{line: "proofload verify --store sqlite:friday.db --checkpoint kept.txt", says: "proved: "},
	{line: "proofload export first --at position:1 --store sqlite:friday.db", says: "first: "},

	{line: "proofload export out", says: "out: ", stopped: true},
	{line: "proofload import our-library --by maud --reason \"weekly\" --dry-run", says: "1 changed", stopped: true},
	{line: "proofload import our-library --by maud --reason \"chassis sheets of 2018\"", says: "published at position 13", stopped: true},
	{line: "proofload import our-library --by maud --reason \"moved\" --prune", says: "1 withdrawn", stopped: true, before: "rm our-library/procedures/pell-1-oil-and-filter.yaml"},
	{line: "proofload restore friday.db", says: "position 11", stopped: true},
	{line: "proofload restore friday.db --store sqlite:.data/proofload.db", says: "position 11", stopped: true},
	{line: "proofload doctor", says: "answers: position 11", stopped: true},
	{line: "proofload doctor --store sqlite:.data/proofload.db", says: "answers: position 11", stopped: true},
	{line: "proofload copy sqlite:new.db --create --store sqlite:.data/proofload.db", says: "new.db", stopped: true},
}

// TestHelpExamples runs every example of help with the built programs, in one folder and
// against one real server, as somebody would who copies before they read; then the
// commands of the server's pages. An example that is not run fails it.
func TestHelpExamples(t *testing.T) {
	w := newWorld(t)
	if err := os.CopyFS(filepath.Join(w.dir, "our-library"), demo.Files); err != nil {
		t.Fatal(err)
	}
	if err := os.CopyFS(filepath.Join(w.dir, "small"), os.DirFS(filepath.Join("testdata", "library"))); err != nil {
		t.Fatal(err)
	}
	nut, err := demo.Files.ReadFile("fasteners/quill-1-rear-hub-nut.yaml")
	if err != nil {
		t.Fatal(err)
	}
	w.write("draft.yaml", string(nut))
	if out, code := w.sh("git init -q . && git add proofload.yaml vehicles fasteners assemblies procedures sources && git commit -qm demo && git update-ref refs/remotes/origin/main HEAD", false); code != 0 {
		t.Fatal(out)
	}
	ran := map[string]bool{}
	for _, x := range examples {
		if x.stopped && w.server != nil {
			w.pages()
			w.stop()
		}
		if x.before != "" {
			if out, code := w.sh(x.before, false); code != 0 {
				t.Errorf("$ %s\nexit code %d:\n%.1500s", x.before, code, out)
			}
		}
		ran[x.line] = true
		line := x.line
		if x.in != "" {
			line = "cd " + x.in + " && " + line
		}
		out, code := w.sh(line, x.interrupt)
		if code != x.code || !strings.Contains(out, x.says) {
			t.Errorf("$ %s\nexit code %d, want %d; it is to say %q:\n%.1500s", x.line, code, x.code, x.says, out)
		} else if x.keep != "" {
			w.keep(x.keep, out, x.pattern)
		}
	}
	var walk func(cs []*command)
	walk = func(cs []*command) {
		for _, c := range cs {
			walk(c.sub)
			for _, ex := range c.examples {
				line, _, _ := strings.Cut(ex, "   #")
				line, _, _ = strings.Cut(line, " # ")
				if line = strings.TrimSpace(line); !ran[line] {
					t.Errorf("no test runs the example of help: %s", line)
				}
			}
		}
	}
	walk(commands())
}

// pageCommand finds the commands that a page shows to be copied.
var pageCommand = regexp.MustCompile(`(?s)<(?:code|pre)[^>]*>(.*?)</(?:code|pre)>`)

// pages runs every command that a page of the server shows, as it is shown.
func (w *world) pages() {
	t := w.t
	t.Helper()
	if out, code := w.sh("proofload correct --set 'fasteners/quill-1-rear-speed-sensor-bolt:/note=no grease on the ring' --reason \"sheet 2 says so\" --token-file editor.token", false); code != 0 {
		t.Fatal(out)
	}
	out, _ := w.sh("proofload correct list", false)
	w.keep("OPEN", out, `(?m)^(\S+)  open`)
	top, err := filepath.Abs(filepath.Join("..", ".."))
	if err != nil {
		t.Fatal(err)
	}
	copyFile := "cp fasteners/quill-1-wheel-nut.yaml FILE.yaml && cp reviewer.token FILE"
	if out, code := w.sh(copyFile, false); code != 0 {
		t.Fatal(out)
	}
	ran := map[string]bool{}
	command := regexp.MustCompile(`(go tool grpcurl|\bcurl|\bproofload) .*`)
	page := func(path, accept string) {
		ask, err := http.NewRequestWithContext(t.Context(), http.MethodGet, "http://"+w.address+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		ask.Header.Set("Accept", accept)
		answer, err := http.DefaultClient.Do(ask)
		if err != nil {
			t.Fatal(err)
		}
		defer answer.Body.Close()
		body, err := io.ReadAll(answer.Body)
		if err != nil || answer.StatusCode != http.StatusOK {
			t.Fatalf("page %s: %s, %v", path, answer.Status, err)
		}
		found := 0
		shown := pageCommand.FindAllStringSubmatch(string(body), -1)
		if accept == "text/plain" {
			shown = [][]string{{"", string(body)}}
		}
		for _, m := range shown {
			for _, line := range strings.Split(html.UnescapeString(m[1]), "\n") {
				if line = command.FindString(line); line == "" {
					continue
				}
				if found++; ran[line] {
					continue
				}
				ran[line] = true
				run := line
				if strings.HasPrefix(line, "go tool") {
					run = "cd " + top + " && " + line
				}
				if strings.HasPrefix(line, "curl ") {
					run = "curl -sS --fail-with-body " + strings.TrimPrefix(line, "curl ")
				}
				if out, code := w.sh(run, false); code != 0 || strings.TrimSpace(out) == "" {
					t.Errorf("page %s shows\n$ %s\nexit code %d:\n%.800s", path, line, code, out)
				}
			}
		}
		if found == 0 {
			t.Errorf("page %s shows no command any more", path)
		}
	}
	for _, path := range []string{
		"/vehicles/quill-1", "/fasteners/quill-1-rear-hub-nut", "/procedures/quill-1-rear-hub-bearing", "/assemblies/quill-1-rear-hub-disc", "/sources/quill-chassis-2018",
		"/corrections", "/corrections/" + w.keeps["OPEN"], "/releases", "/fasteners/quill-1-rear-hub-nut/history", "/diff?from=position:1",
	} {
		page(path, "text/html")
	}
	page("/", "text/plain")
	t.Logf("%d commands of pages", len(ran))
}
