package doctor_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"proofload/server/doctor"
	"proofload/server/notary"
	"proofload/server/store/address"
)

var now = time.Date(2026, time.December, 1, 8, 0, 0, 0, time.UTC)

// keep writes a certificate that holds for a time, and its key.
func keep(t *testing.T, from, to time.Time) (cert, key string) {
	t.Helper()
	k, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	c := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "torque.example"}, NotBefore: from, NotAfter: to}
	der, err := x509.CreateCertificate(rand.Reader, c, c, &k.PublicKey, k)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := x509.MarshalPKCS8PrivateKey(k)
	if err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	cert, key = filepath.Join(folder, "cert.pem"), filepath.Join(folder, "key.pem")
	for file, block := range map[string]*pem.Block{cert: {Type: "CERTIFICATE", Bytes: der}, key: {Type: "PRIVATE KEY", Bytes: secret}} {
		if err := os.WriteFile(file, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return cert, key
}

func store(t *testing.T, s string) address.Address {
	t.Helper()
	a, err := address.Parse(s)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// keyed makes a library whose signing key is in a file of its own.
func keyed(t *testing.T, folder, name string) address.Address {
	t.Helper()
	a := store(t, "sqlite:"+filepath.Join(folder, name+".db"))
	s, err := a.Open(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := notary.Open(t.Context(), s, notary.Options{KeyFile: filepath.Join(folder, name+".key")}, now); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return a
}

// Each thing that is wrong is found, and nothing is where nothing is.
func TestLook(t *testing.T) {
	folder := t.TempDir()
	there := "sqlite:" + filepath.Join(folder, "there.db")
	opened, err := store(t, there).Open(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if err := opened.Close(); err != nil {
		t.Fatal(err)
	}
	torn := filepath.Join(folder, "torn.db")
	secret := filepath.Join(folder, "ledger.key")
	for file, mode := range map[string]os.FileMode{torn: 0o600, secret: 0o644} {
		if err := os.WriteFile(file, []byte("no database"), mode); err != nil {
			t.Fatal(err)
		}
	}
	ours, theirs, own := keyed(t, folder, "ours"), keyed(t, folder, "theirs"), filepath.Join(folder, "rubbish.key")
	if err := os.WriteFile(own, []byte("no key"), 0o600); err != nil {
		t.Fatal(err)
	}
	good, goodKey := keep(t, now.AddDate(-1, 0, 0), now.AddDate(1, 0, 0))
	soon, soonKey := keep(t, now.AddDate(-1, 0, 0), now.AddDate(0, 0, 5))
	over, overKey := keep(t, now.AddDate(-1, 0, 0), now.AddDate(0, 0, -1))
	later, laterKey := keep(t, now.AddDate(0, 0, 1), now.AddDate(1, 0, 0))
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	for name, c := range map[string]struct {
		set   doctor.Settings
		state doctor.State
		says  string
	}{
		"all well":            {doctor.Settings{Store: store(t, there), TLSCert: good, TLSKey: goodKey, ClientCA: good, Listen: map[string]string{"--http": "127.0.0.1:0"}}, doctor.Good, "position 0"},
		"would be made":       {doctor.Settings{Store: store(t, "sqlite:"+filepath.Join(folder, "new", "x.db")), Create: true}, doctor.Good, "would be made"},
		"not there":           {doctor.Settings{Store: store(t, "sqlite:"+filepath.Join(folder, "x.db"))}, doctor.Bad, "--create"},
		"no database":         {doctor.Settings{Store: store(t, "sqlite:"+torn)}, doctor.Bad, "cannot be opened"},
		"database away":       {doctor.Settings{Store: store(t, "postgres://nobody@127.0.0.1:1/nothing")}, doctor.Bad, "cannot be opened"},
		"key others read":     {doctor.Settings{Store: store(t, there), Key: secret}, doctor.Bad, "chmod 600"},
		"no key":              {doctor.Settings{Store: store(t, there), Key: filepath.Join(folder, "none")}, doctor.Warned, "is not there"},
		"its own key":         {doctor.Settings{Store: ours, Key: filepath.Join(folder, "ours.key")}, doctor.Good, "only its owner"},
		"key not named":       {doctor.Settings{Store: ours}, doctor.Bad, "name its file with --key"},
		"key gone":            {doctor.Settings{Store: ours, Key: filepath.Join(folder, "none")}, doctor.Bad, "nothing can be signed"},
		"no key in it":        {doctor.Settings{Store: ours, Key: own}, doctor.Bad, "it holds no Ed25519 key"},
		"another library's":   {doctor.Settings{Store: theirs, Key: filepath.Join(folder, "ours.key")}, doctor.Bad, "of another library"},
		"key before library":  {doctor.Settings{Store: store(t, there), Key: filepath.Join(folder, "ours.key")}, doctor.Bad, "makes a key of its own"},
		"certificate ends":    {doctor.Settings{Store: store(t, there), TLSCert: soon, TLSKey: soonKey}, doctor.Warned, "2026-12-06"},
		"certificate ended":   {doctor.Settings{Store: store(t, there), TLSCert: over, TLSKey: overKey}, doctor.Bad, "ended on 2026-11-30"},
		"certificate to come": {doctor.Settings{Store: store(t, there), TLSCert: later, TLSKey: laterKey}, doctor.Bad, "look at the clock"},
		"another's key":       {doctor.Settings{Store: store(t, there), TLSCert: good, TLSKey: soonKey}, doctor.Bad, "cannot be used"},
		"no certificates":     {doctor.Settings{Store: store(t, there), ClientCA: torn}, doctor.Bad, "holds no certificate"},
		"port taken":          {doctor.Settings{Store: store(t, there), Listen: map[string]string{"--grpc": taken.Addr().String()}}, doctor.Bad, "is in use"},
		"clock":               {doctor.Settings{Store: store(t, there), Now: time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC)}, doctor.Bad, "cannot be"},
	} {
		if c.set.Now.IsZero() {
			c.set.Now = now
		}
		found := doctor.Look(t.Context(), c.set)
		said := ""
		for _, f := range found {
			if f.State == doctor.Worst(found) {
				said += f.Check + " " + f.Text + "\n"
			}
		}
		if doctor.Worst(found) != c.state || !strings.Contains(said, c.says) {
			t.Errorf("%s: %v, want %s that says %q", name, found, c.state, c.says)
		}
	}
	// A store that others may read is said, as it holds what opens the server.
	if err := os.Chmod(filepath.Join(folder, "there.db"), 0o644); err != nil {
		t.Fatal(err)
	}
	if f := doctor.Look(t.Context(), doctor.Settings{Store: store(t, there), Now: now}); doctor.Worst(f) != doctor.Warned {
		t.Errorf("a store that others read: %v", f)
	}
}
