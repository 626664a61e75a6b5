package exchange_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"

	"oldhand/sync/exchange"

	"github.com/nats-io/jwt/v2"
	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nkeys"
)

// issuer makes keys and what they sign, as who runs a cluster does.
type issuer struct {
	t    *testing.T
	pair nkeys.KeyPair
	name string
}

func newIssuer(t *testing.T, make func() (nkeys.KeyPair, error)) issuer {
	t.Helper()
	pair, err := make()
	if err != nil {
		t.Fatal(err)
	}
	name, err := pair.PublicKey()
	if err != nil {
		t.Fatal(err)
	}
	return issuer{t, pair, name}
}

func (i issuer) sign(c jwt.Claims) string {
	i.t.Helper()
	text, err := c.Encode(i.pair)
	if err != nil {
		i.t.Fatal(err)
	}
	return text
}

// credentialsServer is a server that lets in who has a credentials file, and
// the path of one.
func credentialsServer(t *testing.T, cert tls.Certificate) (*server.Server, string) {
	t.Helper()
	operator, system := newIssuer(t, nkeys.CreateOperator), newIssuer(t, nkeys.CreateAccount)
	account, user := newIssuer(t, nkeys.CreateAccount), newIssuer(t, nkeys.CreateUser)
	room := jwt.NewAccountClaims(account.name)
	room.Limits.JetStreamLimits = jwt.JetStreamLimits{DiskStorage: -1, MemoryStorage: -1, Streams: -1, Consumer: -1}
	resolver := &server.MemAccResolver{}
	for name, text := range map[string]string{
		account.name: operator.sign(room),
		system.name:  operator.sign(jwt.NewAccountClaims(system.name)),
	} {
		if err := resolver.Store(name, text); err != nil {
			t.Fatal(err)
		}
	}
	s, err := server.NewServer(&server.Options{
		Host: "127.0.0.1", Port: -1, NoLog: true, NoSigs: true,
		JetStream: true, StoreDir: t.TempDir(), JetStreamMaxStore: 1 << 30, JetStreamMaxMemory: 1 << 20, SyncAlways: true,
		TLS: true, TLSConfig: exchange.ServerTLS(cert), TLSTimeout: 5,
		TrustedOperators: []*jwt.OperatorClaims{jwt.NewOperatorClaims(operator.name)},
		AccountResolver:  resolver, SystemAccount: system.name,
	})
	if err != nil {
		t.Fatal(err)
	}
	s.Start()
	t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
	seed, err := user.pair.Seed()
	if err != nil {
		t.Fatal(err)
	}
	file, err := jwt.FormatUserConfig(account.sign(jwt.NewUserClaims(user.name)), seed)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "shop.creds")
	if err := os.WriteFile(path, file, 0o600); err != nil {
		t.Fatal(err)
	}
	return s, path
}

func TestACredentialsFileLogsInToACluster(t *testing.T) {
	t.Parallel()
	cert, err := clusterCert()
	if err != nil {
		t.Fatal(err)
	}
	s, path := credentialsServer(t, cert)
	k := newKey(t)
	o := exchange.DialOptions{
		Addrs: []string{fmt.Sprint(s.Addr())}, Pins: []exchange.Pin{exchange.PinOf(cert)},
		Key: k, Tag: shop, Foreign: &exchange.Foreign{Replicas: 1},
	}
	if _, err := exchange.Dial(within(t), o); !errors.Is(err, exchange.ErrNotAdmitted) {
		t.Errorf("the key alone: %v", err)
	}
	o.Foreign.Credentials = path
	x := dial(t, o)
	fill(t, x, feedOf(t, k, 1), "word", 2)
	if st := x.State(within(t)); st.Messages != 2 || len(st.Warnings) > 0 {
		t.Errorf("state: %+v", st)
	}
	o.Foreign.Credentials = path + ".not"
	if _, err := exchange.Dial(within(t), o); err == nil {
		t.Error("a file that is not there logged in")
	}
}

// vouched is a certificate for this machine that vouches for itself.
func vouched(t *testing.T) (tls.Certificate, *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	about := &x509.Certificate{
		SerialNumber: big.NewInt(1), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
	}
	der, err := x509.CreateCertificate(rand.Reader, about, about, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	leaf, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AddCert(leaf)
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key, Leaf: leaf}, pool
}

// A cluster without a pin is known by who vouches for its name, and by nothing
// less.
func TestAClusterCanBeVouchedFor(t *testing.T) {
	t.Parallel()
	cert, pool := vouched(t)
	s, path := credentialsServer(t, cert)
	o := exchange.DialOptions{
		Addrs: []string{fmt.Sprint(s.Addr())}, Key: newKey(t), Tag: shop,
		Foreign: &exchange.Foreign{Replicas: 1, Credentials: path, Roots: pool},
	}
	dial(t, o)
	_, o.Foreign.Roots = vouched(t)
	var unknown x509.UnknownAuthorityError
	if _, err := exchange.Dial(within(t), o); !errors.As(err, &unknown) {
		t.Errorf("vouched for by somebody else: %v", err)
	}
	o.Foreign.Roots = nil
	if _, err := exchange.Dial(within(t), o); !errors.Is(err, exchange.ErrNoPin) {
		t.Errorf("by nobody: %v", err)
	}
}
