// Notices writes what the programs owe to others: the licence texts of everything that
// is compiled into them, fonts included, and the list of it as a CycloneDX document.
//
//	go run ./tools/notices
//
// Both are committed, and a test compares them with what go.mod says now.
package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	cdx "github.com/CycloneDX/cyclonedx-go"
)

// The files that are written, from the root of the module.
const (
	noticesFile = "server/THIRD-PARTY.txt"
	sbomFile    = "server/sbom.cdx.json"
)

func main() {
	if err := run(context.Background()); err != nil {
		fmt.Fprintln(os.Stderr, "notices:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context) error {
	root, err := moduleRoot(ctx)
	if err != nil {
		return err
	}
	files, err := generate(ctx, root)
	if err != nil {
		return err
	}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(root, name), content, 0o644); err != nil {
			return err
		}
	}
	return nil
}

func moduleRoot(ctx context.Context) (string, error) {
	out, err := exec.CommandContext(ctx, "go", "env", "GOMOD").Output()
	if err != nil {
		return "", fmt.Errorf("go env GOMOD: %w", err)
	}
	return filepath.Dir(strings.TrimSpace(string(out))), nil
}

// part is something of others that is in our programs.
type part struct {
	path, version, folder string
	// direct says that a package of ours imports it.
	direct bool
	texts  []text
}

// text is a licence or a notice, as its owner wrote it.
type text struct{ file, content string }

// generate returns what is to be written, by file name.
func generate(ctx context.Context, root string) (map[string][]byte, error) {
	parts, err := parts(ctx, root)
	if err != nil {
		return nil, err
	}
	bom, err := bill(parts)
	if err != nil {
		return nil, err
	}
	return map[string][]byte{noticesFile: notices(parts), sbomFile: bom}, nil
}

// parts lists the modules that are compiled into the two programs, in order of path,
// and Go itself.
func parts(ctx context.Context, root string) ([]part, error) {
	cmd := exec.CommandContext(ctx, "go", "list", "-deps", "-json=Module,Standard,ImportPath", "./server", "./tools/proofload")
	cmd.Dir = root
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("go list: %w", err)
	}
	byPath := map[string]part{}
	for d := json.NewDecoder(bytes.NewReader(out)); d.More(); {
		var p struct {
			Module *struct {
				Path, Version, Dir string
				Main, Indirect     bool
			}
		}
		if err := d.Decode(&p); err != nil {
			return nil, err
		}
		if m := p.Module; m != nil && !m.Main {
			byPath[m.Path] = part{path: m.Path, version: m.Version, folder: m.Dir, direct: !m.Indirect}
		}
	}
	goroot, err := exec.CommandContext(ctx, "go", "env", "GOROOT").Output()
	if err != nil {
		return nil, err
	}
	byPath["std"] = part{path: "std", folder: strings.TrimSpace(string(goroot)), direct: true}
	var all []part
	for _, p := range byPath {
		if p.texts, err = textsOf(p); err != nil {
			return nil, err
		}
		all = append(all, p)
	}
	slices.SortFunc(all, func(a, b part) int { return strings.Compare(a.path, b.path) })
	return all, nil
}

var licenceName = regexp.MustCompile(`(?i)^(licen[cs]e|copying|notice|patents)([-._].*)?$`)

// textsOf reads the licences of a part. A part without one is an error: nobody gave us
// leave to hand it on.
func textsOf(p part) ([]text, error) {
	entries, err := os.ReadDir(p.folder)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", p.path, err)
	}
	var out []text
	for _, e := range entries {
		if e.IsDir() || !licenceName.MatchString(e.Name()) || strings.HasSuffix(e.Name(), ".go") {
			continue
		}
		b, err := os.ReadFile(filepath.Join(p.folder, e.Name()))
		if err != nil {
			return nil, err
		}
		out = append(out, text{e.Name(), strings.TrimSpace(strings.ReplaceAll(string(b), "\r\n", "\n"))})
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("%s %s has no licence in its folder; nobody may hand it on", p.path, p.version)
	}
	return out, nil
}

// licences returns the SPDX ids of a part's licences.
func licences(p part) ([]string, error) {
	var out []string
	for _, t := range p.texts {
		id := licence(t.content)
		name := strings.ToLower(t.file)
		if id == "" && (strings.HasPrefix(name, "notice") || strings.HasPrefix(name, "patents")) {
			continue
		}
		if id == "" {
			return nil, fmt.Errorf("%s: %s is a licence that is not known here; read it, and add it to tools/notices if it may be handed on", p.path, t.file)
		}
		if !slices.Contains(out, id) {
			out = append(out, id)
		}
	}
	return out, nil
}

// licence returns the SPDX id of a licence text, "" for one that is not known.
func licence(content string) string {
	flat := strings.Join(strings.Fields(content), " ")
	has := func(s string) bool { return strings.Contains(flat, s) }
	switch {
	case has("Apache License Version 2.0"):
		return "Apache-2.0"
	case has("Mozilla Public License") && (has("Version 2.0") || has("version 2.0")):
		return "MPL-2.0"
	case has("Bitstream Vera"):
		return "Bitstream-Vera"
	case has("Redistribution and use in source and binary forms"):
		if has("Neither the name") || has("names of its contributors") || has("name of the") && has("endorse or promote") {
			return "BSD-3-Clause"
		}
		return "BSD-2-Clause"
	case has("Permission is hereby granted, free of charge"):
		return "MIT"
	case has("Permission to use, copy, modify, and/or distribute this software") || has("Permission to use, copy, modify, and distribute this software"):
		return "ISC"
	case has("This is free and unencumbered software released into the public domain"):
		return "Unlicense"
	}
	return ""
}

// notices writes the texts, each once, with whom it is of.
func notices(parts []part) []byte {
	var b bytes.Buffer
	b.WriteString("The programs of this project hold work of others. What follows is what it is, and on which terms\nit is handed on. Written by go run ./tools/notices; do not edit.\n")
	of := map[string][]string{}
	var order []string
	for _, p := range parts {
		name := p.path
		if p.path == "std" {
			name = "the Go standard library and runtime"
		} else if p.version != "" {
			name += " " + p.version
		}
		for _, t := range p.texts {
			if of[t.content] == nil {
				order = append(order, t.content)
			}
			of[t.content] = append(of[t.content], name+" ("+t.file+")")
		}
	}
	for _, content := range order {
		b.WriteString("\n" + strings.Repeat("=", 100) + "\n")
		for _, name := range of[content] {
			b.WriteString(name + "\n")
		}
		b.WriteString(strings.Repeat("-", 100) + "\n" + content + "\n")
	}
	return b.Bytes()
}

// bill lists the parts as CycloneDX.
func bill(parts []part) ([]byte, error) {
	bom := cdx.NewBOM()
	bom.Metadata = &cdx.Metadata{Component: &cdx.Component{BOMRef: "proofload", Type: cdx.ComponentTypeApplication, Name: "proofload"}}
	var components []cdx.Component
	var direct []string
	for _, p := range parts {
		ids, err := licences(p)
		if err != nil {
			return nil, err
		}
		var choices cdx.Licenses
		for _, id := range ids {
			choices = append(choices, cdx.LicenseChoice{License: &cdx.License{ID: id}})
		}
		purl := "pkg:golang/" + p.path
		if p.version != "" {
			purl += "@" + p.version
		}
		components = append(components, cdx.Component{BOMRef: purl, Type: cdx.ComponentTypeLibrary, Name: p.path, Version: p.version, PackageURL: purl, Licenses: &choices})
		if p.direct {
			direct = append(direct, purl)
		}
	}
	bom.Components = &components
	bom.Dependencies = &[]cdx.Dependency{{Ref: "proofload", Dependencies: &direct}}
	var out bytes.Buffer
	e := cdx.NewBOMEncoder(&out, cdx.BOMFileFormatJSON).SetPretty(true)
	if err := e.EncodeVersion(bom, cdx.SpecVersion1_5); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}
