// Command newrule writes the folder of a new rule, whose cases pass as they are:
//
//	go run ./tools/lint/newrule [-kind procedure] bolt-too-long
//
// What it writes is a rule that reports a note with the word "example";
// replace that by what the rule is about. DEVELOPERS.md goes through one.
package main

import (
	"embed"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/template"

	"proofload/tools/lint"
	"proofload/tools/lint/rules"
)

//go:embed template
var files embed.FS

// Edition is the edition that new rules are part of: a rule's Edition is the first
// edition that has it, and every release of the rules is a new one.
const edition = "2026-12"

func main() {
	if err := run(os.Args[1:], os.Stdout); err != nil {
		if !errors.Is(err, flag.ErrHelp) {
			fmt.Fprintln(os.Stderr, "newrule:", err)
		}
		os.Exit(2)
	}
}

func run(args []string, out io.Writer) error {
	flags := flag.NewFlagSet("newrule", flag.ContinueOnError)
	flags.SetOutput(out)
	kind := flags.String("kind", "fastener", "what the rule looks at: fastener or procedure")
	flags.Usage = func() {
		fmt.Fprintln(out, "Usage: go run ./tools/lint/newrule [-kind fastener|procedure] NAME\nNAME says what is wrong, in words joined by hyphens: bolt-too-long")
		flags.PrintDefaults()
	}
	if err := flags.Parse(args); err != nil {
		return err
	}
	if flags.NArg() != 1 {
		return fmt.Errorf("one name is needed, found %d arguments; write it like bolt-too-long", flags.NArg())
	}
	folder := filepath.Join("tools", "lint", "rules")
	if _, err := os.Stat(folder); err != nil {
		return fmt.Errorf("folder %s is not here; run newrule in the root of the repository", folder)
	}
	made, err := write(folder, flags.Arg(0), *kind)
	if err != nil {
		return err
	}
	for _, f := range made {
		fmt.Fprintln(out, "wrote", f)
	}
	fmt.Fprintf(out, "\nNow:\n  go generate ./tools/lint/rules\n  go test ./tools/lint/rules -run Cases/%[1]s\nThen make it yours: the title, the check, doc.md, the citation, the cases.\n", flags.Arg(0))
	return nil
}

// write writes the folder of a rule and returns the files.
func write(folder, name, kind string) ([]string, error) {
	if kind != "fastener" && kind != "procedure" {
		return nil, fmt.Errorf("kind %q; allowed: fastener, procedure", kind)
	}
	if err := lint.CheckName(name); err != nil {
		return nil, err
	}
	if slices.ContainsFunc(rules.All, func(r *lint.Rule) bool { return r.Name == name }) {
		return nil, fmt.Errorf("rule %s exists; choose another name", name)
	}
	dir := filepath.Join(folder, name)
	if _, err := os.Stat(dir); err == nil {
		return nil, fmt.Errorf("folder %s exists; choose another name, or take the folder away", dir)
	}
	values := map[string]string{
		"Name": name, "Package": strings.ReplaceAll(name, "-", ""), "Words": strings.ReplaceAll(name, "-", " "),
		"Edition": edition, "Kind": kind, "KindName": strings.ToUpper(kind[:1]) + kind[1:],
	}
	var made []string
	err := fs.WalkDir(files, "template", func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		if other := strings.Contains(p, "/procedure/") || strings.Contains(p, "/fastener/"); other && !strings.Contains(p, "/"+kind+"/") {
			return nil
		}
		data, err := files.ReadFile(p)
		if err != nil {
			return err
		}
		t, err := template.New(p).Parse(string(data))
		if err != nil {
			return err
		}
		to := strings.TrimSuffix(strings.TrimPrefix(p, "template/"), ".tmpl")
		to = filepath.Join(dir, strings.TrimPrefix(to, kind+"/"))
		if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
			return err
		}
		f, err := os.Create(to)
		if err != nil {
			return err
		}
		made = append(made, to)
		return errors.Join(t.Execute(f, values), f.Close())
	})
	return made, err
}
