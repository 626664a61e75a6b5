package cluster_test

import (
	"crypto/x509"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/sync/cluster"
	"oldhand/sync/exchange"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) {
	goleak.VerifyTestMain(m,
		goleak.IgnoreAnyFunction("github.com/nats-io/nats-server/v2/server.(*Server).startGoRoutine.func1"), // ends a moment after the server says it did
		goleak.IgnoreTopFunction("github.com/cockroachdb/pebble/v2/vfs.(*diskHealthCheckingFS).startTickerLocked.func1"),
		goleak.IgnoreTopFunction("time.Sleep"))
}

func check(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// site is a cluster of three servers in this process, started from the files that
// the package writes, each as it is.
type site struct {
	dir     string
	plan    cluster.Plan
	roots   *x509.CertPool
	servers []*server.Server
	extra   string // an account that the package would not write
}

// newSite lays a cluster for some shops and starts it.
func newSite(t testing.TB, shops []*shop, disk int64, extra string) *site {
	t.Helper()
	s := laySite(t, shops, disk, extra)
	s.startAll(t)
	return s
}

// startAll starts all servers. Until they have found each other they must not read their
// list anew: their own code sorts then what it looks for the others by.
func (s *site) startAll(t testing.TB) {
	t.Helper()
	for i := range s.servers {
		s.start(t, i)
	}
}

func laySite(t testing.TB, shops []*shop, disk int64, extra string) *site {
	t.Helper()
	s := &site{dir: filepath.Join(t.TempDir(), "cluster"), extra: extra, servers: make([]*server.Server, 3)}
	var list []cluster.Server
	for i := range s.servers {
		one, err := cluster.ReadServer(fmt.Sprintf("s%d=127.0.0.1:%d", i+1, freePair(t)))
		check(t, err)
		list = append(list, one)
	}
	var err error
	s.plan, err = cluster.New(s.dir, "", list, 4<<30, time.Now())
	check(t, err)
	for _, f := range shops {
		s.let(t, f, disk)
	}
	s.save(t)
	pem, err := os.ReadFile(filepath.Join(s.dir, cluster.SignerFile))
	check(t, err)
	s.roots = x509.NewCertPool()
	if !s.roots.AppendCertsFromPEM(pem) {
		t.Fatal("the signer is no certificate")
	}
	t.Cleanup(func() {
		for i := range s.servers {
			s.stop(i)
		}
	})
	return s
}

// freePair is a port that is free with the one that the servers meet at.
func freePair(t testing.TB) int {
	t.Helper()
	for range 100 {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		check(t, err)
		port := l.Addr().(*net.TCPAddr).Port
		check(t, l.Close())
		if port > 60000 {
			continue
		}
		if m, err := net.Listen("tcp", fmt.Sprintf("127.0.0.1:%d", port+2000)); err == nil {
			check(t, m.Close())
			return port
		}
	}
	t.Fatal("no free ports")
	return 0
}

func (s *site) let(t testing.TB, f *shop, disk int64) cluster.Change {
	t.Helper()
	b, err := cluster.ReadBenches(strings.NewReader(cluster.BenchesOf(f.tag, f.ids).Text())) // as it is handed over
	check(t, err)
	c, err := s.plan.Let(b, disk)
	check(t, err)
	return c
}

// save writes who may come in, and what else a test has come in.
func (s *site) save(t testing.TB) {
	t.Helper()
	check(t, s.plan.Save(s.dir))
	if s.extra == "" {
		return
	}
	for _, one := range s.plan.Servers {
		path := filepath.Join(s.dir, one.Name, cluster.ShopsFile)
		b, err := os.ReadFile(path)
		check(t, err)
		text := strings.TrimSuffix(string(b), "}\n") + s.extra + "}\n"
		check(t, os.WriteFile(path, []byte(text), 0o600))
	}
}

// start starts a server as its own program does, from its settings file.
func (s *site) start(t testing.TB, i int) {
	t.Helper()
	o, err := server.ProcessConfigFile(filepath.Join(s.dir, s.plan.Servers[i].Name, cluster.SettingsFile))
	check(t, err)
	o.NoSigs, o.NoLog = true, true
	srv, err := server.NewServer(o)
	check(t, err)
	srv.Start()
	s.servers[i] = srv
}

func (s *site) stop(i int) {
	if srv := s.servers[i]; srv != nil {
		srv.Shutdown()
		srv.WaitForShutdown()
		s.servers[i] = nil
	}
}

// awaitReady waits until the servers have found each other and one leads.
func (s *site) awaitReady(t testing.TB) {
	t.Helper()
	eventually(t, "the servers are ready", func() bool {
		for _, srv := range s.servers {
			if srv == nil || !srv.ReadyForConnections(time.Second) || srv.Healthz(&server.HealthzOptions{}).Status != "ok" {
				return false
			}
		}
		return true
	})
}

func eventually(t testing.TB, what string, is func() bool) {
	t.Helper()
	for end := time.Now().Add(90 * time.Second); !is(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("%s: not in time", what)
		}
	}
}

// to is how a bench comes here.
func (s *site) to(k events.BenchKey, tag exchange.Tag) exchange.DialOptions {
	return exchange.DialOptions{Addrs: s.plan.Addresses(), Key: k, Tag: tag, Foreign: &exchange.Foreign{Roots: s.roots}}
}

// raw is a connection with a bench's key and nothing of package exchange around it.
func (s *site) raw(t testing.TB, k events.BenchKey, opts ...nats.Option) *nats.Conn {
	t.Helper()
	id, err := k.Public()
	check(t, err)
	opts = append([]nats.Option{nats.Nkey(id.LoginName(), k.SignLogin), nats.CustomInboxPrefix("_IN." + id.String()),
		nats.RootCAs(filepath.Join(s.dir, cluster.SignerFile)), nats.Timeout(10 * time.Second),
		nats.ErrorHandler(func(*nats.Conn, *nats.Subscription, error) {})}, opts...) // the library's own prints
	conn, err := nats.Connect("tls://"+strings.Join(s.plan.Addresses(), ",tls://"), opts...)
	check(t, err)
	t.Cleanup(conn.Close)
	return conn
}
