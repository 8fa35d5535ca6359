// Package demo holds the demo library: invented vehicles, fasteners, assemblies,
// procedures and sources, physically plausible and true of nothing.
package demo

import (
	"embed"
	"fmt"
	"io/fs"

	"proofload/specdata/library"
)

// Notice belongs beside every answer that comes from this library.
const Notice = "demo data: every make, model, value, document and person here is invented. " +
	"Do not use it on any vehicle. Work on a real vehicle follows the vehicle maker's own information, " +
	"local codes and licensed practice."

// Files is the library as a folder, laid out as library.ReadFolder reads it.
//
//go:embed proofload.yaml vehicles/*.yaml fasteners/*.yaml assemblies/*.yaml procedures/*.yaml sources/*.yaml
var Files embed.FS

// Library reads the embedded library. The error names the first document that
// cannot be read; the package's tests hold it to nil.
func Library() (*library.Memory, error) {
	m, findings, err := library.ReadFolder(fs.FS(Files), "demo")
	if err != nil {
		return nil, fmt.Errorf("demo library: %w", err)
	}
	if len(findings) > 0 {
		f := findings[0]
		return nil, fmt.Errorf("demo library: %s:%d: %s (%d findings in all)", f.File, f.Line, f.Message, len(findings))
	}
	return m, nil
}
