package main

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"os"
	"sync/atomic"
)

// certificates are what the server shows of itself, read again when it is told to.
type certificates struct {
	certFile, keyFile string
	now               atomic.Pointer[tls.Certificate]
}

// load reads the files. Where they are of no use, what was read before stays.
func (c *certificates) load() error {
	pair, err := tls.LoadX509KeyPair(c.certFile, c.keyFile)
	if err != nil {
		return fmt.Errorf("--tls-cert %s with --tls-key %s cannot be used: %w", c.certFile, c.keyFile, err)
	}
	c.now.Store(&pair)
	return nil
}

// encryption returns the TLS configuration and the certificates in it, nil where
// there is none.
func (c config) encryption() (*tls.Config, *certificates, error) {
	if c.tlsCert == "" {
		return nil, nil, nil
	}
	certs := &certificates{certFile: c.tlsCert, keyFile: c.tlsKey}
	if err := certs.load(); err != nil {
		return nil, nil, err
	}
	out := &tls.Config{
		GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) { return certs.now.Load(), nil },
		MinVersion:     tls.VersionTLS12,
	}
	if c.clientCA != "" {
		pem, err := os.ReadFile(c.clientCA)
		if err != nil {
			return nil, nil, fmt.Errorf("--client-ca %s cannot be read: %w", c.clientCA, withoutPath(err))
		}
		out.ClientCAs = x509.NewCertPool()
		if !out.ClientCAs.AppendCertsFromPEM(pem) {
			return nil, nil, fmt.Errorf("--client-ca %s holds no certificate; it is PEM", c.clientCA)
		}
		out.ClientAuth = tls.RequireAndVerifyClientCert
	}
	return out, certs, nil
}
