package projections_test

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"

	"github.com/cockroachdb/pebble/v2/vfs"
	"pgregory.net/rapid"
)

// people records and forgets customers on a log, in any order.
type people struct {
	t   *rapid.T
	log *eventlog.Log
	key map[events.PersonID]events.PersonKey
}

// ownLog is a log that a bench writes.
func ownLog(t fataler) *eventlog.Log {
	key, err := events.NewBenchKey()
	if err != nil {
		t.Fatal(err)
	}
	l, err := eventlog.Open(eventlog.Options{Dir: "store", FS: vfs.NewMem(), Create: true, Projector: projections.Engine{}, Key: key, Shop: events.ShopID{1}})
	if err != nil {
		t.Fatal(err)
	}
	return l
}

var firstNames = []string{"Odile", "odile", "Ödön", "Balthasar", "Bal", "Wil helmina", "A\nB", ""}
var lastNames = []string{"Marchbanks", "MARCH", "Inkpen", "ink", "Quarterlight"}

func (p *people) id() events.PersonID {
	return events.PersonID{byte(rapid.IntRange(1, 6).Draw(p.t, "person"))}
}

func (p *people) act(fn func(tx *eventlog.Tx) error) {
	if err := p.log.Append(context.Background(), fn); err != nil && !errors.Is(err, events.ErrForgotten) {
		p.t.Fatal(err)
	}
}

func (p *people) record() {
	id := p.id()
	key, had := p.key[id]
	if !had {
		key = events.PersonKey{1, byte(rapid.IntRange(1, 250).Draw(p.t, "key"))}
		p.key[id] = key
	}
	who := events.Personal{City: "Lower Tarn", Name: rapid.SampledFrom(firstNames).Draw(p.t, "first") + " " + rapid.SampledFrom(lastNames).Draw(p.t, "last")}
	sealed, err := who.Seal(id, key, [24]byte{byte(rapid.IntRange(0, 250).Draw(p.t, "nonce"))})
	if err != nil {
		p.t.Fatal(err)
	}
	p.act(func(tx *eventlog.Tx) error {
		if _, err := tx.Add(events.Draft{About: id, At: events.OnDay(20_000), Body: sealed}); err != nil {
			return err
		}
		if _, err := tx.Add(events.Draft{About: unitOfPerson(id), At: events.OnDay(20_000), Body: events.Received{Maker: "Ostrel", Person: id}}); err != nil {
			return err
		}
		return tx.PutPersonKey(id, key)
	})
}

func unitOfPerson(id events.PersonID) events.UnitID { return events.UnitID{15: id[0]} }

// forget heeds an order, which comes without an event where another bench had it.
func (p *people) forget() {
	id := p.id()
	p.act(func(tx *eventlog.Tx) error {
		return tx.KeepPerson(events.KeyEntry{Person: id, Order: events.ForgetOrder{1}})
	})
}

// recordUnopened records a customer whose key is not here, as events bring one before
// the keys come.
func (p *people) recordUnopened() {
	id := p.id()
	key, had := p.key[id]
	if !had {
		key = events.PersonKey{1, byte(rapid.IntRange(1, 250).Draw(p.t, "key"))}
		p.key[id] = key
	}
	sealed, err := events.Personal{City: "Lower Tarn", Name: "Odile Marchbanks"}.Seal(id, key, [24]byte{})
	if err != nil {
		p.t.Fatal(err)
	}
	p.act(func(tx *eventlog.Tx) error {
		if _, err := tx.Add(events.Draft{About: id, At: events.OnDay(20_000), Body: sealed}); err != nil {
			return err
		}
		_, err := tx.Add(events.Draft{About: unitOfPerson(id), At: events.OnDay(20_000), Body: events.Received{Maker: "Ostrel", Person: id}})
		return err
	})
}

// keyCame takes a key that was not here.
func (p *people) keyCame() {
	id := p.id()
	if key, had := p.key[id]; had {
		p.act(func(tx *eventlog.Tx) error { return tx.PutPersonKey(id, key) })
	}
}

func (p *people) other() {
	p.act(func(tx *eventlog.Tx) error {
		_, err := tx.Add(events.Draft{About: unitOfPerson(p.id()), At: events.OnDay(20_001), Body: events.Note{Text: "looked at"}})
		return err
	})
}

func (p *people) view() *eventlog.View {
	v, err := p.log.View()
	if err != nil {
		p.t.Fatal(err)
	}
	return v
}

// plainly opens every customer for each looking.
func plainly(v *eventlog.View, words []string) (found []projections.Named, err error) {
	err = projections.EachPerson(v, v, func(id events.PersonID, who events.Personal) (bool, error) {
		for _, w := range words {
			if !strings.Contains(strings.ToLower(who.Name), w) {
				return true, nil
			}
		}
		found = append(found, projections.Named{ID: id, Name: who.Name})
		return true, nil
	})
	return found, err
}

// Names that are kept open are those that opening each anew gives, whatever was
// recorded, recorded anew and forgotten meanwhile; one who was forgotten is out of
// memory as soon as that was told; and a view from before brings nobody back (P15).
func TestP15_NamesKeptOpenAreThoseOfTheNewestView(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := &people{t: t, log: ownLog(t), key: map[events.PersonID]events.PersonKey{}}
		defer p.log.Close()
		var kept projections.Customers
		p.record()
		before := p.view()
		defer before.Close()
		for range rapid.IntRange(1, 15).Draw(t, "steps") {
			rapid.SampledFrom([]func(){p.record, p.record, p.recordUnopened, p.keyCame, p.forget, p.other}).Draw(t, "step")()
			v := p.view()
			if rapid.Bool().Draw(t, "told") {
				if err := kept.Refresh(v); err != nil {
					t.Fatal(err)
				}
				held := kept.Held()
				all, err := plainly(v, nil)
				if err != nil {
					t.Fatal(err)
				}
				if held != nil && !slices.Equal(held, all) {
					t.Fatalf("in memory is %q, want %q", held, all)
				}
			}
			if rapid.Bool().Draw(t, "looks") {
				query := rapid.SampledFrom([]string{"odile", "march", "bal ink", "ink", "ödön", "b march", "helmina quarter", "nobody"}).Draw(t, "query")
				p.looksAlike(v, &kept, query)
			}
			v.Close()
			if rapid.Bool().Draw(t, "receives") {
				p.namesakesAlike(&kept)
			}
		}
		v := p.view()
		defer v.Close()
		if _, err := kept.Find(v, nil); err != nil {
			t.Fatal(err)
		}
		if _, err := kept.Find(before, []string{"a"}); err != nil {
			t.Fatal(err)
		}
		all, err := plainly(v, nil)
		if held := kept.Held(); err != nil || !slices.Equal(held, all) {
			t.Fatalf("after a look through an older view there is %q in memory, want %q (%v)", held, all, err)
		}
	})
}

func (p *people) looksAlike(v *eventlog.View, kept *projections.Customers, query string) {
	words := strings.Fields(query)
	want, err := plainly(v, words)
	if err != nil {
		p.t.Fatal(err)
	}
	got, err := kept.Find(v, words)
	slices.SortFunc(got, func(a, b projections.Named) int { return cmp.Compare(string(a.ID[:]), string(b.ID[:])) })
	if err != nil || !slices.Equal(got, want) {
		p.t.Fatalf("%q finds %q, want %q (%v)", query, got, want, err)
	}
	limit := rapid.IntRange(1, 4).Draw(p.t, "limit")
	some := p.found(v, kept, query, limit)
	if all := p.found(v, kept, query, 100); len(all) != len(want) || fmt.Sprint(some) != fmt.Sprint(all[:min(limit, len(all))]) {
		p.t.Fatalf("%q: the likest %d are %v of %v, whom %q brought in", query, limit, some, all, want)
	}
}

func (p *people) found(v *eventlog.View, kept *projections.Customers, query string, limit int) []projections.Match {
	ms, err := projections.Find(v, func(words []string) ([]projections.Named, error) { return kept.Find(v, words) }, query, limit)
	if err != nil {
		p.t.Fatal(err)
	}
	return ms
}

// namesakesAlike holds those who may have a name, as an action sees it that keeps a
// key or forgets somebody itself, against opening everybody.
func (p *people) namesakesAlike(kept *projections.Customers) {
	name := rapid.SampledFrom([]string{"Odile Marchbanks", "ODILE  march-banks", "bal ink", "Balthasar Inkpen", "A\nB March", "nobody"}).Draw(p.t, "name")
	id, how := p.id(), rapid.IntRange(0, 2).Draw(p.t, "this action")
	v := p.view()
	defer v.Close()
	p.act(func(tx *eventlog.Tx) error {
		var err error
		switch key, had := p.key[id]; {
		case how == 1:
			err = tx.KeepPerson(events.KeyEntry{Person: id, Order: events.ForgetOrder{1}})
		case how == 2 && had:
			err = tx.PutPersonKey(id, key)
		}
		if err != nil {
			return err
		}
		var want, got []events.PersonID
		err = projections.EachPerson(tx, tx, func(id events.PersonID, who events.Personal) (bool, error) {
			if events.Key(who.Name) == events.Key(name) {
				want = append(want, id)
			}
			return true, nil
		})
		if err != nil {
			return err
		}
		may, err := kept.Namesakes(v, tx, name)
		for _, id := range may {
			who, opening := projections.PersonOf(tx, tx, id)
			if err = errors.Join(err, opening); events.Key(who.Name) == events.Key(name) {
				got = append(got, id)
			}
		}
		if err != nil || !slices.Equal(got, want) {
			p.t.Fatalf("%q is the name of %v, want %v (%v)", name, got, want, err)
		}
		return err
	})
}
