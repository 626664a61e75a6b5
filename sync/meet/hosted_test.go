package meet_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"time"

	"oldhand/events"
	"oldhand/sync/exchange"
	"oldhand/sync/meet"
	"oldhand/sync/replicate"

	"pgregory.net/rapid"
)

// hosted is a host on a folder with some benches connected, that can be stopped,
// have its folder changed, and be started again.
type hosted struct {
	dir  string // holds the folder and copies of it
	tag  exchange.Tag
	keys []events.BenchKey
	ids  []events.BenchID

	host    *exchange.Host
	conns   []*exchange.Exchange
	benches []replicate.Exchange // as a bench is told of it
	copies  int
}

func newHosted(t *rapid.T) *hosted {
	dir, err := os.MkdirTemp("", "hosted")
	must(t, err)
	t.Cleanup(func() { must(t, os.RemoveAll(dir)) })
	h := &hosted{dir: dir, tag: exchange.Tag{9}}
	for i := range benches {
		k, err := events.BenchKeyOf([32]byte{7, byte(i)})
		must(t, err)
		id, err := k.Public()
		must(t, err)
		h.keys, h.ids = append(h.keys, k), append(h.ids, id)
	}
	h.start(t)
	return h
}

func must(t *rapid.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func (h *hosted) folder() string { return filepath.Join(h.dir, "exchange") }

// start opens the host. It does not look at its disk by itself: what it finds out
// there it would write into the stream.
func (h *hosted) start(t *rapid.T) {
	var err error
	h.host, err = exchange.OpenHost(exchange.HostOptions{Dir: h.folder(), MaxStore: 1 << 30, LeastFree: 1, LookEvery: time.Hour})
	must(t, err)
	must(t, h.host.SetUsers(h.tag, h.ids, nil))
	for _, k := range h.keys {
		x, err := exchange.Dial(context.Background(), exchange.DialOptions{Host: h.host, Key: k, Tag: h.tag})
		must(t, err)
		h.conns, h.benches = append(h.conns, x), append(h.benches, meet.Outlet(x))
	}
}

func (h *hosted) stop() {
	for _, x := range h.conns {
		x.Close()
	}
	if h.host != nil {
		h.host.Close()
	}
	h.host, h.conns, h.benches = nil, nil, nil
}

func (h *hosted) state(t *rapid.T) replicate.State {
	s := h.conns[0].State(context.Background())
	if !s.Connected || s.Epoch == "" {
		t.Fatalf("the host does not answer: %+v", s)
	}
	return replicate.State{Epoch: s.Epoch, Last: s.LastSeq, Holes: s.Holes}
}

// reads follows from a cursor up to a message and says whether it began anew.
func (h *hosted) reads(t *rapid.T, bench int, from replicate.Cursor, upTo uint64) (all []replicate.Message, restarted bool) {
	x := h.conns[bench]
	before := x.State(context.Background()).Restarts
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	enough := errors.New("enough")
	err := x.Follow(ctx, exchange.Cursor{Epoch: from.Epoch, Seq: from.Message, Hash: from.Hash}, func(m exchange.Message) error {
		all = append(all, replicate.Message{Epoch: m.Epoch, Number: m.Seq, Feed: m.Feed, Payload: m.Payload})
		if m.Seq == upTo {
			return enough
		}
		return nil
	})
	if err != enough {
		t.Fatalf("reading from message %d to %d: %v, after %s", from.Message, upTo, err, numbers(all))
	}
	return all, x.State(context.Background()).Restarts > before
}

// empty takes the folder away.
func (h *hosted) empty(t *rapid.T) { must(t, os.RemoveAll(h.folder())) }

// copyAside copies the folder and says where.
func (h *hosted) copyAside(t *rapid.T) string {
	h.copies++
	to := filepath.Join(h.dir, "copy "+string(rune('a'+h.copies)))
	must(t, os.CopyFS(to, os.DirFS(h.folder())))
	return to
}

// putBack puts a copy in the folder's place.
func (h *hosted) putBack(t *rapid.T, from string) {
	h.empty(t)
	must(t, os.CopyFS(h.folder(), os.DirFS(from)))
}
