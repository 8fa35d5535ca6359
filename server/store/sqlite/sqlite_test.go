package sqlite

import (
	"path/filepath"
	"testing"

	"proofload/server/store"
	"proofload/server/store/storetest"
)

func TestContract(t *testing.T) {
	t.Parallel()
	storetest.Run(t, func(t *testing.T) store.Store { return openTest(t, filepath.Join(t.TempDir(), "test.db")) })
}

// The same with a tail so short that revisions move into the file all the time.
func TestContractShortTail(t *testing.T) {
	t.Parallel()
	storetest.Run(t, func(t *testing.T) store.Store {
		set := usual(Options{})
		set.tail = 3
		return openSettings(t, filepath.Join(t.TempDir(), "test.db"), set)
	})
}

func openTest(t testing.TB, path string) *Store {
	t.Helper()
	return openSettings(t, path, usual(Options{}))
}

func openSettings(t testing.TB, path string, set settings) *Store {
	t.Helper()
	s, err := open(t.Context(), path, set)
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
