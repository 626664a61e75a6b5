package web

import (
	"crypto/rand"
	"sync"
)

// notice is what a page says of the last thing that was done.
type notice struct {
	Words string
	Warn  bool // it wants to be looked at
}

// said keeps notices for the pages that follow. Showing one takes nothing away,
// so that loading a page again changes nothing.
type said struct {
	mu   sync.Mutex
	kept []words
}

type words struct {
	id   string
	list []notice
}

const mostSaid = 200

// keep gives the id that a page shows notices by.
func (s *said) keep(list []notice) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	id := rand.Text()[:10]
	s.kept = append(s.kept, words{id, list})
	if len(s.kept) > mostSaid {
		s.kept = s.kept[1:]
	}
	return id
}

func (s *said) by(id string) []notice {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, w := range s.kept {
		if w.id == id {
			return w.list
		}
	}
	return nil
}
