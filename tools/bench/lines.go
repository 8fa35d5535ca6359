package main

import "context"

// line is one thing that is measured.
type line struct {
	name, what string
	// unit of the values: "/s" for rates, which are the better the higher, or one of a
	// time or a size.
	unit string
	// atLeast is the goal of a line with a ceiling: ours to the ceiling, rates or, where
	// a time is compared, the ceiling's to ours. atMost is the goal of one without.
	atLeast, atMost float64
	// system is the operating system without which it cannot be measured, "" for any.
	system  string
	measure func(context.Context, *world) (measured, error)
}

// measured is what a line's measurement gives: the values of its rounds, and what one
// operation cost in processor time. A line without a ceiling has the first only.
type measured struct {
	ours, ceiling         []float64
	oursCost, ceilingCost []float64
	// note says what else the reader should know, "" for nothing.
	note string
}

// lines are all that is measured. Those that need the service in this process come
// before those that run it in another.
var lines = []line{
	{name: "grpc-hot", what: "record read over gRPC, cached, 64 callers; ceiling: echo of the same bytes", unit: "/s", atLeast: 0.95, measure: grpcHot},
	{name: "rest-hot", what: "record read over REST, cached, 32 connections; ceiling: static handler, same bytes and ETag", unit: "/s", atLeast: 0.95, measure: restHot},
	{name: "rest-304", what: "record read over REST that has not changed (304); ceiling: the same static handler", unit: "/s", atLeast: 1, measure: rest304},
	{name: "slow-clients", what: "record read over REST, 99th of 100, beside 1,000 clients of a byte a second", unit: "ms", atMost: 100, measure: slow},
	{name: "cold", what: "record read over gRPC beyond the caches; ceiling: prepared SELECT and echo", unit: "/s", atLeast: 0.6, measure: cold},
	{name: "search", what: "search for two words of a title, median", unit: "ms", atMost: 1, measure: search},
	{name: "lint-stored", what: "full lint of stored documents, schema, rules and references; ceiling: encoding/json into the same structs", unit: "records/s", atLeast: 1.0 / 3, measure: lintStored},
	{name: "lint-yaml", what: "full lint of a folder of YAML; ceiling: the same YAML to nodes", unit: "records/s", atLeast: 1 / 1.5, measure: lintYAML},
	{name: "relint", what: "lint after one edit of a fastener in a library in memory", unit: "ms", atMost: 50, measure: relint},
	{name: "import", what: "import in one publication until durable, unchecked; ceiling: raw insert of the same bytes, as many transactions", unit: "records/s", atLeast: 0.5, measure: importWhole},
	{name: "import-parts", what: "the same in publications of 2500 records, most of its index included", unit: "records/s", atLeast: 0.5, measure: importParts},
	{name: "import-checked", what: "import in one publication, read and checked by every rule first", unit: "records/s", atLeast: 0.5, measure: importChecked},
	{name: "publish-1", what: "durable publications by one writer; ceiling: raw commits, synchronous=FULL", unit: "/s", atLeast: 0.8, measure: publishOne},
	{name: "publish-64", what: "durable publications by 64 writers; against one writer", unit: "/s", atLeast: 10, measure: publishMany},
	{name: "dry-run", what: "dry run of a procedure of 40 steps", unit: "µs", atMost: 100, measure: dryRun},
	{name: "dry-run-linear", what: "steps of a procedure of 400 steps; against one of 40 (linear is 1)", unit: "steps/s", atLeast: 0.8, measure: dryRunLinear},
	{name: "start", what: "start of the service until its first answer, process included", unit: "ms", atMost: 1000, measure: start},
	{name: "memory", what: "resident memory of the service after steady cold reads", unit: "MiB", atMost: 512, system: "linux", measure: memory},
}
