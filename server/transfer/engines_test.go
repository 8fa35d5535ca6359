package transfer_test

import (
	"os"
	"testing"

	"proofload/server/store"
	"proofload/server/store/postgres"
	"proofload/server/store/postgres/pgtest"
	"proofload/server/transfer"
)

func TestMain(m *testing.M) { os.Exit(pgtest.Main(m)) }

// A library moves from one engine to the other and back, and is the same to the last
// byte and hash.
func TestCopyBetweenEngines(t *testing.T) {
	there, err := postgres.Open(t.Context(), pgtest.Shared(t).Address(), postgres.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := there.Close(); err != nil {
			t.Error(err)
		}
	})
	from, back := openStore(t), openStore(t)
	lived(t, from, 40)
	for _, way := range [][2]store.Store{{from, there}, {there, back}} {
		if _, err := transfer.Copy(t.Context(), way[0], way[1]); err != nil {
			t.Fatal(err)
		}
		sameInAll(t, way[0], way[1])
	}
	sameInAll(t, from, back)
}
