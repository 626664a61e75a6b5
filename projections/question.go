package projections

import (
	"encoding/binary"

	"oldhand/events"
)

// Reader is where views are read: a log's view, or the action being made.
type Reader interface {
	Get(k []byte) ([]byte, error)
	Scan(lo, hi []byte, fn func(k, v []byte) (bool, error)) error
	Events(subject [16]byte) ([]events.Event, error)
}

// Store is where views are read and changed.
type Store interface {
	Reader
	Put(k, v []byte)
	Delete(k []byte)
}

// Question is one fleet question: what each unit's history contributes to it,
// and how the answer is drawn from how often each row was contributed.
type Question struct {
	ID     byte   // in keys; never changes, never given again
	Name   string // on the command line and the page
	Title  string
	rows   func(*History) [][]byte
	answer func(t Tally, asOf events.Day) (*Result, error)
}

// Tally is how often each row of one question is contributed by all units.
type Tally struct {
	r  Reader
	id byte
}

// Each calls fn with the rows whose bytes begin with a prefix, in order.
func (t Tally) Each(prefix []byte, fn func(row []byte, count uint64) (bool, error)) error {
	lo := append([]byte{'t', t.id}, prefix...)
	return t.r.Scan(lo, after(lo), func(k, v []byte) (bool, error) {
		n, size := binary.Uvarint(v)
		if size <= 0 {
			return false, errView
		}
		return fn(k[2:], n)
	})
}

// after is the first key behind all that begin with a prefix.
func after(prefix []byte) []byte {
	hi := append([]byte(nil), prefix...)
	for i := len(hi) - 1; i >= 0; i-- {
		if hi[i]++; hi[i] != 0 {
			return hi[:i+1]
		}
	}
	return append(hi, make([]byte, 64)...)
}

// Result is the one shape of an answer, for the command line, the page, paper
// and export alike.
type Result struct {
	Question string    `json:"question"`
	AsOf     string    `json:"as_of"`
	Rows     []any     `json:"rows"`
	Missing  []Missing `json:"missing"`
	Method   string    `json:"method"`
	Notes    []string  `json:"notes"`
}

// Missing says what an answer leaves out, and how much of it.
type Missing struct {
	What  string `json:"what"`
	Count uint64 `json:"count"`
}

// Ask answers a question as of a day.
func Ask(r Reader, q Question, asOf events.Day) (*Result, error) {
	res, err := q.answer(Tally{r, q.ID}, asOf)
	if err != nil {
		return nil, err
	}
	res.Question, res.AsOf = q.Name, asOf.String()
	if res.Rows == nil {
		res.Rows = []any{}
	}
	if res.Missing == nil {
		res.Missing = []Missing{}
	}
	if res.Notes == nil {
		res.Notes = []string{}
	}
	return res, nil
}
