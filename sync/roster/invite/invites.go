package invite

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"oldhand/events"

	"github.com/nats-io/nkeys"
)

const (
	// Life is how long a code can be used: time to walk to the other bench.
	Life = 10 * time.Minute

	// MaxTries is how many wrong logins a code outlives, less one: the fifth
	// burns it. A person who mistypes is told before anything is sent, so wrong
	// logins are no slips.
	MaxTries = 5

	// MaxCodes is how many codes a host keeps, dead ones included, so that who
	// comes late is told why.
	MaxCodes = 32
)

// Guest is the public half of a code's login.
type Guest [32]byte

// GuestOf is the guest that logs in with a key.
func GuestOf(login events.BenchKey) (Guest, error) {
	id, err := login.Public()
	return Guest(id), err
}

// ParseGuest reads a login's public key as an exchange names it: an nkey of a
// user.
func ParseGuest(text string) (g Guest, err error) {
	raw, err := nkeys.Decode(nkeys.PrefixByteUser, []byte(text))
	if err != nil || len(raw) != len(g) {
		return Guest{}, fmt.Errorf("guest %q: not a user's key", text)
	}
	copy(g[:], raw)
	return g, nil
}

// Reply is what a host says to a guest's login.
type Reply uint8

// The replies. The zero one is none, so that a reply forgotten opens nothing.
const (
	Accepted Reply = iota + 1
	Unknown        // no code has this login
	Expired        // the code is older than Life
	Burnt          // there were MaxTries wrong logins while it was open
	Used           // a bench joined with it
)

func (r Reply) String() string {
	return map[Reply]string{Accepted: "accepted", Unknown: "no such join code", Expired: "the join code is older than ten minutes",
		Burnt: "the join code was given up after wrong tries", Used: "the join code was used"}[r]
}

// invite is one code as its host knows it: no secret.
type invite struct {
	guest Guest
	made  time.Time
	wrong int
	state Reply // Accepted while it is open
}

// Invites is a host's codes. It is a value; the zero one has none. What changes
// gives another value.
type Invites struct{ list []invite } // oldest first

// ErrTooManyCodes is returned when as many codes are open as a host keeps.
var ErrTooManyCodes = errors.New("too many join codes are open")

// New opens a code for what the host says of itself: a code without its
// secret, which is the random bytes.
func (s Invites) New(host Code, random Secret, now time.Time) (Invites, Code, error) {
	code := host
	code.Secret, code.Addresses = random, slices.Clone(host.Addresses)
	if _, err := code.Text(); err != nil {
		return s, Code{}, err
	}
	login, err := code.Login()
	if err != nil {
		return s, Code{}, err
	}
	guest, err := GuestOf(login)
	if err != nil {
		return s, Code{}, err
	}
	s = s.at(now)
	if slices.ContainsFunc(s.list, func(i invite) bool { return i.guest == guest }) {
		return s, Code{}, errors.New("join code: the same random bytes twice")
	}
	if len(s.list) >= MaxCodes {
		dead := slices.IndexFunc(s.list, func(i invite) bool { return i.state != Accepted })
		if dead < 0 {
			return s, Code{}, fmt.Errorf("%d of them: %w", len(s.list), ErrTooManyCodes)
		}
		s.list = slices.Delete(s.list, dead, dead+1)
	}
	s.list = append(s.list, invite{guest, now, 0, Accepted})
	return s, code, nil
}

// at is the codes at a time. A clock set back does not lengthen a life: a code
// from the future by more than a life is as dead as one from the past.
func (s Invites) at(now time.Time) Invites {
	s.list = slices.Clone(s.list)
	for i := range s.list {
		if s.list[i].state == Accepted && now.Sub(s.list[i].made).Abs() >= Life {
			s.list[i].state = Expired
		}
	}
	return s
}

// Try answers a login. One that fits no code counts against all that are open,
// since nobody can say which it was meant for. One that fits counts against
// none: a joiner's network may fail as often as it likes.
func (s Invites) Try(g Guest, now time.Time) (Invites, Reply) {
	s = s.at(now)
	for _, i := range s.list {
		if i.guest == g {
			return s, i.state
		}
	}
	for i := range s.list {
		open := s.list[i].state == Accepted
		if open {
			s.list[i].wrong++
		}
		if open && s.list[i].wrong >= MaxTries {
			s.list[i].state = Burnt
		}
	}
	return s, Unknown
}

// Known adds a code that was made elsewhere, by the public half of its login.
func (s Invites) Known(g Guest, made time.Time) Invites {
	if slices.ContainsFunc(s.list, func(i invite) bool { return i.guest == g }) {
		return s
	}
	s.list = append(slices.Clone(s.list), invite{g, made, 0, Accepted})
	return s
}

// Use is Try, and takes the code out of use where it is accepted. The bench is
// admitted only after that, so a code admits one bench or none.
func (s Invites) Use(g Guest, now time.Time) (Invites, Reply) {
	s, reply := s.Try(g, now)
	if reply == Accepted {
		s.list[slices.IndexFunc(s.list, func(i invite) bool { return i.guest == g })].state = Used
	}
	return s, reply
}

// Open lists the logins that are accepted at a time, oldest first.
func (s Invites) Open(now time.Time) (list []Guest) {
	for _, i := range s.at(now).list {
		if i.state == Accepted {
			list = append(list, i.guest)
		}
	}
	return list
}
