package app

import (
	"fmt"
	"slices"

	"oldhand/events"
	"oldhand/sync/roster/invite"
)

// onRefused hears of a login that was turned away. One that is of no bench and
// of no code is a guess at a code, and counts against all that are open; the
// fifth burns them. The same one again is no further guess: a machine whose old
// code is dead, or a bench that this one has not heard of, tries more than once.
func (h *Hosting) onRefused(login events.BenchID) {
	h.door.Lock()
	defer h.door.Unlock()
	if h.retired[login] || h.guesses[login] || slices.Contains(h.benches, login) {
		return
	}
	if err := h.guessed(invite.Guest(login)); err != nil {
		h.note("a login with no open code could not be looked into: " + err.Error())
	}
}

func (h *Hosting) guessed(g invite.Guest) error {
	if err := h.hearCodes(); err != nil { // one may have been made this moment
		return err
	}
	now := h.opt.clock()()
	before := h.codes.Open(now)
	codes, said := h.codes.Try(g, now)
	h.codes = codes
	left := map[invite.Guest]bool{}
	for _, o := range h.codes.Open(now) {
		left[o] = true
	}
	burnt := 0
	for _, o := range before {
		if left[o] {
			continue
		}
		burnt++
		if err := dropCode(h.dir, o); err != nil {
			return err
		}
	}
	if said == invite.Unknown && len(left) > 0 {
		h.guesses[events.BenchID(g)] = true
	}
	switch {
	case burnt > 0:
		clear(h.guesses)
		h.note(fmt.Sprintf("somebody tried %d wrong join codes; %s given up: make another with oldhand invite, and look who is in the network", invite.MaxTries, codesAre(burnt)))
		return h.setGuests()
	case said == invite.Unknown && len(before) > 0:
		h.note("somebody tried a wrong join code")
	}
	return nil
}

func codesAre(n int) string {
	if n == 1 {
		return "the open code is"
	}
	return fmt.Sprintf("the %d open codes are", n)
}

// hearCodes lets the host know of the codes that were made in its folder. The door is
// held.
func (h *Hosting) hearCodes() error {
	codes, err := readCodes(h.dir, h.opt.clock()())
	for _, c := range codes {
		h.codes = h.codes.Known(c.Guest, c.Made)
	}
	return err
}
