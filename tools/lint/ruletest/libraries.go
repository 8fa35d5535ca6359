package ruletest

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"proofload/specdata/library"
)

// Case is the library of one case of some rule, for tests over all rules.
type Case struct {
	// File is the case's file, as it was found.
	File    string
	Library *library.Memory
}

// Cases reads the cases that a file pattern finds and returns the library of each,
// in order of file. Cases that cannot be read are an error.
func Cases(pattern string) ([]Case, error) {
	files, err := filepath.Glob(pattern)
	if err != nil {
		return nil, err
	}
	var cases []Case
	for _, file := range files { // Glob sorts
		data, err := os.ReadFile(file)
		if err != nil {
			return nil, err
		}
		c, problems := parseCase(filepath.Base(file), data)
		if len(problems) > 0 {
			return nil, fmt.Errorf("case %s cannot be read: %s", file, strings.Join(problems, "; "))
		}
		lib, err := c.library(c.records)
		if err != nil {
			return nil, fmt.Errorf("case %s: %w", file, err)
		}
		cases = append(cases, Case{file, lib})
	}
	return cases, nil
}
