// Package schema holds the JSON Schemas of the record kinds (draft 2020-12) and
// applies them. Editors and other programs read the same files.
package schema

import (
	"embed"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"sync"

	"github.com/santhosh-tekuri/jsonschema/v5"

	"proofload/specdata"
)

//go:embed */v1.json
var files embed.FS

// What has a schema besides the kinds of record.
const (
	// Common names the shared definitions, which the others refer to as ../common/v1.json.
	Common specdata.Kind = "common"
	// Library names the form of proofload.yaml.
	Library specdata.Kind = "library"
)

// base is where the schemas say they are; nothing is ever fetched from there.
const base = "https://proofload.example/schema/"

// Raw returns the bytes of the schema of a kind, of Common or of Library, as they are
// in the repository; nil for a kind that does not exist.
func Raw(k specdata.Kind) []byte {
	b, err := files.ReadFile(string(k) + "/v1.json")
	if err != nil {
		return nil
	}
	return b
}

// ID returns the address that a schema calls itself by.
func ID(k specdata.Kind) string { return base + string(k) + "/v1.json" }

// Validate judges a document, in the form encoding/json decodes with UseNumber, by the
// schema of its kind. It returns what is wrong in order of place, nothing when the
// document is valid, and an error when there is no answer: a kind that does not
// exist, or a validator that failed.
//
// The document must have been bounded before (depth, size of number literals),
// because the validator computes with numbers exactly and has no limits of its own.
func Validate(k specdata.Kind, doc any) ([]Violation, error) {
	c, err := compiled()
	if err != nil {
		return nil, err
	}
	s, ok := c.schemas[k]
	if !ok {
		return nil, fmt.Errorf("kind %q does not exist; allowed: vehicle, fastener, assembly, procedure, source", k)
	}
	return c.violations(doc, guard(func() error { return s.Validate(doc) }))
}

// guard turns a panic of the validator into an error. One is known: numbers with
// exponents beyond a million.
func guard(validate func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("schema validator failed: %v", p)
		}
	}()
	return validate()
}

// set is every schema, compiled for judging and raw for explaining.
type set struct {
	schemas map[specdata.Kind]*jsonschema.Schema
	quick   rules
	// raw is the parsed text by address.
	raw map[string]any
}

var compiled = sync.OnceValues(compile)

func compile() (*set, error) {
	c := jsonschema.NewCompiler()
	c.Draft = jsonschema.Draft2020
	c.AssertFormat = true
	c.LoadURL = load
	s := &set{schemas: map[specdata.Kind]*jsonschema.Schema{}, quick: rules{}, raw: map[string]any{}}
	for _, k := range append([]specdata.Kind{Common, Library}, specdata.Kinds...) {
		var v any
		if err := json.Unmarshal(Raw(k), &v); err != nil {
			return nil, fmt.Errorf("schema of %s is not JSON: %w", k, err)
		}
		s.raw[ID(k)] = v
		if k == Common {
			continue
		}
		sch, err := c.Compile(ID(k))
		if err != nil {
			return nil, fmt.Errorf("schema of %s: %w", k, err)
		}
		s.schemas[k] = sch
		s.quick.add(k, sch)
	}
	return s, nil
}

// load serves the embedded schemas and nothing else: the validator's own loader
// reads any file that a reference names and repeats its content in the error.
func load(address string) (io.ReadCloser, error) {
	name, ok := strings.CutPrefix(address, base)
	if !ok {
		return nil, fmt.Errorf("schema address %q is outside the embedded schemas", address)
	}
	return files.Open(name)
}
