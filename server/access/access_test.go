package access

import "testing"

func TestLoopback(t *testing.T) {
	for address, allowed := range map[string]bool{
		"127.0.0.1:7450": true, "localhost:0": true, "[::1]:7450": true, "127.9.9.9:1": true, "[::ffff:127.0.0.1]:80": true,
		":7450": false, "0.0.0.0:7450": false, "[::]:7450": false, "192.0.2.7:7450": false, "workshop.example:7450": false,
		"127.0.0.1": false, "": false, "localhost.example:7450": false,
	} {
		if err := Loopback("--http", address); (err == nil) != allowed {
			t.Errorf("%q: got %v, want allowed %t", address, err, allowed)
		}
	}
}

func TestLocalHost(t *testing.T) {
	for header, local := range map[string]bool{
		"127.0.0.1:7450": true, "127.0.0.1": true, "localhost:7450": true, "LOCALHOST": true, "[::1]:7450": true, "[::1]": true,
		"evil.example": false, "evil.example:7450": false, "127.0.0.1.evil.example": false, "localhost.evil.example:7450": false,
		"": false, "0.0.0.0:7450": false, "192.0.2.7": false, ":7450": false, "127.0.0.1@evil.example": false, "[::1": false,
	} {
		if got := LocalHost(header); got != local {
			t.Errorf("%q: got %t, want %t", header, got, local)
		}
	}
}
