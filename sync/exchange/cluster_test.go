package exchange_test

import (
	"context"
	"crypto/sha256"
	"crypto/tls"
	"fmt"
	"net"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/sync/exchange"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// cluster is three servers that this program does not run, as somebody's own:
// in this process, on disk, with a certificate that all share.
type cluster struct {
	t       testing.TB
	users   []events.BenchKey
	dirs    []string
	ports   []int // of the clients
	routes  []int
	servers []*server.Server
	oldTLS  bool // speaks nothing newer than TLS 1.2
}

func newCluster(t testing.TB, users ...events.BenchKey) *cluster {
	t.Helper()
	c := &cluster{t: t, users: users, servers: make([]*server.Server, 3)}
	for range 3 {
		c.dirs = append(c.dirs, t.TempDir())
		c.ports = append(c.ports, freePort(t))
		c.routes = append(c.routes, freePort(t))
	}
	for i := range c.servers {
		c.start(i)
	}
	t.Cleanup(func() {
		for i := range c.servers {
			c.stop(i)
		}
	})
	return c
}

func freePort(t testing.TB) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

var clusterCert = sync.OnceValues(exchange.NewCertificate)

func (c *cluster) start(i int) {
	c.t.Helper()
	cert, err := clusterCert()
	if err != nil {
		c.t.Fatal(err)
	}
	var text strings.Builder
	fmt.Fprintf(&text, "server_name: s%d\naccounts { SHOP { jetstream: enabled, users: [", i)
	for _, id := range ids(c.t, c.users...) {
		fmt.Fprintf(&text, " { nkey: %s },", id.LoginName())
	}
	fmt.Fprintf(&text, " ] } }\ncluster { name: c, listen: \"127.0.0.1:%d\", routes: [", c.routes[i])
	for _, r := range c.routes {
		fmt.Fprintf(&text, " \"nats://127.0.0.1:%d\",", r)
	}
	text.WriteString(" ] }\n")
	settings := text.String()
	if len(c.routes) == 1 {
		settings, _, _ = strings.Cut(settings, "cluster {")
	}
	o := &server.Options{
		Host: "127.0.0.1", Port: c.ports[i], NoLog: true, NoSigs: true,
		JetStream: true, StoreDir: c.dirs[i], JetStreamMaxStore: 1 << 30, JetStreamMaxMemory: 64 << 20, SyncAlways: true,
		TLS: true, TLSConfig: exchange.ServerTLS(cert), TLSTimeout: 5,
	}
	if c.oldTLS {
		o.TLSConfig.MinVersion, o.TLSConfig.MaxVersion = tls.VersionTLS12, tls.VersionTLS12
	}
	if err := o.ProcessConfigString(settings); err != nil {
		c.t.Fatal(err)
	}
	s, err := server.NewServer(o)
	if err != nil {
		c.t.Fatal(err)
	}
	s.Start()
	c.servers[i] = s
}

func (c *cluster) stop(i int) {
	if s := c.servers[i]; s != nil {
		s.Shutdown()
		s.WaitForShutdown()
		c.servers[i] = nil
	}
}

// leader is the server that leads the shop's stream, or -1.
func (c *cluster) leader() int {
	for i, s := range c.servers {
		if s != nil && s.JetStreamIsStreamLeader("SHOP", shop.Stream()) {
			return i
		}
	}
	return -1
}

// awaitHealth waits until a server has caught up, so that it can lead.
func (c *cluster) awaitHealth(i int) {
	c.t.Helper()
	eventually(c.t, "a server has caught up", func() bool {
		return c.servers[i].Healthz(&server.HealthzOptions{}).Status == "ok" && c.servers[i].JetStreamIsStreamCurrent("SHOP", shop.Stream())
	})
}

func (c *cluster) awaitLeader() (i int) {
	c.t.Helper()
	eventually(c.t, "the stream has a leader", func() bool { i = c.leader(); return i >= 0 })
	return i
}

// to is how a key comes to the cluster.
func (c *cluster) to(k events.BenchKey) exchange.DialOptions {
	cert, err := clusterCert()
	if err != nil {
		c.t.Fatal(err)
	}
	o := exchange.DialOptions{Pins: []exchange.Pin{exchange.PinOf(cert)}, Key: k, Tag: shop, Foreign: &exchange.Foreign{}, Timeout: time.Second}
	for _, p := range c.ports {
		o.Addrs = append(o.Addrs, fmt.Sprintf("127.0.0.1:%d", p))
	}
	return o
}

// js is a connection that may do anything.
func (c *cluster) js(k events.BenchKey) jetstream.JetStream {
	c.t.Helper()
	id := public(c.t, k)
	conn, err := nats.Connect("", nats.InProcessServer(c.servers[0]), nats.Nkey(id.LoginName(), k.SignLogin))
	if err != nil {
		c.t.Fatal(err)
	}
	c.t.Cleanup(conn.Close)
	js, err := jetstream.New(conn)
	if err != nil {
		c.t.Fatal(err)
	}
	return js
}

// dial dials until the cluster is ready to keep a stream.
func (c *cluster) dial(k events.BenchKey) (x *exchange.Exchange) {
	c.t.Helper()
	o := c.to(k)
	var last error
	eventually(c.t, "the cluster is ready", func() bool {
		var err error
		ctx, cancel := context.WithTimeout(context.Background(), 6*time.Second)
		defer cancel()
		if x, err = exchange.Dial(ctx, o); err != nil && fmt.Sprint(err) != fmt.Sprint(last) {
			c.t.Logf("dial: %v", err)
			last = err
		}
		return err == nil
	})
	c.t.Cleanup(x.Close)
	return x
}

// Writers go on while the leader is shut down under them again and again, then
// all three are. Nothing acknowledged is lost, nothing is there twice, and a
// follower saw it all in order.
func TestAClusterLosesNothingAcknowledged_F22_P4(t *testing.T) {
	a, b := newKey(t), newKey(t)
	c := newCluster(t, a, b)
	x, y := c.dial(a), c.dial(b)
	if x.Epoch() != y.Epoch() {
		t.Fatalf("epochs %s and %s", x.Epoch(), y.Epoch())
	}
	if s := x.State(within(t)); s.Replicas != 3 || len(s.Warnings) > 0 {
		t.Errorf("state: %+v", s)
	}
	reader := follow(t, y, exchange.Cursor{})
	writers := []*writer{{x: x, feed: feedOf(t, a, 1)}, {x: y, feed: feedOf(t, b, 1)}}
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	var group sync.WaitGroup
	for _, w := range writers {
		group.Go(func() {
			for i := 0; ctx.Err() == nil; i++ {
				if err := w.write(context.Background(), fmt.Sprintf("%s message %d", w.feed.Short(), i)); err != nil {
					t.Errorf("write: %v", err)
					return
				}
			}
		})
	}
	for range 4 {
		progress(t, writers)
		i := c.awaitLeader()
		c.stop(i)
		progress(t, writers)
		c.start(i)
		c.awaitHealth(i)
	}
	for i := range c.servers {
		c.stop(i)
	}
	for i := range c.servers {
		c.start(i)
	}
	progress(t, writers)
	stop()
	group.Wait()
	checkCluster(t, writers, reader, y)
}

// progress waits until each writer has written some more.
func progress(t testing.TB, writers []*writer) {
	t.Helper()
	for _, w := range writers {
		goal := w.acked.Load() + 20
		eventually(t, "a writer goes on", func() bool { return w.acked.Load() >= goal })
	}
}

func checkCluster(t *testing.T, writers []*writer, reader *reading, x *exchange.Exchange) {
	t.Helper()
	total := 0
	for _, w := range writers {
		t.Logf("feed %s: %d payloads in %d tries, %d acknowledgements lost", w.feed.Short(), len(w.sent), w.tries, w.stored)
		total += len(w.sent)
	}
	if total < 300 {
		t.Fatalf("only %d were written", total)
	}
	reader.wait(t, total)
	var feeds map[events.FeedID]uint64
	eventually(t, "the feeds are listed", func() bool { // servers that came up a moment ago may not answer yet
		var err error
		feeds, err = x.Feeds(within(t))
		return err == nil
	})
	for _, w := range writers {
		var got []string
		for _, m := range reader.messages() {
			if m.Feed == w.feed {
				got = append(got, string(m.Payload))
			}
		}
		if !slices.Equal(got, w.sent) {
			t.Errorf("feed %s: read %d, sent %d", w.feed.Short(), len(got), len(w.sent))
		}
		var m exchange.Message
		var err error
		eventually(t, "the last of a feed is told", func() bool { m, _, err = x.Last(within(t), w.feed); return err == nil })
		if m.Hash != sha256.Sum256([]byte(w.sent[len(w.sent)-1])) || feeds[w.feed] != m.Seq {
			t.Errorf("feed %s: last is %d %q, listed %d, %v", w.feed.Short(), m.Seq, m.Payload, feeds[w.feed], err)
		}
	}
}

// A stream that somebody loosened is used, and each thing that is not as it
// should be is said.
func TestALoosenedStreamIsWarnedOfAndUsed_P8(t *testing.T) {
	t.Parallel()
	for what, loosen := range map[string]func(*jetstream.StreamConfig){
		"kept in memory":           func(c *jetstream.StreamConfig) { c.Storage = jetstream.MemoryStorage },
		"what was read is dropped": func(c *jetstream.StreamConfig) { c.Retention = jetstream.InterestPolicy },
		"drops its oldest":         func(c *jetstream.StreamConfig) { c.Discard = jetstream.DiscardOld },
		"older than 1h0m0s":        func(c *jetstream.StreamConfig) { c.MaxAge = time.Hour },
		"the last 5 messages":      func(c *jetstream.StreamConfig) { c.MaxMsgsPerSubject = 5 },
		"messages of 1024 bytes":   func(c *jetstream.StreamConfig) { c.MaxMsgSize = 1024 },
		"can be deleted":           func(c *jetstream.StreamConfig) { c.DenyDelete = false },
		"can be emptied":           func(c *jetstream.StreamConfig) { c.DenyPurge = false },
		"replace all before":       func(c *jetstream.StreamConfig) { c.AllowRollup = true },
		"given an end":             func(c *jetstream.StreamConfig) { c.AllowMsgTTL = true },
		"replica that lags":        func(c *jetstream.StreamConfig) { c.AllowDirect = true },
		"does not say what":        func(c *jetstream.StreamConfig) { c.NoAck = true },
		"before it is on disk":     func(c *jetstream.StreamConfig) { c.PersistMode = jetstream.AsyncPersistMode },
		"takes nothing more":       func(c *jetstream.StreamConfig) { c.Sealed = true },
		"renames":                  func(c *jetstream.StreamConfig) { c.SubjectTransform = &jetstream.SubjectTransformConfig{} },
		"fed from another":         func(c *jetstream.StreamConfig) { c.Sources = []*jetstream.StreamSource{{}} },
		"1 servers, 3 are wanted":  func(c *jetstream.StreamConfig) { c.Replicas = 1 },
		"no name of its own":       func(c *jetstream.StreamConfig) { delete(c.Metadata, "oldhand-epoch") },
		"as of shop \"another\"":   func(c *jetstream.StreamConfig) { c.Metadata["oldhand-shop"] = "another" },
		"does not keep":            func(c *jetstream.StreamConfig) { c.Subjects = []string{"other"} },
	} {
		c := exchange.StreamConfig(shop, 3)
		if got := exchange.Loosened(c, shop, 3); len(got) > 0 {
			t.Fatalf("as made: %q", got)
		}
		loosen(&c)
		if got := exchange.Loosened(c, shop, 3); len(got) == 0 || !strings.Contains(strings.Join(got, "\n"), what) {
			t.Errorf("%s: said %q", what, got)
		}
	}
}

// The same against a server: made by hand, with no name, and answered by
// whichever replica; then re-created in the same way.
func TestAStreamMadeByHandIsUsed_P8(t *testing.T) {
	t.Parallel()
	k := newKey(t)
	s := loneServer(t, k, false)
	js := s.js(k)
	cfg := jetstream.StreamConfig{Name: shop.Stream(), Subjects: append(shop.Stored(), "other"), AllowDirect: true}
	if _, err := js.CreateStream(within(t), cfg); err != nil {
		t.Fatal(err)
	}
	var told notes
	o := s.to(k)
	o.Warn = told.warn
	x := dial(t, o)
	told.mustSay(t, "can be deleted")
	f := feedOf(t, k, 1)
	fill(t, x, f, "kept", 3)
	if m, ok, err := x.Last(within(t), f); err != nil || !ok || m.Seq != 3 {
		t.Errorf("last: %d, %v, %v", m.Seq, ok, err)
	}
	r := follow(t, x, exchange.Cursor{})
	r.wait(t, 3)
	if st := x.State(within(t)); len(st.Warnings) < 5 || st.Epoch == "" {
		t.Errorf("state: %+v", st)
	}
	// What is not of a feed is passed over, and is no end of one.
	if _, err := js.Publish(within(t), "other", []byte("x")); err != nil {
		t.Fatal(err)
	}
	told.mustSay(t, "message 4 of the exchange is on \"other\"")
	if feeds, err := x.Feeds(within(t)); err != nil || len(feeds) != 1 || feeds[f] != 3 {
		t.Errorf("feeds: %v, %v", feeds, err)
	}
	// A single message goes, and it is said.
	str, err := js.Stream(within(t), shop.Stream())
	if err == nil {
		err = str.DeleteMsg(within(t), 2)
	}
	if err != nil {
		t.Fatal(err)
	}
	again := follow(t, x, exchange.Cursor{})
	again.wait(t, 2)
	told.mustSay(t, "lost messages 2 to 2")
	// The end itself goes: what is left is listed.
	for _, seq := range []uint64{3, 4} {
		if err := str.DeleteMsg(within(t), seq); err != nil {
			t.Fatal(err)
		}
	}
	if feeds, err := x.Feeds(within(t)); err != nil || feeds[f] != 1 {
		t.Errorf("feeds: %v, %v", feeds, err)
	}
	if err := js.DeleteStream(within(t), shop.Stream()); err != nil {
		t.Fatal(err)
	}
	if _, err := js.CreateStream(within(t), cfg); err != nil {
		t.Fatal(err)
	}
	fill(t, x, f, "anew", 5)
	r.wait(t, 8)
	told.mustSay(t, "another exchange")
}

// loneServer is one server that this program does not run.
func loneServer(t testing.TB, k events.BenchKey, oldTLS bool) *cluster {
	t.Helper()
	c := &cluster{t: t, users: []events.BenchKey{k}, dirs: []string{t.TempDir()}, ports: []int{freePort(t)}, routes: []int{freePort(t)}, servers: make([]*server.Server, 1), oldTLS: oldTLS}
	c.start(0)
	t.Cleanup(func() { c.stop(0) })
	return c
}

func TestAnOldTLSIsNotSpokenTo(t *testing.T) {
	t.Parallel()
	k := newKey(t)
	s := loneServer(t, k, true)
	if _, err := exchange.Dial(within(t), s.to(k)); err == nil || !strings.Contains(err.Error(), "protocol version") {
		t.Errorf("got %v", err)
	}
}
