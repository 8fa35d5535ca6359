//go:build !unix

package main

import "time"

// processorTime is not known here; the table then leaves it out.
func processorTime() time.Duration { return 0 }
