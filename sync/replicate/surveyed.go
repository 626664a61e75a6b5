package replicate

import (
	"fmt"
	"time"

	"oldhand/sync/replicate/planted"
)

// A message whose bytes went bad at an exchange is still counted there, and
// nothing that is asked when the exchange is met shows it. So now and then all
// numbers are gone through, and an exchange that lacks others than it did before
// is read anew: of each feed the spot then stops before what is lacking, and what
// lies behind that here is given again (F21).

// SurveyedAt is when it was last looked at which messages of an exchange can be
// read; the zero time for never.
func (b *Bench) SurveyedAt(epoch string) (time.Time, error) {
	s, err := b.surveyed(epoch)
	return s.At, err
}

// Surveyed tells which messages an exchange lacks, by a hash of their numbers
// that is zero for none. It is for before Meet, which begins from the first
// message where they are others than before.
func (b *Bench) Surveyed(epoch string, sum uint64, at time.Time) error {
	before, err := b.surveyed(epoch)
	if err != nil {
		return err
	}
	marks := []Mark{survey{sum, at}.mark(epoch)}
	if sum != 0 && sum != before.Sum && !planted.Bug("a message that went bad is passed over") {
		gone, err := b.marksOf(epoch)
		if err != nil {
			return err
		}
		marks = append(marks, gone...)
	}
	if err := b.log.Receive(nil, nil, marks); err != nil {
		return fmt.Errorf("remember what an exchange lacks: %w", err)
	}
	b.known = epoch
	return nil
}

// notSurveyed forgets what an exchange was seen to lack, for when it is read from
// the first message: one that was bad and can be read then (its files were put
// back) is news when it goes bad again, though the exchange lacks what it did.
func notSurveyed(epoch string) Mark { return Mark{surveyKey(epoch), nil} }

func (b *Bench) surveyed(epoch string) (s survey, err error) {
	key := surveyKey(epoch)
	err = b.log.Marks(key, func(k, v []byte) (err error) {
		if string(k) == string(key) {
			s, err = readSurvey(v)
		}
		return err
	})
	return s, err
}
