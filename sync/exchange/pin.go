package exchange

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"math/big"
	"os"
	"path/filepath"
	"time"

	"oldhand/events/wholefile"
)

// Pin knows an exchange by its key: the SHA-256 of the certificate's public
// key with its algorithm (RFC 7469, section 2.4), whatever else the
// certificate says. It is carried in a join code.
type Pin [sha256.Size]byte

func (p Pin) String() string { return base32Low.EncodeToString(p[:]) }

// ParsePin reads a pin as String writes it.
func ParsePin(s string) (p Pin, err error) {
	b, err := base32Low.DecodeString(s)
	if err != nil {
		return p, fmt.Errorf("pin %q: %w", s, err)
	}
	if len(b) != len(p) {
		return p, fmt.Errorf("pin %q: %d bytes, want %d", s, len(b), len(p))
	}
	if base32Low.EncodeToString(b) != s { // the decoder passes over ends of lines and the last letter's spare bits
		return p, fmt.Errorf("pin %q: not spelt as a pin is", s)
	}
	return Pin(b), nil
}

func pinOf(c *x509.Certificate) Pin { return sha256.Sum256(c.RawSubjectPublicKeyInfo) }

// leastStart is how many bytes of a pin are enough to know a key by: as many as
// nobody finds a second key for.
const leastStart = 16

// pinned is how a client speaks to exchanges with one of the pins. Names and
// dates in the certificate are not looked at: a shop's laptops have no fixed
// names, and their clocks may be years off.
func pinned(pins []Pin, start []byte) *tls.Config {
	return &tls.Config{
		MinVersion:         tls.VersionTLS13,
		InsecureSkipVerify: true, // the chain; VerifyConnection compares the key instead, and TLS proves it is held
		VerifyConnection: func(s tls.ConnectionState) error {
			if len(s.PeerCertificates) == 0 {
				return fmt.Errorf("%w: it shows no certificate", ErrWrongPin)
			}
			got := pinOf(s.PeerCertificates[0])
			for _, p := range pins {
				if p == got {
					return nil
				}
			}
			if len(start) >= leastStart && bytes.HasPrefix(got[:], start) {
				return nil
			}
			return fmt.Errorf("%w: its key is %s", ErrWrongPin, got)
		},
	}
}

const (
	certificateFile = "certificate.pem"
	certificateKey  = "PRIVATE KEY"
	certificateCert = "CERTIFICATE"
)

// certificate reads the host's certificate and key from its folder, or makes
// them. They are one file, so that there are never two that do not fit.
func certificate(dir string) (tls.Certificate, Pin, error) {
	path := filepath.Join(dir, certificateFile)
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		if b, err = newCertificate(); err == nil {
			err = wholefile.Write(path, b)
		}
	}
	if err != nil {
		return tls.Certificate{}, Pin{}, err
	}
	if err := os.Chmod(path, 0o600); err != nil {
		return tls.Certificate{}, Pin{}, err
	}
	c, err := tls.X509KeyPair(b, b)
	if err != nil {
		return c, Pin{}, fmt.Errorf("read the certificate in %s: %w", path, err)
	}
	return c, pinOf(c.Leaf), nil
}

// newCertificate makes a key and a certificate of it that lasts longer than
// the laptop: nobody looks at its dates, and a new key would be a new pin.
func newCertificate() ([]byte, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	about := &x509.Certificate{
		Subject:     pkix.Name{CommonName: "oldhand exchange"},
		NotBefore:   time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC),
		NotAfter:    time.Date(2120, 1, 1, 0, 0, 0, 0, time.UTC),
		KeyUsage:    x509.KeyUsageDigitalSignature,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		DNSNames:    []string{"exchange.oldhand.invalid"},
	}
	return SelfSigned(key, about)
}

// SelfSigned is a key and a certificate of it that it signs itself, with a number
// drawn for it, as one file that tls.X509KeyPair reads as both.
func SelfSigned(key *ecdsa.PrivateKey, about *x509.Certificate) (pems []byte, err error) {
	if about.SerialNumber, err = rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 127)); err != nil {
		return nil, err
	}
	der, err := x509.CreateCertificate(rand.Reader, about, about, key.Public(), key)
	if err != nil {
		return nil, err
	}
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, err
	}
	b := pem.EncodeToMemory(&pem.Block{Type: certificateKey, Bytes: secret})
	return append(b, pem.EncodeToMemory(&pem.Block{Type: certificateCert, Bytes: der})...), nil
}
