package cluster_test

import (
	"crypto/x509"
	"encoding/pem"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"oldhand/sync/cluster"

	"github.com/nats-io/nats-server/v2/server"
)

func three(t testing.TB) (list []cluster.Server) {
	t.Helper()
	for _, typed := range []string{"one=192.168.1.31", "two=two.shops.example:4300", "three=[fd00::3]:4222"} {
		s, err := cluster.ReadServer(typed)
		check(t, err)
		list = append(list, s)
	}
	return list
}

// The settings are read back as the server itself reads them: what a loss or a leak
// would follow from is set.
func TestTheServersReadTheSettingsAsMeant(t *testing.T) {
	t.Parallel()
	a := newShop(t, 1, 2)
	dir := filepath.Join(t.TempDir(), "cluster")
	p, err := cluster.New(dir, "", three(t), 7<<30, time.Now())
	check(t, err)
	_, err = p.Let(cluster.BenchesOf(a.tag, a.ids), 1<<30)
	check(t, err)
	check(t, p.Save(dir))
	for i, name := range []string{"one", "two", "three"} {
		o, err := server.ProcessConfigFile(filepath.Join(dir, name, cluster.SettingsFile))
		check(t, err)
		if !o.SyncAlways || o.JetStreamMaxStore != 7<<30 || o.JetStreamMaxMemory <= 0 || o.StoreDir != filepath.Join(dir, name, "store") {
			t.Errorf("server %s: synced %v, %d bytes of disk, %d of memory, in %s", name, o.SyncAlways, o.JetStreamMaxStore, o.JetStreamMaxMemory, o.StoreDir)
		}
		if o.TLSConfig == nil || o.TLSConfig.MinVersion < 0x0304 || o.Cluster.TLSConfig == nil || o.Cluster.TLSConfig.MinVersion < 0x0304 || len(o.Routes) != 3 {
			t.Errorf("server %s: TLS of benches %v, of servers %v, %d routes", name, o.TLSConfig, o.Cluster.TLSConfig, len(o.Routes))
		}
		if o.HTTPPort != 0 || o.HTTPSPort != 0 || o.ProfPort != 0 || o.SystemAccount != "SYS" || len(o.Nkeys) != 3 || o.MaxPayload != 1<<20 {
			t.Errorf("server %s: ports %d, %d, %d, system account %q, %d users, payload %d", name, o.HTTPPort, o.HTTPSPort, o.ProfPort, o.SystemAccount, len(o.Nkeys), o.MaxPayload)
		}
		if want := []string{"192.168.1.31:4222", "0.0.0.0:4300", "[fd00::3]:4222"}[i]; o.Host == "" || !strings.Contains(want, o.Host) {
			t.Errorf("server %s listens at %s", name, o.Host)
		}
	}
	again, err := cluster.Open(dir)
	if err != nil || len(again.Shops) != 1 || again.Keeper != p.Keeper {
		t.Errorf("read back: %+v, %v", again, err)
	}
	if _, err := cluster.New(dir, "", three(t), 7<<30, time.Now()); err == nil {
		t.Error("a cluster was laid over another")
	}
}

// Each certificate is of the signer and of the address, for as long as it says.
func TestCertificatesFitTheServers(t *testing.T) {
	t.Parallel()
	dir, now := filepath.Join(t.TempDir(), "cluster"), time.Date(2026, 5, 4, 0, 0, 0, 0, time.UTC)
	_, err := cluster.New(dir, "/srv/cluster", three(t), 7<<30, now)
	check(t, err)
	signer, err := os.ReadFile(filepath.Join(dir, cluster.SignerFile))
	check(t, err)
	roots := x509.NewCertPool()
	roots.AppendCertsFromPEM(signer)
	for name, host := range map[string]string{"one": "192.168.1.31", "two": "two.shops.example", "three": "fd00::3"} {
		b, err := os.ReadFile(filepath.Join(dir, name, "server.pem"))
		check(t, err)
		block, _ := pem.Decode(b)
		c, err := x509.ParseCertificate(block.Bytes)
		check(t, err)
		for _, use := range []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth} {
			if _, err := c.Verify(x509.VerifyOptions{DNSName: host, Roots: roots, CurrentTime: now.Add(cluster.CertLife - time.Hour), KeyUsages: []x509.ExtKeyUsage{use}}); err != nil {
				t.Errorf("server %s: %v", name, err)
			}
		}
		if err := c.VerifyHostname("192.168.1.32"); err == nil {
			t.Errorf("server %s has a certificate for another address", name)
		}
		place, err := os.ReadFile(filepath.Join(dir, name, cluster.PlaceFile))
		if err != nil || !strings.Contains(string(place), `"/srv/cluster/`+name+`/server.key"`) {
			t.Errorf("server %s finds its key elsewhere: %v\n%s", name, err, place)
		}
	}
	for _, secret := range []string{"ca.key", "keeper.key", "one/server.key"} {
		if st, err := os.Stat(filepath.Join(dir, secret)); err != nil || st.Mode().Perm()&0o077 != 0 {
			t.Errorf("%s can be read by others: %v", secret, err)
		}
	}
}

func TestWhatIsNoServerIsRefused(t *testing.T) {
	t.Parallel()
	for _, typed := range []string{"", "one", "=host", "One=host", "a/b=host", "one=", "one=host\n", "one=a b", "one=host:0", "one=host:65000", "one=host:x", "one=$NAME", `one=a"b`} {
		if s, err := cluster.ReadServer(typed); err == nil {
			t.Errorf("%q was taken as %+v", typed, s)
		}
	}
	list := three(t)
	for what, servers := range map[string][]cluster.Server{"two servers": list[:2], "one twice": {list[0], list[0], list[1]}, "none": nil} {
		if _, err := cluster.New(filepath.Join(t.TempDir(), "c"), "", servers, 1<<30, time.Now()); err == nil {
			t.Errorf("a cluster of %s was laid", what)
		}
	}
	if _, err := cluster.New(filepath.Join(t.TempDir(), "c"), "/srv/\"}", list, 1<<30, time.Now()); err == nil {
		t.Error("a folder that ends a setting was taken")
	}
}

// A list comes from a stranger: nothing but a tag and keys gets through.
func TestAListIsReadWordByWord(t *testing.T) {
	t.Parallel()
	a, b := newShop(t, 1, 3), newShop(t, 2, 1)
	good := cluster.BenchesOf(a.tag, a.ids)
	got, err := cluster.ReadBenches(strings.NewReader(good.Text()))
	if err != nil || got.Shop != good.Shop || !slices.Equal(got.Keys, good.Keys) {
		t.Fatalf("read back: %+v, %v", got, err)
	}
	key, other := good.Keys[0], cluster.BenchesOf(b.tag, b.ids)
	for what, text := range map[string]string{
		"nothing":           "",
		"no bench":          "shop " + good.Shop,
		"no shop":           "bench " + key,
		"two shops":         good.Text() + other.Text(),
		"a bench twice":     good.Text() + "bench " + key,
		"settings":          good.Text() + "} OTHER { jetstream: enabled }",
		"settings in a key": "shop " + good.Shop + "\nbench " + key + ", permissions: { publish: \">\" }",
		"settings in a tag": "shop x { jetstream: enabled }\nbench " + key,
		"a tag in capitals": "shop " + strings.ToUpper(good.Shop) + "\nbench " + key,
		"a spoilt key":      "shop " + good.Shop + "\nbench " + key[:20] + "A" + key[21:],
		"an account's key":  "shop " + good.Shop + "\nbench A" + key[1:],
	} {
		if got, err := cluster.ReadBenches(strings.NewReader(text)); err == nil {
			t.Errorf("%s was taken as %+v", what, got)
		}
	}
}

func TestLettingInSaysWhatChanges(t *testing.T) {
	t.Parallel()
	a, b := newShop(t, 1, 3), newShop(t, 2, 2)
	var p cluster.Plan
	p.Servers, p.Disk = three(t), 1<<30
	all := cluster.BenchesOf(a.tag, a.ids)
	c, err := p.Let(cluster.BenchesOf(a.tag, a.ids[:2]), 0)
	if err != nil || c.Known || len(c.In) != 2 || p.Shops[0].Disk != cluster.DefaultDisk {
		t.Errorf("a new shop: %+v, %v", c, err)
	}
	c, err = p.Let(cluster.BenchesOf(a.tag, a.ids[1:]), 5<<20)
	if err != nil || !c.Known || !slices.Equal(c.In, all.Keys[2:]) || !slices.Equal(c.Out, all.Keys[:1]) || !slices.Equal(c.Stay, all.Keys[1:2]) {
		t.Errorf("a changed shop: %+v, %v", c, err)
	}
	if _, err = p.Let(cluster.BenchesOf(a.tag, a.ids), 0); err != nil || len(p.Shops) != 1 || p.Shops[0].Disk != 5<<20 {
		t.Errorf("its disk was not kept: %+v, %v", p.Shops, err)
	}
	if _, err := p.Let(cluster.BenchesOf(b.tag, a.ids[:1]), 0); err == nil {
		t.Error("a key of one shop was let in for another too")
	}
	if _, err := p.Let(cluster.BenchesOf(b.tag, b.ids), 100); err == nil {
		t.Error("a shop with 100 bytes of disk was let in")
	}
	if _, err := p.Let(cluster.BenchesOf(b.tag, b.ids), 3<<20); err != nil || p.Promised() != 8<<20 {
		t.Errorf("promised %d, %v", p.Promised(), err)
	}
	if err := p.End(all.Shop); err != nil || len(p.Shops) != 1 {
		t.Errorf("ended: %+v, %v", p.Shops, err)
	}
	if err := p.End(all.Shop); err == nil {
		t.Error("a shop was ended twice")
	}
}

// A shop is let in and a bench is shut out while the servers run; who stays notices
// nothing.
func TestAShopComesWhileTheServersRun(t *testing.T) {
	a, b := newShop(t, 1, 2), newShop(t, 2, 1)
	s := newSite(t, []*shop{a}, 64<<20, "")
	s.awaitReady(t)
	a.open(t)
	b.open(t)
	a.dial(t, s, 0)
	stays := s.raw(t, a.keys[0])
	goes := s.raw(t, a.keys[1])
	a.ids = a.ids[:1]
	s.let(t, a, 0)
	s.let(t, b, 64<<20)
	s.save(t)
	for _, srv := range s.servers {
		check(t, srv.Reload())
	}
	b.dial(t, s, 0)
	eventually(t, "a bench that was taken off is cut off", func() bool { return !goes.IsConnected() })
	check(t, stays.FlushTimeout(10*time.Second))
	if n := stays.Stats().Reconnects; n > 0 {
		t.Errorf("a bench that stays was cut off %d times", n)
	}
	a.stop()
	b.stop()
}
