package cluster

import (
	"crypto/ecdsa"
	"crypto/rand"
	"crypto/x509"
	"encoding/pem"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"oldhand/events/wholefile"
)

// A certificate is renewed for the same key: who has only the old one is believed by
// who has only the new one, and the other way round, as long as both are good. So the
// servers are started anew one after the other, and benches take ca.pem when it suits
// them, at any time before the old one ends. No secret is moved.

// Ends is when a certificate of a cluster is good no more.
type Ends struct {
	Server string // empty for who signs the others
	File   string // in the cluster's folder
	Until  time.Time
}

// Certificates are the certificates in a cluster's folder, and when each ends.
func (p Plan) Certificates(dir string) (list []Ends, err error) {
	look := func(server, file string) {
		var c *x509.Certificate
		if err == nil {
			c, err = readCertificate(filepath.Join(dir, file))
		}
		if err == nil {
			list = append(list, Ends{server, file, c.NotAfter})
		}
	}
	look("", SignerFile)
	for _, s := range p.Servers {
		look(s.Name, filepath.Join(s.Name, certFile))
	}
	return list, err
}

// Renew writes certificates that are good for CertLife from here on, of the signer and
// of each server, in the place of those that are there. Keys stay. All are made before
// the first is written, and each file is whole or as it was; it can be done again.
func (p Plan) Renew(dir string, now time.Time) ([]Ends, error) {
	s, err := readSigner(dir)
	if err != nil {
		return nil, err
	}
	if s, err = s.anew(now); err != nil {
		return nil, err
	}
	files := map[string][]byte{}
	for _, server := range p.Servers {
		path := filepath.Join(dir, server.Name, certFile)
		old, err := readCertificate(path)
		if err != nil {
			return nil, err
		}
		if files[path], err = s.certify(server.Host, old.PublicKey, now); err != nil {
			return nil, fmt.Errorf("renew the certificate of server %s: %w", server.Name, err)
		}
		files[filepath.Join(dir, server.Name, SignerFile)] = s.cert
	}
	for path, b := range files {
		if err := wholefile.Write(path, b); err != nil {
			return nil, err
		}
	}
	if err := wholefile.Write(filepath.Join(dir, SignerFile), s.cert); err != nil {
		return nil, err
	}
	return p.Certificates(dir)
}

// readSigner reads the signer that write kept.
func readSigner(dir string) (s signer, err error) {
	if s.about, err = readCertificate(filepath.Join(dir, SignerFile)); err != nil {
		return s, err
	}
	path := filepath.Join(dir, signerKeyFile)
	b, err := os.ReadFile(path)
	if err != nil {
		return s, fmt.Errorf("read the key that signs: %w", err)
	}
	block, _ := pem.Decode(b)
	if block == nil {
		return s, fmt.Errorf("read %s: it is no key", path)
	}
	key, err := x509.ParsePKCS8PrivateKey(block.Bytes)
	if err != nil {
		return s, fmt.Errorf("read %s: %w", path, err)
	}
	own, ok := key.(*ecdsa.PrivateKey)
	if !ok || !own.PublicKey.Equal(s.about.PublicKey) {
		return s, fmt.Errorf("%s is not the key of %s", path, SignerFile)
	}
	s.key = own
	return s, nil
}

func readCertificate(path string) (*x509.Certificate, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read a certificate: %w", err)
	}
	block, _ := pem.Decode(b)
	if block == nil || block.Type != "CERTIFICATE" {
		return nil, fmt.Errorf("read %s: it is no certificate", path)
	}
	c, err := x509.ParseCertificate(block.Bytes)
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", path, err)
	}
	return c, nil
}

// anew is the same signer, good for longer.
func (s signer) anew(now time.Time) (signer, error) {
	about, err := certOf(signerName, now)
	if err != nil {
		return s, err
	}
	return s.signItself(about)
}

func (s signer) signItself(about *x509.Certificate) (signer, error) {
	about.IsCA, about.MaxPathLenZero, about.KeyUsage = true, true, x509.KeyUsageCertSign
	der, err := x509.CreateCertificate(rand.Reader, about, about, s.key.Public(), s.key)
	if err != nil {
		return s, err
	}
	s.cert = pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	s.about, err = x509.ParseCertificate(der)
	return s, err
}
