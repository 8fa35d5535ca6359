package schema

import (
	"io"
	"testing"

	"proofload/specdata"
)

// The validator's own loader reads files and repeats them in errors.
func TestLoadServesOnlyTheEmbedded(t *testing.T) {
	for _, address := range []string{
		"file:///etc/hostname", "http://proofload.example/schema/fastener/v1.json", "https://proofload.example/other", "https://proofload.example/schema",
		base + "../schema.go", base + "fastener/../../go.mod", base + "fastener/v2.json", base + "", base + "/etc/hostname", "fastener/v1.json", "",
	} {
		if r, err := load(address); err == nil {
			b, _ := io.ReadAll(r)
			t.Errorf("load(%q) gives %d bytes", address, len(b))
		}
	}
	r, err := load(ID(specdata.KindFastener))
	if err != nil {
		t.Fatal(err)
	}
	if b, err := io.ReadAll(r); err != nil || string(b) != string(Raw(specdata.KindFastener)) {
		t.Errorf("load of the fastener schema: %v", err)
	}
}
