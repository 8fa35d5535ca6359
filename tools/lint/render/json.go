package render

import (
	"encoding/json"
	"io"

	"proofload/specdata"
)

// report is the form that report.schema.json, beside this file, describes.
type report struct {
	Tool       tool                  `json:"tool"`
	Edition    string                `json:"edition"`
	Findings   []specdata.Finding    `json:"findings"`
	NotChecked []specdata.NotChecked `json:"not_checked"`
	Counts     Counts                `json:"counts"`
}

type tool struct {
	Name    string `json:"name"`
	Version string `json:"version"`
}

// JSON writes the run as one JSON object in the form of report.schema.json, indented,
// with a newline at the end. Findings that a baseline holds are counted, not listed.
func JSON(w io.Writer, r *Run) error {
	return encode(w, report{
		Tool: tool{Tool, r.Version}, Edition: r.Edition(),
		Findings: list(r.Report.Findings), NotChecked: list(r.Report.NotChecked), Counts: r.Counts(),
	})
}

func encode(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	return enc.Encode(v)
}

// list makes an absent list an empty one, because readers loop over it.
func list[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}
