package document_test

import (
	"bytes"
	"io/fs"
	"testing"
	"unicode/utf8"

	"proofload/specdata/demo"
	"proofload/specdata/document"
)

func seed(f *testing.F) {
	files, err := fs.Glob(demo.Files, "*/*.yaml")
	if err != nil {
		f.Fatal(err)
	}
	for i, name := range files {
		if i%20 != 0 {
			continue
		}
		data, err := fs.ReadFile(demo.Files, name)
		if err != nil {
			f.Fatal(err)
		}
		d, findings := document.Read(name, data)
		if d == nil {
			f.Fatal(findings)
		}
		f.Add(data)
		f.Add(d.Canonical)
	}
	for _, h := range hostile {
		if len(h.text) < 2000 {
			f.Add([]byte(h.text))
		}
	}
}

// Whatever comes: no panic, findings that a person can read, and what is taken is
// one record with one document.
func FuzzRead(f *testing.F) {
	seed(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		for _, file := range []string{"x.yaml", "x.json"} {
			d, findings := document.Read(file, data)
			if (d == nil) == (len(findings) == 0) {
				t.Fatalf("document %v with findings %v", d, findings)
			}
			for _, fd := range findings {
				if fd.Line < 1 || fd.Column < 1 || fd.Message == "" || !utf8.ValidString(fd.Message) || !utf8.ValidString(fd.Value) {
					t.Fatalf("finding %+v", fd)
				}
			}
			if d != nil {
				checkOneForm(t, d)
			}
		}
	})
}

// What the store's reader takes, the strict reader takes, with the same bytes.
func FuzzReadCanonical(f *testing.F) {
	seed(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		stored, err := document.ReadCanonical(data)
		d, findings := document.Read("x.json", data)
		if want := d != nil && bytes.Equal(d.Canonical, data); want != (err == nil) {
			t.Fatalf("ReadCanonical: %v; Read: %v", err, findings)
		}
		if err == nil && stored.Hash != d.Hash {
			t.Fatal("hashes differ")
		}
	})
}
