package app

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"time"

	"oldhand/events/evidence"
	"oldhand/sync/exchange"
	"oldhand/sync/meet"
	"oldhand/sync/replicate"
	"oldhand/sync/seal"
)

// CarryUpTo is the size up to which photos and recordings travel by themselves, in
// bytes: every photo, and a quarter of an hour of packed sound. Larger ones are few
// and would fill each bench's disk.
const CarryUpTo = 16 << 20

// Brought says what exchanging photos and recordings came to.
type Brought struct {
	Took int      `json:"taken"`
	Gave int      `json:"given"`
	Away int      `json:"away"` // that entries name, and are at other benches
	Says []string `json:"says"` // in words, what did not come and why
}

// errand is what this bench has and wants of photos and recordings: all that is
// needed once the folder is closed.
func (s *Shop) errand(b *replicate.Bench) (meet.Errand, error) {
	n, err := s.named()
	if err != nil {
		return meet.Errand{}, err
	}
	ring := b.Inbox.Ring()
	return meet.Errand{
		Shop: s.Log.Shop(), Store: s.pieces(), Named: n.wanted(s.Log.Cuts()), UpTo: CarryUpTo, Random: rand.Reader, Now: time.Now,
		Keys: func(epoch uint32) (list []seal.Key) {
			for _, k := range ring.Of(epoch) {
				list = append(list, seal.Key(k.Secret))
			}
			return list
		},
		Sealing: func() (uint32, seal.Key, bool) {
			k, ok := ring.Sealing()
			return k.Epoch, seal.Key(k.Secret), ok
		},
	}, nil
}

// Bring exchanges photos and recordings after a meeting, with the folder closed, so
// that nothing waits for them. UpTo is the size up to which, in bytes; zero is
// CarryUpTo. It gives nil where no entry names any.
func Bring(ctx context.Context, m Met, r *Reached, upTo int64, told func(meet.PiecesMet)) (*Brought, error) {
	if len(m.errand.Named) == 0 {
		return nil, nil
	}
	if upTo > 0 {
		m.errand.UpTo = upTo
	}
	met, err := meet.Pieces(ctx, m.errand, r.x, told)
	b := broughtOf(met, m.errand.UpTo)
	switch {
	case errors.Is(err, exchange.ErrNoStream):
		b.Says, err = []string{"photos and recordings do not travel by this exchange: an older program hosts it"}, nil
	case errors.Is(err, evidence.ErrBusy):
		b.Says, err = []string{"another oldhand fetches photos and recordings into this folder"}, nil
	case ctx.Err() != nil:
		err = ErrStopped
	case err != nil:
		err = r.broke(err)
	}
	return b, err
}

// ProgressText says how far it is, in words.
func ProgressText(m meet.PiecesMet) string {
	return fmt.Sprintf("photos and recordings: %d taken, %d given so far, %s", m.Took, m.Gave, orElse(SizeText(m.Bytes), "0 bytes"))
}

func broughtOf(m meet.PiecesMet, upTo int64) *Brought {
	b := &Brought{Took: m.Took, Gave: m.Gave, Away: m.Lacking + m.Large + m.Waiting + m.Refused, Says: []string{}}
	for _, s := range []struct {
		n     int
		words string
	}{
		{m.Lacking, "at benches that have not brought them here yet"},
		{m.Large, fmt.Sprintf("left at other benches, because larger than %d MiB", upTo>>20)},
		{m.Waiting, "not to be opened before the shop's key comes"},
		{m.Refused, "came damaged, or as something else, and were not taken; they are asked for again"},
	} {
		if s.n > 0 {
			b.Says = append(b.Says, fmt.Sprintf("photos and recordings %s: %d", s.words, s.n))
		}
	}
	if m.Full {
		b.Says = append(b.Says, "the exchange has no more room for photos and recordings; those here stay here")
	}
	if m.NoRoom {
		b.Says = append(b.Says, "this bench's disk is too full for more photos and recordings")
	}
	return b
}
