package main

import (
	"path/filepath"

	"oldhand/cmd/internal/app"
)

// Making all projections anew; beside it SQLite's indexes and counts made anew from
// its events.
func rebuildPart(t *turn) {
	s, p := t.openCopy(t.front()), t.factsCopy()
	f := &figure{name: "rebuild of all projections", unit: perSecond, peer: "SQLite", goal: atLeast(1e6)}
	n := float64(t.count())
	t.rounds(func() { f.beside(n/t.rebuilt(s), n/t.timed(p.reindex)) })
	t.tell(f)
}

// rebuilt has all projections of a shop made anew, and says how many seconds that took.
func (t *turn) rebuilt(s *app.Shop) float64 {
	return t.timed(func() error {
		_, err := s.Rebuild()
		return err
	})
}

// factsCopy is SQLite with the same events, to be changed.
func (t *turn) factsCopy() *peer {
	dir := filepath.Join(t.TempDir(), "facts")
	t.check(copyFolder(t.factsFolder(), dir))
	return t.openFacts(dir)
}
