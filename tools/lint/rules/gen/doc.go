// Package gen writes and checks the list of rules. All of it is in its test: the
// function that checks rules.go also writes it, and must work while rules.go does
// not compile because a rule was renamed.
package gen
