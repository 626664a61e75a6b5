package exchange

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Inspected is how a host stands, read back from the server that runs: what it was
// asked to be at its start says nothing of what it is.
type Inspected struct {
	SyncAlways bool  // it says stored when it is on disk, not before
	TLS        bool  // nobody comes over the network without
	MaxStore   int64 // bytes that it may use on the disk
	MaxMemory  int64 // bytes
	Used       int64 // bytes on the disk, of all shops
	Tried      int   // ways to take history away that were tried as a bench would

	Allowed  []string // those that a bench was let try; none is right
	Loosened []string // in what the shop's streams are not as they are made
	Full     error    // why nothing more is taken, or nil

	asked int64 // bytes that the server was to use of the disk
}

// Wrong is all that is not as it should be, in words.
func (i Inspected) Wrong() (list []string) {
	say := func(bad bool, format string, args ...any) {
		if bad {
			list = append(list, fmt.Sprintf(format, args...))
		}
	}
	say(!i.SyncAlways, "it says stored before it is on disk")
	say(!i.TLS, "it lets benches come without TLS")
	say(i.MaxStore != i.asked, "it may use %d bytes of the disk, asked were %d", i.MaxStore, i.asked)
	say(i.MaxMemory != maxMemory, "it may use %d bytes of memory, asked were %d", i.MaxMemory, maxMemory)
	say(len(i.Allowed) > 0, "a bench may take history away: %s", strings.Join(i.Allowed, ", "))
	list = append(list, i.Loosened...)
	say(i.Full != nil, "%v", i.Full)
	return list
}

// Inspect asks the server how it stands, and tries as a bench what no bench may.
func (h *Host) Inspect(ctx context.Context, shop Tag) (i Inspected, err error) {
	i.Full, i.asked = h.Full(), h.opt.MaxStore
	h.mu.Lock()
	defer h.mu.Unlock()
	srv, s := h.srv.Load(), h.shops[shop]
	if srv == nil || s == nil || s.conn == nil {
		return i, fmt.Errorf("inspect the exchange: %w", ErrClosed)
	}
	v, err := srv.Varz(nil)
	if err != nil {
		return i, fmt.Errorf("read the server's settings back: %w", err)
	}
	if c := v.JetStream.Config; c != nil {
		i.SyncAlways, i.MaxStore, i.MaxMemory = c.SyncAlways, c.MaxStore, c.MaxMemory
	}
	if c := v.JetStream.Stats; c != nil {
		i.Used = int64(c.Store)
	}
	i.TLS = h.opt.Listen == "" || v.TLSRequired
	if i.Loosened, err = s.loosened(ctx); err != nil {
		return i, err
	}
	i.Tried = len(nobodyMay)
	i.Allowed, err = h.tryDenied(ctx, s)
	return i, err
}

// loosened says in what a shop's streams are not as they are made.
func (s *hosted) loosened(ctx context.Context) (list []string, err error) {
	for name, odd := range map[string]func(jetstream.StreamConfig, Tag, int) []string{
		s.shop.stream(): loosened, s.shop.keyStream(): keysLoosened, s.shop.pieceStream(): piecesLoosened} {
		info, err := lookAtStream(ctx, s.js, name)
		if err != nil {
			return nil, err
		}
		list = append(list, odd(info.Config, s.shop, 1)...)
	}
	return list, nil
}

// tryDenied sends, with the rights of a bench, a request for each thing that no bench
// may do, each about a stream that there is none of. The server answers what it
// denies with a word of its own, before it answers the flush.
func (h *Host) tryDenied(ctx context.Context, s *hosted) (allowed []string, err error) {
	own, err := s.probe.Public()
	if err != nil {
		return nil, err
	}
	var mu sync.Mutex
	heard := make(chan struct{}, len(nobodyMay))
	denied := map[string]bool{}
	opts := append(connection(s.probe, own), nats.InProcessServer(door{h, own}), nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) {
		if errors.Is(err, nats.ErrPermissionViolation) {
			mu.Lock()
			defer mu.Unlock()
			denied[deniedIn(err)] = true
			heard <- struct{}{}
		}
	}))
	conn, err := nats.Connect("", opts...)
	if err != nil {
		return nil, fmt.Errorf("come to the exchange as a bench would: %w", err)
	}
	defer conn.Close()
	for _, may := range nobodyMay {
		if err := conn.Publish(triedFor(may), nil); err != nil {
			return nil, err
		}
	}
	if err := conn.FlushWithContext(ctx); err != nil {
		return nil, err
	}
	waitForAll(ctx, heard, len(nobodyMay))
	mu.Lock()
	defer mu.Unlock()
	for _, may := range nobodyMay {
		if !denied[triedFor(may)] {
			allowed = append(allowed, may)
		}
	}
	return allowed, nil
}

// triedFor is a subject of a pattern, about nothing that there is.
func triedFor(pattern string) string {
	return strings.TrimSuffix(pattern, ">") + "nothing-of-this-name"
}

// deniedIn is the subject that the server's word is about: it stands in quotes.
func deniedIn(err error) string {
	_, rest, _ := strings.Cut(err.Error(), `"`)
	subject, _, _ := strings.Cut(rest, `"`)
	return subject
}

// waitForAll waits until so many were heard of, for a moment: the library hands
// errors on beside the flush.
func waitForAll(ctx context.Context, heard <-chan struct{}, n int) {
	ctx, cancel := context.WithTimeout(ctx, deniedWithin)
	defer cancel()
	for range n {
		select {
		case <-heard:
		case <-ctx.Done():
			return
		}
	}
}
