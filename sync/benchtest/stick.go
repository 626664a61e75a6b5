package benchtest

import (
	"bytes"
	"errors"
	"slices"

	"oldhand/events"
	"oldhand/sync/bundle"
	"oldhand/sync/replicate"
	"oldhand/sync/segment"
)

// mostSticks is how many lie about, old ones too.
const mostSticks = 6

// carry writes a stick at a laptop, or plugs one in that lies about.
func (w *World) carry(l *Laptop) error {
	if len(w.sticks) > 0 && w.rng.IntN(3) > 0 {
		i := w.rng.IntN(len(w.sticks))
		stick := w.sticks[i]
		w.tell("%s reads stick %d", l.Name, i)
		if w.happens(3 * w.faults.damage) {
			stick = w.harm(stick)
		}
		return w.plug(l, stick)
	}
	var skip func(int) bool // some segments get lost
	if w.rng.IntN(2) == 0 {
		skip = func(int) bool { return w.rng.IntN(10) == 0 }
	}
	stick, err := w.stick(l, skip)
	if stick == nil || err != nil {
		return err
	}
	w.tell("%s writes a stick", l.Name)
	if len(w.sticks) == mostSticks {
		w.sticks = slices.Delete(w.sticks, 0, 1)
	}
	w.sticks = append(w.sticks, stick)
	return nil
}

// harm cuts a file or flips a bit of it.
func (w *World) harm(b []byte) []byte {
	b = bytes.Clone(b)
	if w.rng.IntN(2) == 0 {
		w.tell("which was cut")
		return b[:w.rng.IntN(len(b))]
	}
	w.tell("with a bad bit")
	b[w.rng.IntN(len(b))] ^= 1 << w.rng.IntN(8)
	return b
}

// stick is a bundle of all that a laptop can seal; none where it has no key.
func (w *World) stick(l *Laptop, skip func(int) bool) ([]byte, error) {
	if err := l.Bench.Hold(false, l.now()); err != nil {
		return nil, err
	}
	if err := w.sayAgain(l); err != nil {
		return nil, err
	}
	key, ok := l.Bench.Inbox.Ring().Sealing()
	if !ok {
		return nil, nil
	}
	var out bytes.Buffer
	b, err := bundle.NewWriter(&out, bundle.Options{Shop: w.shop.id, Epoch: key.Epoch, Key: segment.Key(key.Secret), Random: l.random})
	if err != nil {
		return nil, err
	}
	n := 0
	err = w.sealAll(l, func(payload []byte) error {
		if n++; skip != nil && skip(n) {
			return nil
		}
		return b.Add(payload)
	})
	err = errors.Join(err, b.Close())
	return out.Bytes(), err
}

// sealAll gives fn all that a laptop has and can prove, in segments.
func (w *World) sealAll(l *Laptop, fn func([]byte) error) error {
	for _, r := range l.Log.Branches() {
		for after := r.Base.Seq; after < r.Head.Seq; {
			payload, end, err := l.Bench.Seal(r.Branch, after)
			if errors.Is(err, replicate.ErrUnproven) {
				break
			}
			if err != nil {
				return err
			}
			after = end.Seq
			if err := fn(payload); err != nil {
				return err
			}
		}
	}
	return nil
}

// plug lets a laptop read a stick.
func (w *World) plug(l *Laptop, stick []byte) error {
	if err := l.Bench.Hold(false, l.now()); err != nil {
		return err
	}
	_, err := bundle.Read(bytes.NewReader(stick), w.shop.id, nil, func(payload []byte) error {
		came, err := l.Bench.Bundle(payload, l.now())
		if err != nil {
			return ourError{err}
		}
		w.tell("%s takes %d events of %s/%d, had %v, aside %d", l.Name, came.Took, came.Place.Feed.Short(), came.Place.Last, came.Had, came.Aside)
		if w.Log != nil && came.Words != "" {
			w.Log("    " + came.Words)
		}
		if err := w.inspect(l); err != nil {
			return ourError{err}
		}
		return nil
	})
	var ours ourError
	if errors.As(err, &ours) {
		return ours.error
	}
	return nil // a stick that is none is told to a person
}

// ourError is one of the laptop, not of the stick.
type ourError struct{ error }

// writeNewer writes events that only a newer program can read, on a feed of
// their own.
func (w *World) writeNewer(l *Laptop, n int) error {
	var run [16]byte
	if _, err := l.random.Read(run[:]); err != nil {
		return err
	}
	w.tell("%s writes %d events of a newer program", l.Name, n)
	head := events.Head{Feed: events.FeedID{Bench: l.ID, Incarnation: run}}
	evs, err := chain(head, w.shop.id, l.clock, l.random, n, func(i int) (events.Envelope, events.RawBody) {
		return events.Envelope{Kind: 90, Version: 3, About: unit}, events.RawBody{0xa1, 0x01, 0x18, byte(24 + i%200)}
	})
	if err != nil {
		return err
	}
	end, err := l.Key.SignHead(w.shop.id, evs[len(evs)-1].Head())
	if err != nil {
		return err
	}
	if err := replicate.OnLog(l.Log).Receive(evs, []events.SignedHead{end}, nil); err != nil {
		return err
	}
	for _, e := range evs {
		l.Acked[e.Hash] = true
		if err := w.book.write(e, true); err != nil {
			return err
		}
	}
	return nil
}
