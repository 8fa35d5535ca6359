package doctor

import (
	"crypto/x509"
	"encoding/pem"
	"fmt"
	"os"
)

// ReadCertificates reads a file of certificates (PEM, RFC 7468). The error names the file.
func ReadCertificates(file string) ([]*x509.Certificate, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", file, cause(err))
	}
	var out []*x509.Certificate
	for {
		var block *pem.Block
		if block, text = pem.Decode(text); block == nil {
			break
		}
		if block.Type != "CERTIFICATE" {
			continue
		}
		c, err := x509.ParseCertificate(block.Bytes)
		if err != nil {
			return nil, fmt.Errorf("%s holds a certificate that cannot be read: %w", file, err)
		}
		out = append(out, c)
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("%s holds no certificate; it is PEM", file)
	}
	return out, nil
}
