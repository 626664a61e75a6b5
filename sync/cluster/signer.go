package cluster

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"path/filepath"
	"time"

	"oldhand/events/wholefile"
)

// CertLife is how long the servers' certificates are good. Benches look at the
// dates by their own clocks, and warn before the end.
const CertLife = 10 * 365 * 24 * time.Hour

// before is how far a bench's clock may be behind.
const before = 48 * time.Hour

// signerName is what the signer is called, for ever: a certificate of his is looked for
// by it.
const signerName = "signer of a cluster of oldhand"

// signer vouches for a cluster's servers, to benches and to each other.
type signer struct {
	key   *ecdsa.PrivateKey
	about *x509.Certificate
	cert  []byte // PEM
}

func newSigner(now time.Time) (s signer, err error) {
	if s.key, err = ecdsa.GenerateKey(elliptic.P256(), rand.Reader); err != nil {
		return s, err
	}
	return s.anew(now)
}

func certOf(name string, now time.Time) (*x509.Certificate, error) {
	number, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 127))
	return &x509.Certificate{
		SerialNumber: number, Subject: pkix.Name{CommonName: name},
		NotBefore: now.Add(-before), NotAfter: now.Add(CertLife), BasicConstraintsValid: true,
	}, err
}

// sign makes a server's key and a certificate of it. The servers show it to each
// other from both sides.
func (s signer) sign(host string, now time.Time) (cert, key []byte, err error) {
	own, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, nil, err
	}
	if cert, err = s.certify(host, own.Public(), now); err != nil {
		return nil, nil, err
	}
	key, err = keyPEM(own)
	return cert, key, err
}

// certify makes a certificate of a server's key.
func (s signer) certify(host string, of any, now time.Time) ([]byte, error) {
	about, err := certOf(host, now)
	if err != nil {
		return nil, err
	}
	about.KeyUsage = x509.KeyUsageDigitalSignature
	about.ExtKeyUsage = []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth}
	if ip := net.ParseIP(host); ip != nil {
		about.IPAddresses = []net.IP{ip}
	} else {
		about.DNSNames = []string{host}
	}
	der, err := x509.CreateCertificate(rand.Reader, about, s.about, of, s.key)
	return pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), err
}

func keyPEM(k *ecdsa.PrivateKey) ([]byte, error) {
	der, err := x509.MarshalPKCS8PrivateKey(k)
	return pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}), err
}

// write keeps the signer: its key signs a further server's certificate, and that
// of anybody who has it.
func (s signer) write(dir string) error {
	key, err := keyPEM(s.key)
	if err != nil {
		return err
	}
	if err := wholefile.Write(filepath.Join(dir, signerKeyFile), key); err != nil {
		return err
	}
	return wholefile.Write(filepath.Join(dir, SignerFile), s.cert)
}
