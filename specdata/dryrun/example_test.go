package dryrun_test

import (
	"fmt"
	"log"

	"proofload/specdata/demo"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
)

// A procedure whose last step is lost leaves something open, and the ledger says
// what and since when.
func ExampleRun() {
	l, err := demo.Library()
	if err != nil {
		log.Fatal(err)
	}
	p := *library.Procedure(l, "quill-1-rear-hub-bearing")
	r := dryrun.Run(l, &p)
	fmt.Println(p.Title+":", len(r.Problems()), "problems")

	p.Steps = p.Steps[:len(p.Steps)/2]
	half := dryrun.Run(l, &p)
	fmt.Println("half of it leaves things open:", len(half.Problems()) > 0)
	// Output:
	// Rear hub bearing, one side: 0 problems
	// half of it leaves things open: true
}
