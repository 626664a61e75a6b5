package replicate

import "fmt"

// Check holds what is remembered of exchanges against the log: no mark may say
// that more is here, or known, than there is. It is for tests and for whoever
// suspects a disk.
func (b *Bench) Check() error {
	for _, letter := range []byte{'t', 'b'} {
		err := b.log.Marks([]byte{letter}, func(k, v []byte) error {
			s, err := readSpot(k, v)
			if err != nil {
				return err
			}
			return b.checkSpot(s)
		})
		if err != nil {
			return err
		}
	}
	return nil
}

func (b *Bench) checkSpot(s spotOn) error {
	if s.Head.Seq == 0 {
		return nil
	}
	_, ok, err := b.log.Find(s.Head)
	if err == nil && !ok {
		err = fmt.Errorf("feed %s is given as far as %d (%s) at message %d, which is not here",
			s.Feed.Short(), s.Head.Seq, s.Head.Hash.Short(), s.Message)
	}
	return err
}
