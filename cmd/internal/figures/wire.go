package main

import (
	"io"
	"net"
	"sync"
	"sync/atomic"
)

// wire is a way to an address that counts the bytes on it: of TCP's content, so
// TLS and the protocol inside it are counted, and headers of packets are not.
type wire struct {
	listener net.Listener
	target   string
	back     atomic.Int64 // from there to whoever called
	forth    atomic.Int64

	group sync.WaitGroup
}

func openWire(target string) (*wire, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	n := &wire{listener: l, target: target}
	n.group.Go(n.accept)
	return n, nil
}

func (n *wire) addr() string { return n.listener.Addr().String() }

func (n *wire) bytes() int64 { return n.back.Load() + n.forth.Load() }

// close waits until all who called have hung up.
func (n *wire) close() error {
	err := n.listener.Close()
	n.group.Wait()
	return err
}

func (n *wire) accept() {
	for {
		in, err := n.listener.Accept()
		if err != nil {
			return
		}
		out, err := net.Dial("tcp", n.target)
		if err != nil {
			in.Close()
			continue
		}
		n.group.Go(func() { carry(out, in, &n.forth) })
		n.group.Go(func() { carry(in, out, &n.back) })
	}
}

func carry(to, from net.Conn, count *atomic.Int64) {
	defer to.Close()
	buf := make([]byte, 32<<10)
	for {
		k, err := from.Read(buf)
		count.Add(int64(k))
		if _, no := to.Write(buf[:k]); no != nil || err != nil {
			_, _ = io.Copy(io.Discard, from)
			return
		}
	}
}
