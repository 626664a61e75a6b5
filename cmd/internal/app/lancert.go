package app

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"oldhand/events/wholefile"
	"oldhand/sync/exchange"
)

const (
	lanCertFile = "lan.pem"

	// certLife is shorter than the longest that telephones take (825 days is
	// Apple's limit for certificates that a person trusts).
	certLife = 800 * 24 * time.Hour

	// certLeft is how much of it must be left, or another is made at the start.
	certLeft = 30 * 24 * time.Hour
)

// Certificate is what the page shows other devices to be known by. It signs
// itself; it is made once and kept, and made anew, of the same key, when it does
// not fit the address and the names any more or is nearly over.
func (l *Lan) Certificate(host string, names []string) (tls.Certificate, error) {
	path := filepath.Join(l.dir, "keys", lanCertFile)
	old, err := os.ReadFile(path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return tls.Certificate{}, err
	}
	if err == nil {
		c, err := tls.X509KeyPair(old, old)
		if err != nil {
			return c, fmt.Errorf("read the certificate in %s: %w", path, err)
		}
		if fits(c.Leaf, host, names, l.now()) {
			return c, nil
		}
		key, ok := c.PrivateKey.(*ecdsa.PrivateKey)
		if !ok {
			return c, fmt.Errorf("the key in %s is of another sort than this program makes", path)
		}
		return l.newCertificate(path, key, host, names)
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return tls.Certificate{}, err
	}
	return l.newCertificate(path, key, host, names)
}

func fits(c *x509.Certificate, host string, names []string, now time.Time) bool {
	ip := net.ParseIP(host)
	return now.After(c.NotBefore) && now.Add(certLeft).Before(c.NotAfter) && slices.Equal(c.DNSNames, names) &&
		len(c.IPAddresses) == 1 && c.IPAddresses[0].Equal(ip)
}

func (l *Lan) newCertificate(path string, key *ecdsa.PrivateKey, host string, names []string) (c tls.Certificate, err error) {
	begins := l.now().Add(-24 * time.Hour) // a telephone's clock may be behind
	about := &x509.Certificate{
		Subject:   pkix.Name{CommonName: "oldhand page"},
		NotBefore: begins, NotAfter: begins.Add(certLife),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, BasicConstraintsValid: true,
		IPAddresses: []net.IP{net.ParseIP(host)}, DNSNames: names,
	}
	b, err := exchange.SelfSigned(key, about)
	if err != nil {
		return c, err
	}
	if err := wholefile.Write(path, b); err != nil {
		return c, err
	}
	return tls.X509KeyPair(b, b)
}

// Fingerprint is what a browser shows of a certificate, to be compared: SHA-256 of
// all of it, in pairs.
func Fingerprint(c tls.Certificate) string { return fingerprint(c.Certificate[0]) }

func fingerprint(der []byte) string {
	sum := sha256.Sum256(der)
	pairs := make([]string, len(sum))
	for i, b := range sum {
		pairs[i] = fmt.Sprintf("%02X", b)
	}
	return strings.Join(pairs, ":")
}
