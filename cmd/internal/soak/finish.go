package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"time"
)

// verdict is what the end found.
type verdict struct {
	digest  string
	events  int
	benches int // that hold the same
	units   int
	photos  int
	rest    map[string]rest
	gone    time.Duration // until what killed processes left behind had gone
}

// meetWithin is how long all may take to come to hold the same.
const meetWithin = 5 * time.Minute

// settleDown waits until all benches hold the same.
func (s *soak) settleDown() error {
	var last string
	for end := time.Now().Add(meetWithin); time.Now().Before(end) && s.all.Err() == nil; pause(s.all, time.Second) {
		same := true
		first := ""
		for i, b := range s.benches {
			has, err := s.has(b)
			if i == 0 {
				first = has
			}
			if err != nil || has != first || has == "" {
				same, last = false, fmt.Sprintf("%s has %s, %s has %s: %v", s.benches[0].name, first, b.name, has, err)
			}
		}
		if same {
			return nil
		}
	}
	return fmt.Errorf("the benches do not come to hold the same within %v: %s", meetWithin, last)
}

// has is what a bench has of each bench, in words that are equal where that is.
func (s *soak) has(b *bench) (string, error) {
	out, err := b.run(s.all, "benches", "--json")
	if err != nil {
		return "", err
	}
	var st struct {
		Benches []struct {
			Name            string
			Events, Missing uint64
		}
	}
	if err := json.Unmarshal(out, &st); err != nil {
		return "", err
	}
	var w strings.Builder
	for _, x := range st.Benches {
		fmt.Fprintf(&w, "%s %d+%d; ", x.Name, x.Events, x.Missing)
	}
	if len(st.Benches) < len(s.benches) {
		return "", fmt.Errorf("only %d benches are known", len(st.Benches))
	}
	return w.String(), nil
}

// finish ends all faults, has all benches meet, and looks at everything.
func (s *soak) finish() error {
	s.tell("work is over; all faults off")
	for i, b := range s.benches {
		if err := setClock(b.clock(), 0); err != nil {
			return err
		}
		if b.pid() == 0 {
			if err := b.start(); err != nil {
				s.wrong("bench %s: %v", b.name, err)
			}
		}
		form, typed := "watch", s.hosting()
		if i == 0 {
			form = "host"
		} else {
			typed = nil
		}
		if err := s.press(b, form, typed); err != nil {
			s.wrong("bench %s: %v", b.name, err)
		}
	}
	if err := s.settleDown(); err != nil {
		s.wrong("%v", err)
	} else {
		s.tell("all hold as many events")
	}
	s.compare()
	s.rebuild()
	for _, b := range s.benches {
		if err := s.holds(b, s.ledger.of("")); err != nil {
			s.wrong("%v", err)
		}
	}
	s.knowNobody()
	s.tell("everything is looked at; at rest for %v", s.idle)
	pause(s.all, s.idle)
	s.rest()
	s.judgeMemory()
	s.judgeWords()
	if n := s.did.never(append(append([]deed(nil), byPage...), byCommand...)...); len(n) > 0 && s.length >= 10*time.Minute {
		s.wrong("never done in all that time: %s", strings.Join(n, "; "))
	}
	s.stopAll()
	return nil
}

// compare checks every bench, what is kept beside what is made anew, and wants that
// all have one digest. Photos come after the events and may take a little longer.
func (s *soak) compare() {
	for _, b := range s.benches {
		var v struct {
			Digest        string
			Events, Units int
			OK            bool
			Wrong         string
			Attached      struct{ Here, Away int }
		}
		for end := time.Now().Add(meetWithin); time.Now().Before(end); pause(s.all, 2*time.Second) {
			out, err := b.run(s.all, "verify", "--json")
			if err == nil {
				err = json.Unmarshal(out, &v)
			}
			if err != nil || !v.OK {
				s.wrong("bench %s: %s: %v", b.name, v.Wrong, err)
				break
			}
			if v.Attached.Away == 0 {
				break
			}
		}
		if v.Attached.Away > 0 {
			s.wrong("bench %s: %d photos did not come within %v", b.name, v.Attached.Away, meetWithin)
		}
		if s.end.digest == "" {
			s.end.digest, s.end.events, s.end.units, s.end.photos = v.Digest, v.Events, v.Units, v.Attached.Here
		}
		if v.Digest == s.end.digest {
			s.end.benches++
		} else {
			s.wrong("bench %s has digest %s, %s has %s", b.name, v.Digest, s.benches[0].name, s.end.digest)
		}
	}
}

// rebuild has all that follows from the events made anew on the disks, which changes
// nothing of it.
func (s *soak) rebuild() {
	for _, b := range s.benches {
		if _, err := b.run(s.all, "rebuild"); err != nil {
			s.wrong("bench %s: %v", b.name, err)
		}
	}
	s.end.benches = 0
	s.compare()
}

// holds wants that a bench has what the ledger says.
func (s *soak) holds(b *bench, l *ledger) error {
	ctx, stop := context.WithTimeout(s.all, answerWithin)
	defer stop()
	c := exec.CommandContext(ctx, b.self, "export", "--shop", b.dir)
	c.Env, c.Dir = b.env, b.files()
	var words strings.Builder
	c.Stderr = &words
	out, err := c.StdoutPipe()
	if err != nil {
		return err
	}
	if err := c.Start(); err != nil {
		return err
	}
	h, err := readExport(out)
	if err = errors.Join(err, c.Wait()); err != nil {
		return fmt.Errorf("bench %s, export: %w: %s", b.name, err, words.String())
	}
	for i, w := range l.lacks(h) {
		if i == 5 {
			s.wrong("bench %s: and more of the kind", b.name)
			break
		}
		s.wrong("bench %s: %s", b.name, w)
	}
	return nil
}

// still wants that a bench has what it said is saved, after it was killed.
func (s *soak) still(b *bench) error {
	if err := s.holds(b, s.ledger.of(b.name)); err != nil && s.ctx.Err() == nil {
		return err
	}
	return nil
}

// knowNobody wants that no bench finds a customer who was forgotten.
func (s *soak) knowNobody() {
	for _, name := range s.ledger.of("").gone {
		for _, b := range s.benches {
			out, err := b.run(s.all, "past", name, "--json")
			if err == nil && strings.Contains(string(out), name) {
				s.wrong("bench %s knows %s, who was forgotten", b.name, name)
			}
		}
	}
}

// stopAll ends all processes as a person does.
func (s *soak) stopAll() {
	for _, b := range s.benches {
		if b.pid() == 0 {
			continue
		}
		how, err := b.end(os.Interrupt)
		if err != nil || !how.Success() {
			s.wrong("bench %s: it ends with %v: %v", b.name, how, err)
		}
	}
}
