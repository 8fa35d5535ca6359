package document_test

import (
	"encoding/json"
	"io/fs"
	"testing"

	"go.yaml.in/yaml/v4"

	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/document"
)

type sample struct {
	file            string
	yaml, canonical []byte
	kind            specdata.Kind
}

// samples are the fasteners of the demo library: the kind that libraries are full of.
func samples(b testing.TB) []sample {
	var out []sample
	for _, pattern := range []string{"fasteners/*.yaml"} {
		files, err := fs.Glob(demo.Files, pattern)
		if err != nil {
			b.Fatal(err)
		}
		for _, f := range files {
			data, err := fs.ReadFile(demo.Files, f)
			if err != nil {
				b.Fatal(err)
			}
			d, findings := document.Read(f, data)
			if len(findings) > 0 {
				b.Fatalf("%s: %v", f, findings)
			}
			out = append(out, sample{f, data, d.Canonical, d.Record.Header().Kind})
		}
	}
	return out
}

func each(b *testing.B, do func(s sample)) {
	ss := samples(b)
	n := 0
	for _, s := range ss {
		n += len(s.canonical)
	}
	b.SetBytes(int64(n / len(ss)))
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		do(ss[i%len(ss)])
		i++
	}
}

func BenchmarkRead(b *testing.B) {
	each(b, func(s sample) {
		if _, findings := document.Read(s.file, s.yaml); findings != nil {
			b.Fatal(findings)
		}
	})
}

// The ceiling of BenchmarkRead: parsing to nodes and nothing else.
func BenchmarkReadCeilingYAMLNodes(b *testing.B) {
	each(b, func(s sample) {
		var n yaml.Node
		if err := yaml.Unmarshal(s.yaml, &n); err != nil {
			b.Fatal(err)
		}
	})
}

func BenchmarkReadCanonical(b *testing.B) {
	each(b, func(s sample) {
		if _, err := document.ReadCanonical(s.canonical); err != nil {
			b.Fatal(err)
		}
	})
}

// The ceiling of BenchmarkReadCanonical: decoding the same bytes into the same
// structs with encoding/json.
func BenchmarkReadCanonicalCeilingEncodingJSON(b *testing.B) {
	each(b, func(s sample) {
		if err := json.Unmarshal(s.canonical, specdata.New(s.kind)); err != nil {
			b.Fatal(err)
		}
	})
}
