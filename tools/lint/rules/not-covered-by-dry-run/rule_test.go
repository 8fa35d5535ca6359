package notcoveredbydryrun

import (
	"testing"

	"proofload/tools/lint/ruletest"
)

func TestRule(t *testing.T) { ruletest.Run(t, Rule) }
