package exchange

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats-server/v2/server"
)

// lookAfter looks at the disk and at the server until the host is closed.
func (h *Host) lookAfter() {
	defer close(h.done)
	tick := time.NewTicker(h.opt.LookEvery)
	defer tick.Stop()
	for {
		select {
		case <-h.quit:
			return
		case <-tick.C:
			h.tend()
		}
	}
}

// tend stops taking more while little is free, and takes more again, after a
// write went well, when there is room. A server that once could not write
// stays unable to after there is room again, so where the write fails the
// server is started anew.
func (h *Host) tend() {
	h.mu.Lock()
	defer h.mu.Unlock()
	switch low := h.look(); {
	case low != nil && h.why == nil:
		h.take(low)
	case low == nil && time.Now().After(h.retry) && (h.why != nil || h.sick() != nil):
		h.reopen()
	}
}

// look looks at the disk and gives a reason to take nothing more. A disk that
// does not say how full it is gives none.
func (h *Host) look() error {
	free, err := h.opt.FreeSpace(h.opt.Dir)
	if err != nil || free >= h.opt.LeastFree {
		return nil
	}
	return fmt.Errorf("%w: %d MiB are free in %s, and it takes nothing more below %d", ErrFull, free>>20, h.opt.Dir, h.opt.LeastFree>>20)
}

// take sets whether more is taken: not while there is a reason.
func (h *Host) take(why error) {
	had := h.why
	h.why = why
	if h.srv.Load() != nil {
		if err := h.admit(); err != nil {
			h.opt.Warn(fmt.Sprintf("change what the exchange takes: %v", err))
		}
	}
	switch {
	case why != nil:
		h.opt.Warn("the exchange takes nothing more: " + why.Error())
	case had != nil:
		h.opt.Warn("the exchange takes more again")
	}
}

// sick asks the server whether all shops' streams are there and could be
// written to last.
func (h *Host) sick() error {
	srv := h.srv.Load()
	if srv == nil {
		return ErrClosed
	}
	for _, s := range h.shops {
		for _, name := range []string{s.shop.stream(), s.shop.keyStream(), s.shop.pieceStream()} {
			if st := srv.Healthz(&server.HealthzOptions{Account: s.account(), Stream: name}); st.Status != "ok" {
				return errors.New(st.Error)
			}
		}
	}
	return nil
}

// reopen tries a write for each shop, on a server started anew if need be.
func (h *Host) reopen() {
	ill := h.sick()
	if ill == nil {
		h.take(nil)
		ill = h.probe()
	}
	if ill != nil {
		h.opt.Warn(fmt.Sprintf("the exchange is started anew: %v", ill))
		ill = h.restart()
	}
	if ill != nil {
		h.retry = time.Now().Add(30 * h.opt.LookEvery)
		h.take(fmt.Errorf("%w: a write to it comes to nothing: %w", ErrFull, ill))
		return
	}
	if h.why != nil {
		h.take(nil)
	}
}

// restart starts the server anew, which reads from disk what is really there,
// and tries a write. The host's own connections are made anew as well: one of
// the old could pass for alive for a moment, and a write on it waits in vain.
func (h *Host) restart() error {
	had := h.why
	for _, s := range h.shops {
		s.leave()
	}
	h.stop()
	h.why = nil // so that the probe is taken
	err := h.start()
	if err == nil {
		err = h.probe()
	}
	h.why = had
	return err
}

const probeTime = 5 * time.Second

// probe writes a few bytes to every shop's stream and waits until they are on
// disk.
func (h *Host) probe() (err error) {
	for _, s := range h.shops {
		err = errors.Join(err, h.probeShop(s))
	}
	return err
}

func (h *Host) probeShop(s *hosted) (err error) {
	if s.conn == nil {
		err = h.serve(s)
	}
	if err == nil {
		ctx, cancel := context.WithTimeout(context.Background(), probeTime)
		defer cancel()
		_, err = s.js.Publish(ctx, s.shop.probe(), []byte("probe"))
	}
	if err != nil {
		return fmt.Errorf("probe shop %s: %w", s.shop, err)
	}
	return nil
}
