// Package access decides who may reach the server and what they may do. Without TLS
// that is this machine alone, and only under a name of this machine; reading is open
// there, and writing needs a token.
package access

import (
	"fmt"
	"net"
	"net/netip"
	"strings"
)

// Loopback checks that a listening address is on this machine only. Everyone who
// can reach an open address can read, and soon write, so any other is refused.
func Loopback(flag, address string) error {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return fmt.Errorf("%s %q is not host:port; write it like 127.0.0.1:7450", flag, address)
	}
	if Local(host) {
		return nil
	}
	shown := host
	if host == "" {
		shown = "every address of this machine"
	}
	return fmt.Errorf("%s %q listens on %s; without TLS and tokens only loopback is allowed; write 127.0.0.1:PORT or localhost:PORT, or give --tls-cert FILE and --tls-key FILE, and every request needs a token", flag, address, shown)
}

// Local reports whether a host name, without port, means this machine wherever it
// is looked up. A page on a hostile site can make its own name resolve to
// 127.0.0.1, but cannot make a browser say "localhost".
func Local(host string) bool {
	if strings.EqualFold(host, "localhost") {
		return true
	}
	ip, err := netip.ParseAddr(strings.TrimSuffix(strings.TrimPrefix(host, "["), "]"))
	return err == nil && ip.Unmap().IsLoopback()
}

// LocalHost reports whether the Host header of a request names this machine.
func LocalHost(header string) bool {
	host := header
	if i := strings.LastIndexByte(header, ':'); i >= 0 && !strings.HasSuffix(header, "]") {
		host = header[:i]
	}
	switch host {
	case "127.0.0.1", "localhost": // what nearly every request says
		return true
	}
	return Local(host)
}
