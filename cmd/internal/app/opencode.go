package app

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"time"

	"oldhand/sync/roster/invite"
)

// OpenCode is a join code that somebody waits to be used.
type OpenCode struct {
	Invitation
	guest  invite.Guest
	made   time.Time
	before map[string]bool // who belonged to the shop when it was made
}

// CodeState says what became of a join code.
type CodeState struct {
	Open bool          `json:"open"`
	Left time.Duration `json:"left"` // while it is open
	Says string        `json:"says"`
}

// InviteAndWait makes a join code and remembers it, so that it can be asked what
// became of it.
func (s *Shop) InviteAndWait() (*OpenCode, error) {
	r, err := s.Roster()
	if err != nil {
		return nil, err
	}
	in, err := s.Invite()
	if err != nil {
		return nil, err
	}
	code, err := invite.Read(in.Code)
	if err != nil {
		return nil, err
	}
	login, err := code.Login()
	if err != nil {
		return nil, err
	}
	c := &OpenCode{Invitation: in, made: s.now(), before: map[string]bool{}}
	for _, b := range r.Benches() {
		c.before[b.ID.String()] = true
	}
	c.guest, err = invite.GuestOf(login)
	return c, err
}

// Stands says what became of a code: it is open until a bench joined with it,
// until its time is over, or until the host gave it up because somebody tried
// others.
func (s *Shop) Stands(c *OpenCode) (st CodeState, err error) {
	_, err = os.Stat(codePath(s.Dir, c.guest))
	left := invite.Life - s.now().Sub(c.made)
	switch {
	case err == nil && left > 0:
		return CodeState{true, left, "good for " + leftWords(left) + ", for one bench"}, nil
	case err == nil, errors.Is(err, fs.ErrNotExist) && left <= -invite.Life:
		return CodeState{Says: "not used in time; make another"}, nil
	case !errors.Is(err, fs.ErrNotExist):
		return st, err
	}
	r, err := s.Roster()
	if err != nil {
		return st, err
	}
	var came []string
	for _, b := range r.Benches() {
		if !c.before[b.ID.String()] {
			came = append(came, b.Name)
		}
	}
	if len(came) > 0 {
		return CodeState{Says: "used: bench " + strings.Join(came, " and bench ") + " joined"}, nil
	}
	return CodeState{Says: "given up: somebody tried wrong codes; make another, and look who is in the network"}, nil
}

// leftWords say how long something still lasts, as a person would.
func leftWords(d time.Duration) string {
	switch {
	case d > 90*time.Second:
		return fmt.Sprintf("another %d minutes", int((d+30*time.Second)/time.Minute))
	case d > time.Minute:
		return "another minute and a bit"
	case d > 30*time.Second:
		return "less than a minute"
	}
	return "some seconds"
}
