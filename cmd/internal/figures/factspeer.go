package main

import (
	"errors"
	"os"
	"path/filepath"
	"slices"

	"oldhand/events"
)

// perBatch is how many events share a transaction of SQLite's.
const perBatch = 4000

// factsFolder has SQLite with the same events.
func (t *turn) factsFolder() string {
	return t.inStock(factsFolder, func(t *turn, place string) {
		t.check(os.Mkdir(place, 0o700))
		t.insertAll(place)
	})
}

// facts opens it, until the turn is over.
func (t *turn) facts() *peer { return t.openFacts(t.factsFolder()) }

func (t *turn) openFacts(dir string) *peer {
	db, err := openSQLite(filepath.Join(dir, "facts.db"), 64)
	t.check(err)
	t.Cleanup(func() { t.late = errors.Join(t.late, db.Close()) })
	return &peer{db: db}
}

// fillFacts gives SQLite the front's events feed by feed, as a bench gets them, and
// says how many seconds it took to insert them.
func (t *turn) fillFacts(p *peer) (took float64) {
	v := t.viewOf(t.front())
	feeds := map[events.FeedID]int{}
	batch := make([]events.Event, 0, perBatch)
	insert := func() error {
		took += t.timed(func() error { return p.insert(feeds, batch) })
		batch = batch[:0]
		return nil
	}
	t.check(v.Each(func(e events.Event) error {
		if batch = append(batch, e.Copied(slices.Clone(e.Record))); len(batch) < perBatch {
			return nil
		}
		return insert()
	}))
	t.check(insert())
	return took
}

// insert puts some events into the peer in one transaction.
func (p *peer) insert(feeds map[events.FeedID]int, some []events.Event) error {
	a, err := p.begin(feeds)
	if err != nil {
		return err
	}
	for _, e := range some {
		if err := a.add(e); err != nil {
			return errors.Join(err, a.tx.Rollback())
		}
	}
	return a.commit()
}

// appendedFeed is the number of a feed that the story does not have.
const appendedFeed = 1 << 20

// appendOne adds one event to the peer in a transaction of its own.
func (p *peer) appendOne() error {
	if p.like.Record == nil {
		if err := p.findLike(); err != nil {
			return err
		}
	}
	p.like.Seq++
	return p.insert(map[events.FeedID]int{p.like.Feed: appendedFeed}, []events.Event{p.like})
}

// findLike takes a note, or what else opens no visit, as the pattern of what is
// appended.
func (p *peer) findLike() error {
	var unit, id, hash []byte
	q := "SELECT unit, id, hash, record FROM event WHERE kind = ? LIMIT 1"
	if err := p.db.QueryRow(q, int(events.KindFaultFound)).Scan(&unit, &id, &hash, &p.like.Record); err != nil {
		return err
	}
	copy(p.like.About[:], unit)
	copy(p.like.ID[:], id)
	copy(p.like.Hash[:], hash)
	p.like.Kind = events.KindFaultFound
	return nil
}

// dropAppended takes away what was appended.
func (p *peer) dropAppended() error {
	_, err := p.db.Exec("DELETE FROM event WHERE feed = ?", appendedFeed)
	return err
}

// reindex makes the peer's indexes and counts anew.
func (p *peer) reindex() error {
	for _, text := range []string{"REINDEX", "DELETE FROM models", "INSERT INTO models SELECT maker, model, COUNT(*) FROM unit GROUP BY maker, model"} {
		if _, err := p.db.Exec(text); err != nil {
			return err
		}
	}
	return nil
}
