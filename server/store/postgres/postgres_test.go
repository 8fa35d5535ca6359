package postgres

import (
	"flag"
	"fmt"
	"os"
	"testing"

	"proofload/server/store"
	"proofload/server/store/postgres/pgtest"
	"proofload/server/store/storetest"
)

// The figures of a usual run are small; make faults and make soak give larger ones.
var (
	stride = flag.Int64("stride", 7, "try every so manieth statement for a failure")
	cycles = flag.Int("cycles", 4, "times to stop a database, or to kill a process that publishes")
)

func TestMain(m *testing.M) {
	if address := os.Getenv(childVariable); address != "" {
		if err := publishUntilKilled(address); err != nil {
			fmt.Println("failed:", err)
		}
		return
	}
	flag.Parse()
	if !given("rapid.checks") {
		flag.Set("rapid.checks", "15")
	}
	os.Exit(pgtest.Main(m))
}

func given(name string) (found bool) {
	flag.Visit(func(f *flag.Flag) { found = found || f.Name == name })
	return found
}

func TestContract(t *testing.T) {
	t.Parallel()
	server := pgtest.Shared(t)
	storetest.Run(t, func(t *testing.T) store.Store { return openTest(t, server.Address()) })
}

func openTest(t testing.TB, address string) *Store {
	t.Helper()
	return openSettings(t, address, usual(Options{}))
}

func openSettings(t testing.TB, address string, set settings) *Store {
	t.Helper()
	s, err := open(t.Context(), address, set)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
	})
	return s
}
