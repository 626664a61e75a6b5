package benchtest

import (
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"maps"
	"slices"

	"oldhand/events"
	"oldhand/sync/replicate"
	"oldhand/sync/segment"
)

// Model is an exchange in memory: numbered messages, of which each feed's follow
// one another, and the ways in which one fails. The tests of package meet hold it
// beside a real host, reply by reply.
//
// A real exchange loses a message in three ways, which look different from
// outside. Where one was taken out, the count of messages says so (Lose). Where
// its bytes went bad under the server's index, the server goes on counting it:
// readers pass over it, and of a feed whose last it was the exchange says that it
// has none (Spoil). Where the index is gone as well, everything behind the bad
// bytes goes with them, and the numbers are given again (Cut).
type Model struct {
	Epoch    string
	Messages []replicate.Message // by number, as the store counts them
	bad      map[uint64]bool     // numbers of those that can't be read
	last     uint64              // number of the last that was ever stored
	made     int
	copies   []*Model // as it was, to be put back
}

// NewModel makes an empty exchange.
func NewModel(name string) *Model { return &Model{Epoch: name} }

// State is what it says of itself.
func (m *Model) State() replicate.State {
	return replicate.State{Epoch: m.Epoch, Last: m.last, Holes: m.last - uint64(len(m.Messages))}
}

// Publish stores a payload behind a feed's message.
func (m *Model) Publish(f events.FeedID, expect uint64, payload []byte) (uint64, replicate.Failure) {
	if len(payload) == 0 || len(payload) > segment.MaxSealed {
		return 0, replicate.TooLarge
	}
	if last, _ := m.Last(f); last.Number != expect {
		return 0, replicate.Behind
	}
	m.last++
	m.Messages = append(m.Messages, replicate.Message{Epoch: m.Epoch, Number: m.last, Feed: f, Payload: payload})
	return m.last, 0
}

// Last is a feed's last message; none where that can't be read, whatever there is
// before it.
func (m *Model) Last(f events.FeedID) (replicate.Message, replicate.Failure) {
	for _, msg := range slices.Backward(m.Messages) {
		if msg.Feed == f && m.bad[msg.Number] {
			break
		}
		if msg.Feed == f {
			return msg, 0
		}
	}
	return replicate.Message{}, 0
}

// From is the first message at a number or behind it that can be read.
func (m *Model) From(number uint64) (replicate.Message, bool) {
	i, _ := slices.BinarySearchFunc(m.Messages, number, func(a replicate.Message, n uint64) int { return cmp.Compare(a.Number, n) })
	for ; i < len(m.Messages); i++ {
		if !m.bad[m.Messages[i].Number] {
			return m.Messages[i], true
		}
	}
	return replicate.Message{}, false
}

// Readable are the messages that can be given.
func (m *Model) Readable() []replicate.Message {
	return slices.DeleteFunc(slices.Clone(m.Messages), func(msg replicate.Message) bool { return m.bad[msg.Number] })
}

// Lacking are how many messages up to the last can't be given, and a hash of their
// numbers, as package exchange makes it.
func (m *Model) Lacking() (count, sum uint64) {
	h := fnv.New64a()
	for n := uint64(1); n <= m.last; n++ {
		if msg, ok := m.From(n); !ok || msg.Number != n {
			count++
			h.Write(binary.BigEndian.AppendUint64(nil, n))
		}
	}
	if count > 0 {
		sum = h.Sum64()
	}
	return count, sum
}

// Holds reports whether the message that a cursor names is there.
func (m *Model) Holds(c replicate.Cursor) bool {
	if c.Epoch != m.Epoch {
		return false
	}
	if c.Message == 0 {
		return true
	}
	msg, ok := m.From(c.Message)
	return ok && msg.Number == c.Message && sha256.Sum256(msg.Payload) == c.Hash
}

// Reset makes it a new and empty exchange.
func (m *Model) Reset() {
	m.made++
	*m = Model{Epoch: fmt.Sprintf("%.1s%d", m.Epoch, m.made), made: m.made, copies: m.copies}
}

// Copy keeps the exchange as it is, to be put back later.
func (m *Model) Copy() {
	c := *m
	c.Messages, c.bad, c.copies = slices.Clone(m.Messages), maps.Clone(m.bad), nil
	m.copies = append(m.copies, &c)
}

// PutBack makes it what it was when a copy was made.
func (m *Model) PutBack(i int) {
	c := *m.copies[i]
	c.Messages, c.bad, c.copies, c.made = slices.Clone(c.Messages), maps.Clone(c.bad), m.copies, m.made
	*m = c
}

// Lose takes one message out, as whoever runs the exchange could. Where others
// are spoiled the real store does more than that, which no script tries.
func (m *Model) Lose(i int) {
	delete(m.bad, m.Messages[i].Number)
	m.Messages = slices.Delete(m.Messages, i, i+1)
}

// Spoil makes one message unreadable, as a bad sector does. Nothing that a bench
// asks when it meets the exchange shows it: only who reads on from before the
// message finds that its number does not come.
func (m *Model) Spoil(i int) {
	if m.bad == nil {
		m.bad = map[uint64]bool{}
	}
	m.bad[m.Messages[i].Number] = true
}

// Cut takes away a message and all behind it, or more where one before it can't
// be read.
func (m *Model) Cut(i int) {
	if bad := slices.IndexFunc(m.Messages[:i], func(msg replicate.Message) bool { return m.bad[msg.Number] }); bad >= 0 {
		i = bad
	}
	for _, msg := range m.Messages[i:] {
		delete(m.bad, msg.Number)
	}
	m.Messages, m.last = m.Messages[:i], m.Messages[i].Number-1
}
