package exchange_test

import (
	"net"
	"sync"
	"sync/atomic"
	"testing"

	"oldhand/events"
	"oldhand/sync/exchange"
)

// proxy is a line to an exchange that can be cut, and that can lose what the
// exchange answers.
type proxy struct {
	listener net.Listener
	target   atomic.Pointer[string]
	deaf     atomic.Bool
	answers  atomic.Int64 // bytes swallowed

	mu    sync.Mutex
	conns map[net.Conn]bool
	group sync.WaitGroup
}

func newProxy(t testing.TB, target string) *proxy {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &proxy{listener: l, conns: map[net.Conn]bool{}}
	p.target.Store(&target)
	p.group.Go(p.accept)
	t.Cleanup(func() { l.Close(); p.cut(); p.group.Wait() })
	return p
}

// to is how a key comes to a host over this line.
func (p *proxy) to(h *exchange.Host, k events.BenchKey) exchange.DialOptions {
	o := to(h, k)
	o.Addrs = []string{p.listener.Addr().String()}
	return o
}

func (p *proxy) accept() {
	for {
		in, err := p.listener.Accept()
		if err != nil {
			return
		}
		out, err := net.Dial("tcp", *p.target.Load())
		if err != nil {
			in.Close()
			continue
		}
		p.mu.Lock()
		p.conns[in], p.conns[out] = true, true
		p.mu.Unlock()
		p.group.Go(func() { p.carry(in, out, false) })
		p.group.Go(func() { p.carry(out, in, true) })
	}
}

func (p *proxy) carry(from, into net.Conn, answers bool) {
	b := make([]byte, 64<<10)
	for {
		n, err := from.Read(b)
		if answers && p.deaf.Load() {
			p.answers.Add(int64(n))
		} else if n > 0 && err == nil {
			_, err = into.Write(b[:n])
		}
		if err != nil {
			break
		}
	}
	from.Close()
	into.Close()
	p.mu.Lock()
	defer p.mu.Unlock()
	delete(p.conns, from)
	delete(p.conns, into)
}

// cut ends all connections there are.
func (p *proxy) cut() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for c := range p.conns {
		c.Close()
	}
}

// swallow loses what the exchange answers, or no more. The connection is of no
// use afterwards and wants to be cut.
func (p *proxy) swallow(on bool) {
	p.answers.Store(0)
	p.deaf.Store(on)
}
