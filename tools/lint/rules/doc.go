// Package rules lists the rules. One folder below it is one rule: its
// declaration, its document, its cases.
package rules

//go:generate go test ./gen -count=1 -run TestRegistryIsFresh -update
