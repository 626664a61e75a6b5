package cluster_test

import (
	"crypto/ecdsa"
	"crypto/x509"
	"encoding/pem"
	"os"
	"path/filepath"
	"testing"
	"time"

	"oldhand/sync/cluster"
)

// readPEM reads a file's one certificate.
func readPEM(t testing.TB, path string) *x509.Certificate {
	t.Helper()
	b, err := os.ReadFile(path)
	check(t, err)
	block, _ := pem.Decode(b)
	if block == nil {
		t.Fatalf("%s holds no certificate", path)
	}
	c, err := x509.ParseCertificate(block.Bytes)
	check(t, err)
	return c
}

// Renewed certificates are good for longer, and old and new ones vouch for each other
// while both are good (by the rules of RFC 5280 as the standard library has them).
func TestRenewedCertificatesAndOldOnesKnowEachOther(t *testing.T) {
	t.Parallel()
	dir, laid := filepath.Join(t.TempDir(), "cluster"), time.Date(2026, 5, 4, 0, 0, 0, 0, time.UTC)
	p, err := cluster.New(dir, "/srv/cluster", three(t), 7<<30, laid)
	check(t, err)
	renewed := laid.Add(cluster.CertLife - 90*24*time.Hour)
	key, err := os.ReadFile(filepath.Join(dir, "one", "server.key"))
	check(t, err)
	was, wasSigner := readPEM(t, filepath.Join(dir, "one", "server.pem")), readPEM(t, filepath.Join(dir, cluster.SignerFile))
	ends, err := p.Renew(dir, renewed)
	check(t, err)
	if len(ends) != 4 {
		t.Fatalf("it tells of %d certificates, want those of three servers and of who signs", len(ends))
	}
	for _, e := range ends {
		if !e.Until.Equal(renewed.Add(cluster.CertLife)) {
			t.Errorf("%s is good until %s", e.File, e.Until)
		}
	}
	is, isSigner := readPEM(t, filepath.Join(dir, "one", "server.pem")), readPEM(t, filepath.Join(dir, "one", cluster.SignerFile))
	for _, pair := range []struct {
		what         string
		cert, signer *x509.Certificate
		at           time.Time
		good         bool
	}{
		{"a renewed server to an old bench", is, wasSigner, renewed.Add(time.Hour), true},
		{"an old server to a bench that was told", was, isSigner, renewed.Add(time.Hour), true},
		{"a renewed server to a bench that was told, years on", is, isSigner, renewed.Add(cluster.CertLife - time.Hour), true},
		{"a renewed server to an old bench, years on", is, wasSigner, renewed.Add(cluster.CertLife - time.Hour), false},
	} {
		roots := x509.NewCertPool()
		roots.AddCert(pair.signer)
		_, err := pair.cert.Verify(x509.VerifyOptions{DNSName: "192.168.1.31", Roots: roots, CurrentTime: pair.at})
		if (err == nil) != pair.good {
			t.Errorf("%s: %v", pair.what, err)
		}
	}
	if still, err := os.ReadFile(filepath.Join(dir, "one", "server.key")); err != nil || string(still) != string(key) {
		t.Errorf("the server's key is another (%v)", err)
	}
	if !is.PublicKey.(*ecdsa.PublicKey).Equal(was.PublicKey) {
		t.Error("the certificate is not of the server's key")
	}
}

// A folder that lacks what signs, or a server's certificate, is left as it was.
func TestACertificateThatCantBeRenewedChangesNone(t *testing.T) {
	t.Parallel()
	for _, lacks := range []string{"ca.key", "ca.pem", "three/server.pem"} {
		dir := filepath.Join(t.TempDir(), "cluster")
		p, err := cluster.New(dir, "", three(t), 7<<30, time.Now())
		check(t, err)
		check(t, os.Remove(filepath.Join(dir, lacks)))
		was := readPEM(t, filepath.Join(dir, "one", "server.pem"))
		if _, err := p.Renew(dir, time.Now().Add(time.Hour)); err == nil {
			t.Errorf("without %s it renewed", lacks)
		}
		if !readPEM(t, filepath.Join(dir, "one", "server.pem")).Equal(was) {
			t.Errorf("without %s another file was changed", lacks)
		}
	}
}

// The servers are started anew one after the other with renewed certificates, while
// those after them have the old ones, and benches come in by the old signer and by the
// renewed one all the while.
func TestBenchesGoOnMeetingWhileCertificatesAreRenewed(t *testing.T) {
	f := newShop(t, 3, 2)
	s := newSite(t, []*shop{f}, 64<<20, "")
	s.awaitReady(t)
	f.open(t)
	f.dial(t, s, 0)
	stays := s.raw(t, f.keys[0])
	_, err := s.plan.Renew(s.dir, time.Now().Add(time.Hour))
	check(t, err)
	for i := range s.servers {
		s.stop(i)
		s.start(t, i)
		s.awaitReady(t)
		told := s.raw(t, f.keys[1]) // by ca.pem as it lies there: the renewed one
		check(t, told.FlushTimeout(10*time.Second))
		if x := f.benches[1].x; x != nil {
			x.Close()
		}
		f.dial(t, s, 1) // by the signer of before
	}
	eventually(t, "a bench that was there before is back", stays.IsConnected)
	f.stop()
}
