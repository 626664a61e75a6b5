package main

import (
	"path/filepath"

	"oldhand/cmd/internal/app"
)

// Catching up: a bench that was let join takes the whole shop over, by the same way
// that the program goes. Segments come over TLS on loopback or out of a bundle; they
// are opened, their chains and signatures checked, synced, and histories and tallies
// made; all of it is in the time. Beside it SQLite takes the same events in, a large
// batch to a transaction.
func catchUpPart(t *turn) {
	p := t.full()
	bundle := t.bundle()
	n := float64(t.count())
	far := &figure{name: "catch-up by an exchange", unit: perSecond, peer: "SQLite", goal: ratioAtLeast(5)}
	carried := &figure{name: "catch-up by a bundle", unit: perSecond, peer: "SQLite", goal: ratioAtLeast(5)}
	t.rounds(func() {
		byWire, byFile, lite := t.joinAt(p), t.joinFrom(bundle), t.insertAnew()
		far.beside(n/byWire, n/lite)
		carried.beside(n/byFile, n/lite)
	})
	t.tell(far, carried)
}

// joined opens a bench that was let join and has nothing, has it take all, and says
// how many seconds that took. Its folder is gone afterwards.
func (t *turn) joined(take func(s *app.Shop) (app.Met, error)) (took float64) {
	t.check(t.attempt(func(t *turn) {
		s := t.openCopy(t.empty())
		var m app.Met
		took = t.timed(func() (err error) {
			m, err = take(s)
			return err
		})
		t.tookAll(m)
	}))
	return took
}

func (t *turn) joinAt(p place) float64 {
	return t.joined(func(s *app.Shop) (app.Met, error) {
		r, err := app.Reach(t.within(), s.Dir, []string{t.code(p, p.host.Addr().String())})
		if err != nil {
			return app.Met{}, err
		}
		defer r.Close()
		return s.Meet(t.within(), r, app.Patient, nil)
	})
}

func (t *turn) joinFrom(bundle string) float64 {
	return t.joined(func(s *app.Shop) (app.Met, error) { return s.ReadBundle(bundle, nil) })
}

// insertAll has SQLite take all events in, into a new file, and says how many
// seconds that took: reading the events is not in it.
func (t *turn) insertAll(dir string) (took float64) {
	t.check(t.attempt(func(t *turn) {
		p, err := createFacts(filepath.Join(dir, "facts.db"))
		t.check(err)
		took = t.fillFacts(p)
		t.check(p.db.Close())
	}))
	return took
}

// insertAnew is insertAll into a folder that is gone afterwards.
func (t *turn) insertAnew() (took float64) {
	t.check(t.attempt(func(t *turn) { took = t.insertAll(t.TempDir()) }))
	return took
}
