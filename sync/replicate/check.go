package replicate

import (
	"fmt"

	"oldhand/events"
)

// Check holds what is remembered of exchanges against the log: no mark may say
// that more is here, or known, than there is. It is for tests and for whoever
// suspects a disk.
func (b *Bench) Check() error {
	return b.log.Marks([]byte{'t'}, func(k, v []byte) error {
		f, s, err := readSpot(k, v)
		if err != nil {
			return err
		}
		return b.checkSpot(f, s)
	})
}

func (b *Bench) checkSpot(f events.FeedID, s Spot) error {
	h, ok, err := b.log.HashAt(f, s.Head.Seq)
	if err == nil && (!ok || h != s.Head.Hash) {
		err = fmt.Errorf("feed %s is given as far as %d (%s) at message %d, which is not here (%s)",
			f.Short(), s.Head.Seq, s.Head.Hash.Short(), s.Message, h.Short())
	}
	return err
}
