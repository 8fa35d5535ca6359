package narration

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"

	"proofload/specdata"
)

// Text writes the findings for people, one a line, with the times at which to look.
func Text(w io.Writer, file string, c *Checked) error {
	var b strings.Builder
	for _, f := range c.Findings {
		fmt.Fprintf(&b, "%s:%d: %s-%s: %s: %s [%s]\n", file, f.Line, Clock(f.Start), Clock(f.End), f.Severity, f.Message, f.Kind)
		if f.Said != "" {
			fmt.Fprintf(&b, "    said: %s\n", f.Said)
		}
		if f.Step != "" {
			fmt.Fprintf(&b, "    step: %s\n", f.Step)
		}
	}
	fmt.Fprintf(&b, "%d findings; %d steps and %d values heard\n", len(c.Findings), len(c.Steps), len(c.Values))
	_, err := io.WriteString(w, b.String())
	return err
}

type jsonFinding struct {
	Kind     string            `json:"kind"`
	Severity specdata.Severity `json:"severity"`
	Start    float64           `json:"start_seconds"`
	End      float64           `json:"end_seconds"`
	Line     int               `json:"line"`
	Said     string            `json:"said,omitempty"`
	Record   specdata.Name     `json:"record"`
	Step     string            `json:"step,omitempty"`
	Message  string            `json:"message"`
}

type jsonValue struct {
	Fastener specdata.Name `json:"fastener"`
	Stage    int           `json:"stage"`
	Start    float64       `json:"start_seconds"`
	End      float64       `json:"end_seconds"`
	Said     string        `json:"said"`
}

func seconds(v float64) float64 { return math.Round(v*1000) / 1000 }

// JSON writes findings and the values heard.
func JSON(w io.Writer, file string, p *specdata.Procedure, c *Checked) error {
	out := struct {
		File      string        `json:"file"`
		Procedure specdata.Name `json:"procedure"`
		Findings  []jsonFinding `json:"findings"`
		Values    []jsonValue   `json:"values"`
	}{file, p.Name(), []jsonFinding{}, []jsonValue{}}
	for _, f := range c.Findings {
		out.Findings = append(out.Findings, jsonFinding{f.Kind, f.Severity, seconds(f.Start), seconds(f.End), f.Line, f.Said, f.Record, f.Step, f.Message})
	}
	for _, v := range c.Values {
		out.Values = append(out.Values, jsonValue{v.Fastener, v.Stage, seconds(v.Start), seconds(v.End), v.Said})
	}
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return e.Encode(out)
}

// SARIF writes the findings as a log of the Static Analysis Results Interchange Format,
// version 2.1.0 (OASIS), with the times as properties of each result.
func SARIF(w io.Writer, file string, c *Checked) error {
	type object = map[string]any
	levels := map[specdata.Severity]string{specdata.Error: "error", specdata.Warning: "warning", specdata.Advice: "note"}
	results, rules, index := []object{}, []object{}, map[string]int{}
	for _, f := range c.Findings {
		id := "narration-" + f.Kind
		if _, known := index[id]; !known {
			index[id] = len(rules)
			rules = append(rules, object{"id": id})
		}
		results = append(results, object{
			"ruleId": id, "ruleIndex": index[id], "level": levels[f.Severity], "message": object{"text": f.Message},
			"locations":  []object{{"physicalLocation": object{"artifactLocation": object{"uri": file}, "region": object{"startLine": max(f.Line, 1)}}}},
			"properties": object{"startSeconds": seconds(f.Start), "endSeconds": seconds(f.End), "said": f.Said, "record": f.Record, "step": f.Step},
		})
	}
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return e.Encode(object{
		"$schema": "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json", "version": "2.1.0",
		"runs": []object{{"tool": object{"driver": object{"name": "proofload", "rules": rules}}, "results": results}},
	})
}
