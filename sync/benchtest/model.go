package benchtest

import (
	"crypto/sha256"
	"fmt"
	"slices"

	"oldhand/events"
	"oldhand/sync/replicate"
)

// Model is an exchange in memory: numbered messages, of which each feed's follow
// one another, and the ways in which one fails.
type Model struct {
	Epoch    string
	Messages []replicate.Message // by number, without those that were lost
	last     uint64              // number of the last that was ever stored
	holes    uint64
	made     int
}

// NewModel makes an empty exchange.
func NewModel(name string) *Model { return &Model{Epoch: name} }

// State is what it says of itself.
func (m *Model) State() replicate.State {
	return replicate.State{Epoch: m.Epoch, Last: m.last, Holes: m.holes}
}

// Publish stores a payload behind a feed's message.
func (m *Model) Publish(f events.FeedID, expect uint64, payload []byte) (uint64, replicate.Failure) {
	if last, _ := m.Last(f); last.Number != expect {
		return 0, replicate.Behind
	}
	m.last++
	m.Messages = append(m.Messages, replicate.Message{Epoch: m.Epoch, Number: m.last, Feed: f, Payload: payload})
	return m.last, 0
}

// Last is a feed's last message.
func (m *Model) Last(f events.FeedID) (replicate.Message, replicate.Failure) {
	for _, msg := range slices.Backward(m.Messages) {
		if msg.Feed == f {
			return msg, 0
		}
	}
	return replicate.Message{}, 0
}

// From is the first message at a number or behind it.
func (m *Model) From(number uint64) (replicate.Message, bool) {
	i, _ := slices.BinarySearchFunc(m.Messages, number, func(a replicate.Message, n uint64) int { return int(a.Number) - int(n) })
	if i == len(m.Messages) {
		return replicate.Message{}, false
	}
	return m.Messages[i], true
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
	*m = Model{Epoch: fmt.Sprintf("%.1s%d", m.Epoch, m.made), made: m.made}
}

// Copy is the exchange as it is, to be put back later.
func (m *Model) Copy() *Model {
	c := *m
	c.Messages = slices.Clone(m.Messages)
	return &c
}

// PutBack makes it what it was when it was copied.
func (m *Model) PutBack(c *Model) {
	made := m.made
	*m = *c.Copy()
	m.made = made
}

// Lose takes one message away, as a bad sector does.
func (m *Model) Lose(i int) {
	m.Messages = slices.Delete(m.Messages, i, i+1)
	m.holes++
}
