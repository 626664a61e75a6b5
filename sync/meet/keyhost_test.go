package meet_test

import (
	"fmt"
	"io"
	"net"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/sync/benchtest"
	"oldhand/sync/exchange"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// listen starts the shop's host anew, at an address.
func (s *keyShop) listen(t testing.TB, at string) {
	t.Helper()
	if err := s.host.Close(); err != nil {
		t.Fatal(err)
	}
	var err error
	if s.host, err = exchange.OpenHost(exchange.HostOptions{Dir: s.dir, Listen: at}); err != nil {
		t.Fatal(err)
	}
	if err := s.host.SetUsers(s.tag, s.benches(), nil); err != nil {
		t.Fatal(err)
	}
}

func (s keyShop) benches() (ids []events.BenchID) {
	for _, l := range s.Laptops {
		ids = append(ids, l.ID)
	}
	return ids
}

// loseKey takes a message out of the keys that a host keeps in a folder, as
// damage to its disk could: with a server of its own, while the host is closed.
func loseKey(t *testing.T, dir string, tag exchange.Tag, seq uint64) {
	t.Helper()
	o := &server.Options{DontListen: true, NoLog: true, NoSigs: true, JetStream: true, StoreDir: filepath.Join(dir, "store")}
	if err := o.ProcessConfigString(fmt.Sprintf("accounts { SHOP-%s { jetstream: enabled, users: [ { user: u, password: p } ] } }", tag)); err != nil {
		t.Fatal(err)
	}
	srv, err := server.NewServer(o)
	if err != nil {
		t.Fatal(err)
	}
	srv.Start()
	defer func() { srv.Shutdown(); srv.WaitForShutdown() }()
	if !srv.ReadyForConnections(10 * time.Second) {
		t.Fatal("the server is not ready")
	}
	conn, err := nats.Connect("", nats.InProcessServer(srv), nats.UserInfo("u", "p"))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	js, err := jetstream.New(conn)
	if err != nil {
		t.Fatal(err)
	}
	keys, err := js.Stream(t.Context(), "OLDHAND-KEYS-"+tag.String())
	if err == nil {
		err = keys.DeleteMsg(t.Context(), seq)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// dialCounted connects a laptop over the network, and gives a function that says
// how many bytes came.
func (s keyShop) dialCounted(t *testing.T, l *benchtest.Laptop) (*exchange.Exchange, func() int64) {
	t.Helper()
	var came atomic.Int64
	x := s.dialThrough(t, l, func(near, far net.Conn) {
		go func() { _, _ = io.Copy(far, near); _ = far.Close() }()
		go func() { _, _ = io.Copy(io.MultiWriter(near, counter{&came}), far); _ = near.Close() }()
	})
	return x, came.Load
}

// dialThrough connects a laptop over the network, with a function between that carries
// what comes at one end of a connection to the other.
func (s keyShop) dialThrough(t testing.TB, l *benchtest.Laptop, carry func(near, far net.Conn)) *exchange.Exchange {
	t.Helper()
	at := s.host.Addr().String()
	front, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			near, err := front.Accept()
			if err != nil {
				return
			}
			far, err := net.Dial("tcp", at)
			if err != nil {
				_ = near.Close()
				return
			}
			carry(near, far)
		}
	}()
	x, err := exchange.Dial(t.Context(), exchange.DialOptions{Addrs: []string{front.Addr().String()}, Pins: []exchange.Pin{s.host.Pin()}, Key: l.Key, Tag: s.tag})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { x.Close(); _ = front.Close(); <-done })
	return x
}

type counter struct{ n *atomic.Int64 }

// Write counts.
func (c counter) Write(p []byte) (int, error) {
	c.n.Add(int64(len(p)))
	return len(p), nil
}
