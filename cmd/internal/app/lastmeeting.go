package app

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strings"
	"time"
)

// lastMet is what this bench remembers of meeting others: when it met an exchange
// last and how it stood then, and which file of theirs it took something from last.
type lastMet struct {
	At       string `json:"at,omitempty"` // as metAt; empty for never
	AllHere  bool   `json:"all_here"`
	AllThere bool   `json:"all_there"`

	With     string   `json:"with,omitempty"`
	Loosened []string `json:"loosened,omitempty"` // in what the exchange was not as it should be

	File string `json:"file,omitempty"`
	Read string `json:"read,omitempty"` // when, as metAt
}

const (
	metFile = "met.json"
	metAt   = "2006-01-02 15:04" // in this machine's time
)

// last is the later of the two; zero where there was neither.
func (m lastMet) last() (at time.Time, err error) {
	for _, text := range []string{m.At, m.Read} {
		if text == "" {
			continue
		}
		t, err := time.ParseInLocation(metAt, text, time.Local)
		if err != nil {
			return at, err
		}
		if t.After(at) {
			at = t
		}
	}
	return at, nil
}

// says tells it.
func (m lastMet) says() string {
	var words []string
	if m.At != "" {
		words = append(words, "met the others last at "+m.At)
	}
	if m.Read != "" {
		words = append(words, fmt.Sprintf("took in a file of theirs last at %s (%s)", m.Read, m.File))
	}
	if len(words) == 0 {
		words = []string{"has not met the others yet"}
	}
	return "this bench " + strings.Join(words, ", and ")
}

// metLost is why it can't be told when this bench met the others last.
type metLost struct{ *Torn }

func (e *metLost) Error() string {
	return fmt.Sprintf("it can't be told when this bench met the others last: %v; nothing else hangs on it", e.Torn)
}

var errNoMeeting = errors.New("no meeting is in it")

// lastMeeting reads what is remembered. What can't be read keeps nobody from
// anything: lost says so, and the next meeting writes it anew.
func (s *Shop) lastMeeting() (m lastMet, lost *metLost) {
	var torn *Torn
	path := filepath.Join(s.Dir, metFile)
	switch err := readJSON(path, &m); {
	case errors.Is(err, fs.ErrNotExist):
		return lastMet{}, nil
	case errors.As(err, &torn):
		return lastMet{}, &metLost{torn}
	}
	_, err := m.last()
	if m.At == "" && m.Read == "" {
		err = errNoMeeting
	}
	if err != nil {
		return lastMet{}, &metLost{&Torn{path, err}}
	}
	return m, nil
}

func (s *Shop) rememberMeeting(m Met, loosened []string) error {
	was, _ := s.lastMeeting()
	return writeJSON(filepath.Join(s.Dir, metFile), lastMet{At: s.now().Format(metAt), AllHere: m.AllHere, AllThere: m.AllThere, With: m.With, Loosened: loosened, File: was.File, Read: was.Read})
}

// rememberFile notes a file of the others from which something came.
func (s *Shop) rememberFile(m Met) error {
	if m.Took == 0 {
		return nil
	}
	was, _ := s.lastMeeting()
	was.File, was.Read = m.With, s.now().Format(metAt)
	return writeJSON(filepath.Join(s.Dir, metFile), was)
}
