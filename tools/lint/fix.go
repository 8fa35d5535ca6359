package lint

import (
	"bytes"
	"encoding/json"
	"fmt"
	"path"
	"strings"

	jsonpatch "github.com/evanphx/json-patch/v5"

	"proofload/specdata"
	"proofload/specdata/document"
)

// ApplyFixes applies the fixes of one record's findings to its canonical document
// and returns the new canonical document and the number of findings whose fix went
// in. A finding's fix goes in whole or not at all. A fix that touches what an
// earlier one touched is left for the next run, and so is the fix of a waived
// finding: a person has said that the value stands.
func ApplyFixes(canonical []byte, findings []specdata.Finding) ([]byte, int, error) {
	chosen := compatible(findings)
	if len(chosen) == 0 {
		return canonical, 0, nil
	}
	doc := canonical
	for _, f := range chosen {
		next, err := patch(doc, f.Fix)
		if err != nil {
			return nil, 0, fmt.Errorf("fix of rule %s for record %s at %s cannot be applied: %w", f.Rule, f.Record, f.Pointer, err)
		}
		doc = next
	}
	out, err := document.Canonicalize(doc)
	return out, len(chosen), err
}

// compatible returns the findings with a fix that can go in together.
func compatible(findings []specdata.Finding) []specdata.Finding {
	var chosen []specdata.Finding
	var touched []string
	for _, f := range findings {
		if len(f.Fix) == 0 || f.Waived != "" {
			continue
		}
		if paths := touchedBy(f.Fix); !meet(touched, paths) {
			chosen, touched = append(chosen, f), append(touched, paths...)
		}
	}
	return chosen
}

// Mended is a file with fixes applied.
type Mended struct {
	Data []byte
	// Applied is how many findings are mended, 0 when nothing was.
	Applied int
	// Rewritten says that the file was written again, because a fix could not be made
	// in place; comments and the order of keys are then lost.
	Rewritten bool
}

// Mend applies the fixes of one file's findings to its text, in place where that is
// possible. The outcome reads as the fixed document; where no text does, the error
// says why and the file should be left as it is.
func Mend(file string, data []byte, findings []specdata.Finding) (Mended, error) {
	none := Mended{Data: data}
	doc, _ := document.Read(file, data)
	if doc == nil {
		return none, nil
	}
	want, n, err := ApplyFixes(doc.Canonical, findings)
	if err != nil || n == 0 {
		return none, err
	}
	text := data
	for _, f := range compatible(findings) {
		edits := TextEdits(file, text, f.Fix)
		if edits == nil {
			return rewrite(file, want, n)
		}
		text = ApplyEdits(text, edits)
	}
	if after, _ := document.Read(file, text); after == nil || !bytes.Equal(after.Canonical, want) {
		return rewrite(file, want, n)
	}
	return Mended{Data: text, Applied: n}, nil
}

func rewrite(file string, canonical []byte, n int) (Mended, error) {
	if path.Ext(file) != ".json" {
		text, err := document.Format(canonical)
		return Mended{text, n, true}, err
	}
	if _, findings := document.Read(file, canonical); len(findings) > 0 {
		return Mended{}, fmt.Errorf("fixed document is refused by %s: %s", findings[0].Rule, findings[0].Message)
	}
	var b bytes.Buffer
	err := json.Indent(&b, canonical, "", "  ")
	b.WriteByte('\n')
	return Mended{b.Bytes(), n, true}, err
}

// patch applies one JSON Patch (RFC 6902).
func patch(doc []byte, changes []specdata.Change) ([]byte, error) {
	b, err := json.Marshal(changes)
	if err != nil {
		return nil, err
	}
	p, err := jsonpatch.DecodePatch(b)
	if err != nil {
		return nil, err
	}
	o := jsonpatch.NewApplyOptions()
	o.SupportNegativeIndices = false // RFC 6901 counts from 0 and from the front
	return p.ApplyWithOptions(doc, o)
}

// touchedBy returns the pointers a fix changes. Adding and removing elements of a
// list moves the others about, so it touches the whole list.
func touchedBy(changes []specdata.Change) []string {
	var paths []string
	for _, c := range changes {
		p := c.Path
		if i := strings.LastIndexByte(p, '/'); i >= 0 && c.Op != "replace" && isIndex(p[i+1:]) {
			p = p[:i]
		}
		paths = append(paths, p)
	}
	return paths
}

func isIndex(token string) bool {
	return token == "-" || strings.Trim(token, "0123456789") == ""
}

func meet(as, bs []string) bool {
	for _, a := range as {
		for _, b := range bs {
			if strings.HasPrefix(a+"/", b+"/") || strings.HasPrefix(b+"/", a+"/") {
				return true
			}
		}
	}
	return false
}
