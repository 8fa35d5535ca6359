package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	cdx "github.com/CycloneDX/cyclonedx-go"
)

// What is committed is what go.mod says now, and names all that is compiled in.
func TestNoticesAreFresh(t *testing.T) {
	root, err := moduleRoot(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	files, err := generate(t.Context(), root)
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range files {
		have, err := os.ReadFile(filepath.Join(root, name))
		if err != nil || !bytes.Equal(have, want) {
			t.Errorf("%s is not what go.mod says (%v); run go run ./tools/notices", name, err)
		}
	}
	text := string(files[noticesFile])
	for _, want := range []string{"google.golang.org/grpc v", "github.com/santhosh-tekuri/jsonschema/v5 v", "(LICENSE-DejaVu)", "Bitstream Vera", "the Go standard library and runtime"} {
		if !strings.Contains(text, want) {
			t.Errorf("%s does not say %q", noticesFile, want)
		}
	}
	var bom cdx.BOM
	if err := cdx.NewBOMDecoder(bytes.NewReader(files[sbomFile]), cdx.BOMFileFormatJSON).Decode(&bom); err != nil {
		t.Fatal(err)
	}
	if bom.SpecVersion != cdx.SpecVersion1_5 || bom.Components == nil || len(*bom.Components) < 30 {
		t.Errorf("%s is thin: %+v", sbomFile, bom)
	}
	for _, c := range *bom.Components {
		if c.PackageURL == "" || c.Licenses == nil || len(*c.Licenses) == 0 {
			t.Errorf("component %s has no address or no licence", c.Name)
		}
	}
}

// A licence that nobody read is no licence that may be handed on.
func TestUnknownLicence(t *testing.T) {
	for content, want := range map[string]string{
		"Apache License\n  Version 2.0, January 2004": "Apache-2.0", "Permission is hereby granted, free of charge, to any": "MIT", "All rights reserved. Ask us.": "",
		"Redistribution and use in source and binary forms … Neither the name of X nor the names of its contributors": "BSD-3-Clause", "Redistribution and use in source and binary forms": "BSD-2-Clause",
	} {
		if got := licence(content); got != want {
			t.Errorf("%q is taken for %q, want %q", content, got, want)
		}
	}
	if _, err := licences(part{path: "example.com/x", texts: []text{{"LICENSE", "Ask us."}}}); err == nil || !strings.Contains(err.Error(), "example.com/x") {
		t.Errorf("an unknown licence: %v", err)
	}
	empty := t.TempDir()
	if _, err := textsOf(part{path: "example.com/x", folder: empty}); err == nil || !strings.Contains(err.Error(), "no licence") {
		t.Errorf("no licence: %v", err)
	}
}
