package exchange_test

import (
	"bytes"
	"crypto/tls"
	"errors"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"oldhand/sync/exchange"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go/jetstream"
)

// What a loss would follow from is read back from the running server, one
// setting after the other.
func TestTheServerIsSetAsAsked_F07_F09(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	h, _, _ := oneBench(t, exchange.HostOptions{Dir: dir, MaxStore: 123 << 20})
	v, err := h.Server().Varz(nil)
	if err != nil {
		t.Fatal(err)
	}
	c := v.JetStream.Config
	for _, s := range []struct {
		what string
		ok   bool
	}{
		{"stored only once it is on disk", c.SyncAlways},
		{"room on disk", c.MaxStore == 123<<20},
		{"room in memory, small and not zero", c.MaxMemory == exchange.MaxMemory && c.MaxMemory > 0},
		{"the store is in the host's folder", strings.HasPrefix(c.StoreDir, dir)},
		{"no domain", c.Domain == ""},
		{"no page of its own", v.HTTPPort == 0 && v.HTTPSPort == 0 && h.Server().MonitorAddr() == nil},
		{"no profiler", h.Server().ProfilerAddr() == nil},
		{"a login is always proved", v.AuthRequired},
		{"TLS is required", v.TLSRequired && v.TLSTimeout == 5},
		{"a message of the wire", v.MaxPayload == exchange.MaxWire},
		{"no cluster", v.Cluster.Port == 0},
		{"a name of its own", strings.HasPrefix(v.Name, "oldhand-")},
	} {
		if !s.ok {
			t.Errorf("%s: not so: %+v %+v", s.what, c, v)
		}
	}
	j, err := h.Server().Jsz(&server.JSzOptions{Accounts: true, Streams: true, Config: true})
	if err != nil {
		t.Fatal(err)
	}
	if !j.Config.SyncAlways || len(j.AccountDetails) != 1 || j.AccountDetails[0].Name != shop.Account() || len(j.AccountDetails[0].Streams) != 3 {
		t.Errorf("what it keeps: %+v", j)
	}
}

func TestTheStreamIsMadeAsAsked_P8(t *testing.T) {
	t.Parallel()
	_, _, x := oneBench(t, exchange.HostOptions{})
	js, err := jetstream.New(x.Conn())
	if err != nil {
		t.Fatal(err)
	}
	s, err := js.Stream(within(t), shop.Stream())
	if err != nil {
		t.Fatal(err)
	}
	c := s.CachedInfo().Config
	for _, s := range []struct {
		what string
		ok   bool
	}{
		{"on disk", c.Storage == jetstream.FileStorage},
		{"kept whoever read it", c.Retention == jetstream.LimitsPolicy},
		{"full refuses what comes and drops nothing", c.Discard == jetstream.DiscardNew},
		{"no age", c.MaxAge == 0},
		{"no count", c.MaxMsgs == -1 && c.MaxMsgsPerSubject == -1 && c.MaxBytes == -1},
		{"no deletion", c.DenyDelete},
		{"no purge", c.DenyPurge},
		{"the size of a message", c.MaxMsgSize == exchange.MaxMessage && exchange.MaxMessage > exchange.MaxPayload && exchange.MaxMessage < exchange.MaxWire},
		{"answers of the leader only", !c.AllowDirect},
		{"one server", c.Replicas == 1},
		{"acknowledges", !c.NoAck},
		{"acknowledges after the disk", c.PersistMode == jetstream.DefaultPersistMode},
		{"an epoch", x.Epoch() != "" && c.Metadata["oldhand-epoch"] == x.Epoch()},
		{"a shop", c.Metadata["oldhand-shop"] == shop.String()},
	} {
		if !s.ok {
			t.Errorf("%s: not so: %+v", s.what, c)
		}
	}
	if w := exchange.Loosened(c, shop, 1); len(w) > 0 {
		t.Errorf("found loosened: %q", w)
	}
}

func TestASecondHostOnOneFolderIsRefused_F09(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	h := openHost(t, exchange.HostOptions{Dir: dir})
	_, err := exchange.OpenHost(exchange.HostOptions{Dir: dir})
	if !errors.Is(err, exchange.ErrInUse) || !strings.Contains(err.Error(), dir) {
		t.Fatalf("got %v, want ErrInUse and the folder's name", err)
	}
	closeHost(t, h)
	openHost(t, exchange.HostOptions{Dir: dir})
}

func TestAHostThatCannotListenSaysSoAndLetsTheFolderGo(t *testing.T) {
	t.Parallel()
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	dir := t.TempDir()
	_, err = exchange.OpenHost(exchange.HostOptions{Dir: dir, Listen: taken.Addr().String(), LeastFree: 1})
	if err == nil || !strings.Contains(err.Error(), "address already in use") {
		t.Fatalf("got %v", err)
	}
	for _, listen := range []string{"nowhere", "127.0.0.1:99999", "127.0.0.1:http"} {
		if _, err := exchange.OpenHost(exchange.HostOptions{Dir: dir, Listen: listen}); err == nil || !strings.Contains(err.Error(), listen) {
			t.Errorf("listen on %q: got %v", listen, err)
		}
	}
	openHost(t, exchange.HostOptions{Dir: dir})
}

// The pin stays over restarts, and the folder is for the owner's eyes.
func TestTheKeyIsKeptAndPrivate(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "exchange")
	h := openHost(t, exchange.HostOptions{Dir: dir})
	pin := h.Pin()
	again, err := exchange.ParsePin(pin.String())
	if err != nil || again != pin {
		t.Errorf("pin %s read as %s, %v", pin, again, err)
	}
	closeHost(t, h)
	if h := openHost(t, exchange.HostOptions{Dir: dir}); h.Pin() != pin {
		t.Errorf("pin is %s, was %s", h.Pin(), pin)
	}
	for name, want := range map[string]os.FileMode{"": 0o700, "certificate.pem": 0o600, "lock": 0o600} {
		s, err := os.Stat(filepath.Join(dir, name))
		if err != nil || s.Mode().Perm() != want {
			t.Errorf("%q is %v, want %v (%v)", name, s.Mode(), want, err)
		}
	}
	for _, bad := range []string{"", "abc", pin.String() + "a", strings.ToUpper(pin.String())} {
		if _, err := exchange.ParsePin(bad); err == nil {
			t.Errorf("pin %q was read", bad)
		}
	}
}

func TestOnlyTLS13IsSpoken(t *testing.T) {
	t.Parallel()
	h := openHost(t, exchange.HostOptions{})
	for _, version := range []uint16{tls.VersionTLS12, tls.VersionTLS13} {
		c, err := net.Dial("tcp", h.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		greeting := make([]byte, 4096)
		if _, err := c.Read(greeting); err != nil {
			t.Fatal(err)
		}
		s := tls.Client(c, &tls.Config{InsecureSkipVerify: true, MinVersion: tls.VersionTLS12, MaxVersion: version})
		if err := s.Handshake(); (err == nil) != (version == tls.VersionTLS13) {
			t.Errorf("version %x: %v", version, err)
		}
		s.Close()
	}
}

// What was published is there after a stop and a start, under the same epoch.
func TestARestartedHostHasEverything_P8(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	h, k, x := oneBench(t, exchange.HostOptions{Dir: dir})
	f := feedOf(t, k, 1)
	last := fill(t, x, f, "before", 5)
	epoch := x.Epoch()
	x.Close()
	closeHost(t, h)

	h = openHost(t, exchange.HostOptions{Dir: dir})
	admit(t, h, k)
	x = dial(t, to(h, k))
	if x.Epoch() != epoch {
		t.Errorf("epoch is %s, was %s", x.Epoch(), epoch)
	}
	m, ok, err := x.Last(within(t), f)
	if err != nil || !ok || m.Seq != last || string(m.Payload) != "before 4" {
		t.Errorf("last is %d %q, %v, %v", m.Seq, m.Payload, ok, err)
	}
}

func TestAClosedHostServesNothing(t *testing.T) {
	t.Parallel()
	h, k, x := oneBench(t, exchange.HostOptions{})
	closeHost(t, h)
	if err := h.SetUsers(shop, ids(t, k), nil); !errors.Is(err, exchange.ErrClosed) {
		t.Errorf("set users: %v", err)
	}
	eventually(t, "the bench notices", func() bool {
		_, _, err := x.Last(within(t), feedOf(t, k, 1))
		return errors.Is(err, exchange.ErrOffline)
	})
	if s := x.State(within(t)); s.Connected || s.Problem == nil {
		t.Errorf("state: %+v", s)
	}
	if _, err := exchange.Dial(within(t), exchange.DialOptions{Host: h, Key: k, Tag: shop}); err == nil {
		t.Error("a closed host was dialled")
	}
}

// A host that nobody outside is to reach has no door to the network.
func TestAHostCanBeForThisProcessOnly(t *testing.T) {
	t.Parallel()
	h, err := exchange.OpenHost(exchange.HostOptions{Dir: t.TempDir(), LeastFree: 1})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { closeHost(t, h) })
	if h.Addr() != nil || h.Server().Addr() != nil {
		t.Errorf("it listens on %v, %v", h.Addr(), h.Server().Addr())
	}
	k := newKey(t)
	admit(t, h, k)
	x := dial(t, exchange.DialOptions{Host: h, Key: k, Tag: shop})
	fill(t, x, feedOf(t, k, 1), "word", 2)
	if err := h.Restart(); err != nil {
		t.Fatal(err)
	}
	w := &writer{x: x, feed: feedOf(t, k, 1), at: 2}
	if err := w.write(within(t), "after a start anew"); err != nil {
		t.Error(err)
	}
}

// The stream's own description is damaged, and the server does not see the
// stream any more. The host makes it again, under another epoch, so that all
// benches read it from its first message; what lay there is taken up again.
func TestADamagedStreamIsMadeAnew_F21_P8(t *testing.T) {
	t.Parallel()
	for name, damage := range map[string]func([]byte) []byte{
		"flipped":   func(b []byte) []byte { b[len(b)/2] ^= 1; return b },
		"truncated": func(b []byte) []byte { return b[:len(b)/2] },
		"emptied":   func(b []byte) []byte { return nil },
	} {
		t.Run(name, func(t *testing.T) {
			l := newLives(t)
			all := l.publish("before", 3)
			at := l.read(exchange.Cursor{}, all)
			l.close()
			spoil(t, l.dir, "meta.inf", damage)
			l.open()
			if l.x.Epoch() == at.Epoch {
				t.Fatal("the stream has the old epoch, so this tries nothing")
			}
			all = append(all, l.publish("after", 5)...)
			at = l.read(at, all)
			l.close()
			l.open() // and it stays
			l.read(at, l.publish("later", 1))
			if n := l.x.State(within(t)).Messages; n != 9 {
				t.Errorf("%d messages, want 9", n)
			}
		})
	}
}

// A stored message is damaged: the server passes over it in silence, and who
// follows is told.
func TestADamagedMessageIsMissedAndSaid_F21_P9(t *testing.T) {
	t.Parallel()
	l := newLives(t)
	l.publish("payload", 3)
	l.close()
	spoil(t, l.dir, "1.blk", func(b []byte) []byte {
		b[bytes.Index(b, []byte("payload 1"))] ^= 1
		return b
	})
	l.open()
	l.read(exchange.Cursor{}, []string{"payload 0", "payload 2"})
	l.told.mustSay(t, "lost messages 2 to 2")
}

// spoil damages the one file of a name below a folder.
func spoil(t testing.TB, dir, name string, damage func([]byte) []byte) {
	t.Helper()
	var path string
	err := filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
		if err == nil && d.Name() == name {
			path = p
		}
		return err
	})
	if err != nil || path == "" {
		t.Fatalf("no %s below %s (%v)", name, dir, err)
	}
	b, err := os.ReadFile(path)
	if err == nil {
		err = os.WriteFile(path, damage(b), 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// What the client library would do by itself, and must not, is read back.
func TestTheConnectionIsSetAsAsked_F16(t *testing.T) {
	t.Parallel()
	_, k, x := oneBench(t, exchange.HostOptions{})
	o := x.Conn().Opts
	for _, s := range []struct {
		what string
		ok   bool
	}{
		{"nothing is kept to be sent later", o.ReconnectBufSize == -1},
		{"it comes back for ever", o.AllowReconnect && o.MaxReconnect == -1},
		{"after pauses of ours", o.CustomReconnectDelayCB != nil},
		{"only to the address given", o.IgnoreDiscoveredServers},
		{"over TLS", o.Secure && o.TLSConfig.MinVersion == tls.VersionTLS13},
		{"answers come in an inbox of its own", o.InboxPrefix == "_IN."+public(t, k).String()},
		{"a dead line is noticed", o.PingInterval == 10*time.Second && o.MaxPingsOut == 2},
	} {
		if !s.ok {
			t.Errorf("%s: not so: %+v", s.what, o)
		}
	}
}
