package app

import (
	"crypto/sha256"
	"encoding/binary"
	"time"

	"oldhand/events/eventlog"
)

// A form that was sent can arrive twice: an impatient hand, or a browser that had
// no answer because the program ended between saving and saying so. Each form
// carries an id, and the batch that saves it marks the id as used, so that the two
// are saved together or not at all and a program that was started anew knows of it.

// sendingMark begins the keys of these marks.
const sendingMark = 'f'

// sendingLife is how long a form may lie about and still not be saved twice.
const sendingLife = 60 * 24 * time.Hour

// Twice is returned when a form was saved before. Nothing was written.
type Twice struct {
	Unit string // that it was about, where the form did not say it
	Same bool   // with the very same words
}

func (e *Twice) Error() string {
	if e.Same {
		return "this was saved already, the first time it was sent"
	}
	return "this form was saved already with other words, which stand in the unit's past; send it again if it is to be saved as one more"
}

// sending is one form that is being saved.
type sending struct {
	id   string
	sum  [8]byte // of its words
	unit string
	at   time.Time
}

// Once gives the shop for one action of a form, by the form's id and what was
// typed. The action is refused with *Twice where that form was saved before.
func (s *Shop) Once(id, words string) *Shop {
	if id == "" {
		return s
	}
	sum := sha256.Sum256([]byte(words))
	one := *s.Lend()
	one.sending = &sending{id: id, sum: [8]byte(sum[:8]), at: s.now()}
	return &one
}

// around is an action that saves the form's id with what it writes.
func (o *sending) around(fn func(*eventlog.Tx) error) func(*eventlog.Tx) error {
	if o == nil {
		return fn
	}
	return func(tx *eventlog.Tx) error {
		had, err := tx.Mark(o.key())
		if err != nil {
			return err
		}
		if len(had) >= 16 {
			return &Twice{Unit: string(had[16:]), Same: [8]byte(had[8:16]) == o.sum}
		}
		if err := fn(tx); err != nil {
			return err
		}
		tx.PutMark(o.key(), o.value())
		return nil
	}
}

// about remembers the unit that a form made, for when it is sent again.
func (o *sending) about(unit string) {
	if o != nil {
		o.unit = unit
	}
}

func (o *sending) key() []byte { return append([]byte{sendingMark}, o.id...) }

// value is the time, the sum of the words, the unit.
func (o *sending) value() []byte {
	v := binary.BigEndian.AppendUint64(nil, uint64(o.at.Unix()))
	return append(append(v, o.sum[:]...), o.unit...)
}

// WasSent reports whether a form with this id was saved.
func (s *Shop) WasSent(id string) (was bool, err error) {
	err = s.view(func(v *eventlog.View) error {
		had, err := v.Mark((&sending{id: id}).key())
		was = had != nil
		return err
	})
	return was, err
}

// forgetSendings takes away the marks of forms that nobody sends any more.
func (s *Shop) forgetSendings() error {
	var old [][]byte
	err := s.view(func(v *eventlog.View) error {
		return v.Marks([]byte{sendingMark}, []byte{sendingMark + 1}, func(k, v []byte) (bool, error) {
			if len(v) < 8 || s.now().Sub(time.Unix(int64(binary.BigEndian.Uint64(v)), 0)) > sendingLife {
				old = append(old, append([]byte(nil), k...))
			}
			return true, nil
		})
	})
	if err != nil || len(old) == 0 {
		return err
	}
	return s.act(func(tx *eventlog.Tx) error {
		for _, k := range old {
			tx.PutMark(k, nil)
		}
		return nil
	})
}
