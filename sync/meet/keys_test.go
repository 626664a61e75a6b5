package meet_test

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
	"oldhand/sync/benchtest"
	"oldhand/sync/exchange"
	"oldhand/sync/keyring"
	"oldhand/sync/meet"
	"oldhand/sync/seal"
)

// keyShop is a shop whose benches exchange customers' keys as well.
type keyShop struct {
	*shop
	owner events.BenchKey
	dir   string
}

func newKeyShop(t testing.TB, seed uint64) keyShop {
	t.Helper()
	s := keyShop{shop: newShop(t, seed), dir: t.TempDir()}
	if err := s.host.Close(); err != nil {
		t.Fatal(err)
	}
	s.open(t, s.dir)
	var err error
	if s.owner, err = events.NewOwnerKey(); err != nil {
		t.Fatal(err)
	}
	return s
}

func (s keyShop) keeper(t testing.TB, l *benchtest.Laptop) *keyring.Keeper {
	t.Helper()
	owner, err := s.owner.Public()
	if err != nil {
		t.Fatal(err)
	}
	ring := l.Bench.Inbox.Ring()
	return &keyring.Keeper{
		Log: l.Log,
		Keys: func(epoch uint32) (list []seal.Key) {
			for _, k := range ring.Of(epoch) {
				list = append(list, seal.Key(k.Secret))
			}
			return list
		},
		Sealing: func() (uint32, seal.Key, bool) {
			k, ok := ring.Sealing()
			return k.Epoch, seal.Key(k.Secret), ok
		},
		Random: eventstest.Seeded(77),
		OwnerSigned: func(statement, signature []byte) error {
			if !ed25519.Verify(owner[:], statement, signature) {
				return errors.New("not the owner's")
			}
			return nil
		},
	}
}

// keys lets a laptop exchange events and then keys.
func (s keyShop) keys(t testing.TB, l *benchtest.Laptop) meet.KeysMet {
	t.Helper()
	s.once(t, l)
	return s.keysOnly(t, l, s.keeper(t, l))
}

func (s keyShop) keysOnly(t testing.TB, l *benchtest.Laptop, k *keyring.Keeper) meet.KeysMet {
	t.Helper()
	x := s.dial(t, l)
	defer x.Close()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	m, err := meet.Keys(ctx, k, x, nil)
	if err != nil {
		t.Fatalf("%s: %v (%+v)", l.Name, err, m)
	}
	return m
}

// want wants what a laptop's exchange of keys came to.
func (s keyShop) want(t *testing.T, l *benchtest.Laptop, took, gave, waiting int) {
	t.Helper()
	if m := s.keys(t, l); m.Took != took || m.Gave != gave || m.Waiting != waiting || m.Refused != 0 {
		t.Errorf("%s: %+v, want %d taken, %d given, %d waiting", l.Name, m, took, gave, waiting)
	}
}

// person draws a customer's key from a number.
func person(n byte) events.KeyEntry {
	return events.KeyEntry{Person: events.PersonID{n, 15: 1}, Key: events.PersonKey{n, 1, 2, 3, 4, 5, 6, 7, 31: 0x5a}}
}

// record records a customer at a laptop, with or without the key.
func record(t testing.TB, l *benchtest.Laptop, e events.KeyEntry, withKey bool) {
	t.Helper()
	body, err := events.Personal{Name: "Wilhelmina Quarterlight"}.Seal(e.Person, e.Key, [24]byte{9})
	if err == nil {
		err = l.Log.Append(t.Context(), func(tx *eventlog.Tx) error {
			if _, err := tx.Add(events.Draft{About: e.Person, Body: body}); err != nil || !withKey {
				return err
			}
			return tx.KeepPerson(e)
		})
	}
	if err != nil {
		t.Fatal(err)
	}
}

func has(t *testing.T, l *benchtest.Laptop, want ...events.KeyEntry) {
	t.Helper()
	v, err := l.Log.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	for _, w := range want {
		if e, err := v.Person(w.Person); err != nil || e != w {
			t.Errorf("%s has %+v (%v), want %+v", l.Name, e, err, w)
		}
	}
}

func forget(t *testing.T, s keyShop, l *benchtest.Laptop, p events.PersonID) events.KeyEntry {
	t.Helper()
	order, err := s.owner.Forget(l.Log.Shop(), p)
	if err != nil {
		t.Fatal(err)
	}
	e := events.KeyEntry{Person: p, Order: order}
	if err := l.Log.Append(t.Context(), func(tx *eventlog.Tx) error { return tx.KeepPerson(e) }); err != nil {
		t.Fatal(err)
	}
	return e
}

func TestKeysComeToEveryBenchWithTheirEvents_P4(t *testing.T) {
	s := newKeyShop(t, 20)
	a, b, c := s.Laptops[0], s.Laptops[1], s.Laptops[2]
	for n := range byte(205) { // more than two actions' worth
		record(t, a, person(n+1), true)
	}
	record(t, b, person(210), true)
	s.want(t, a, 0, 205, 0)
	s.want(t, b, 205, 1, 0)
	s.want(t, c, 206, 0, 0)
	s.want(t, a, 1, 0, 0)
	for _, l := range []*benchtest.Laptop{a, b, c} {
		has(t, l, person(1), person(205), person(210))
		s.want(t, l, 0, 0, 0)
	}
}

// Where nothing changed nothing is written, and nothing is read but two answers.
func TestAMeetingOfEqualsCostsNearlyNothing(t *testing.T) {
	s := newKeyShop(t, 21)
	a := s.Laptops[0]
	for n := range byte(50) {
		record(t, a, person(n+1), true)
	}
	s.want(t, a, 0, 50, 0)
	s.listen(t, "127.0.0.1:0")
	k := s.keeper(t, a)
	changed := a.Log.Changed()
	x, came := s.dialCounted(t, a)
	before := came()
	if _, err := meet.Keys(t.Context(), k, x, nil); err != nil {
		t.Fatal(err)
	}
	if n := came() - before; n == 0 || n > 8<<10 {
		t.Errorf("%d bytes came, of 50 keys of a kilobyte each", n)
	}
	select {
	case <-changed:
		t.Error("the log was written to")
	default:
	}
}

// A key that comes before what it opens waits, and is taken without being put
// again.
func TestAKeyWaitsForTheEventsItOpens_P10(t *testing.T) {
	s := newKeyShop(t, 22)
	a, b := s.Laptops[0], s.Laptops[1]
	record(t, a, person(1), true)
	s.keysOnly(t, a, s.keeper(t, a)) // its events stay here
	s.want(t, b, 0, 0, 1)
	has(t, b, events.KeyEntry{Person: person(1).Person})
	s.want(t, a, 0, 0, 0)
	s.want(t, b, 1, 0, 0)
	has(t, b, person(1))
}

// So does one that is sealed with a key of the shop that is not here yet.
func TestAKeyWaitsForTheShopsKey(t *testing.T) {
	s := newKeyShop(t, 23)
	a, b := s.Laptops[0], s.Laptops[1]
	record(t, a, person(1), true)
	s.want(t, a, 0, 1, 0)
	s.once(t, b)
	without := s.keeper(t, b)
	without.Keys = func(uint32) []seal.Key { return nil }
	for range 2 {
		if m := s.keysOnly(t, b, without); m.Took != 0 || m.Waiting != 1 {
			t.Errorf("without the shop's key: %+v", m)
		}
	}
	s.want(t, b, 1, 0, 0)
	has(t, b, person(1))
}

// An order to forget reaches all; nobody has the key again, whatever each had and
// in whatever order they come, and the exchange has it no more.
func TestAnOrderToForgetReachesAll_P15(t *testing.T) {
	s := newKeyShop(t, 24)
	a, b, c := s.Laptops[0], s.Laptops[1], s.Laptops[2]
	record(t, a, person(1), true)
	record(t, a, person(2), true)
	s.want(t, a, 0, 2, 0)
	s.want(t, b, 2, 0, 0)
	gone := forget(t, s, b, person(1).Person)
	s.want(t, b, 0, 1, 0)
	s.want(t, a, 1, 0, 0)
	s.want(t, c, 2, 0, 0)
	for _, l := range []*benchtest.Laptop{a, b, c} {
		has(t, l, gone, person(2))
		s.want(t, l, 0, 0, 0)
	}
	x := s.dial(t, a)
	defer x.Close()
	if st, err := x.KeyState(t.Context()); err != nil || st.Persons != 2 || st.LastSeq != 3 {
		t.Errorf("the exchange: %+v, %v", st, err)
	}
}

// An order that no owner signed changes nothing, also where it took a key's place
// on the exchange: a bench that has the key puts it back there.
func TestAForgedOrderIsRefusedAndReplaced_P15_F25(t *testing.T) {
	s := newKeyShop(t, 25)
	a, b := s.Laptops[0], s.Laptops[1]
	record(t, a, person(1), true)
	s.want(t, a, 0, 1, 0)
	k := s.keeper(t, b)
	forged, err := k.Seal(events.KeyEntry{Person: person(1).Person, Order: events.ForgetOrder{1}})
	if err != nil {
		t.Fatal(err)
	}
	x := s.dial(t, b)
	defer x.Close()
	if _, err := x.PutKey(t.Context(), person(1).Person, 1, forged); err != nil {
		t.Fatal(err)
	}
	if m := s.keys(t, b); m.Took != 0 || m.Refused != 1 {
		t.Errorf("the forger's neighbour: %+v", m)
	}
	s.want(t, a, 0, 1, 0)
	s.want(t, b, 1, 0, 0)
	has(t, a, person(1))
	has(t, b, person(1))
}

// Emptied, made anew, put back or damaged: any one bench fills the exchange again
// (P8, F19, F20, F21).
func TestTheExchangesKeysAreFilledAgain_P8_F19_F20_F21(t *testing.T) {
	for name, lose := range map[string]func(t *testing.T, s *keyShop){
		"made anew": func(t *testing.T, s *keyShop) {
			s.restart(t, func() { s.dir = t.TempDir() })
		},
		"put back to an older copy": func(t *testing.T, s *keyShop) {
			s.restart(t, func() {
				old := t.TempDir()
				if err := os.CopyFS(old, os.DirFS(s.dir+".older")); err != nil {
					t.Fatal(err)
				}
				s.dir = old
			})
		},
		"one message is damaged": func(t *testing.T, s *keyShop) {
			s.restart(t, func() { loseKey(t, s.dir, s.tag, 2) })
		},
		"the last message is damaged": func(t *testing.T, s *keyShop) {
			s.restart(t, func() { loseKey(t, s.dir, s.tag, 3) })
		},
	} {
		t.Run(name, func(t *testing.T) {
			s := newKeyShop(t, 26)
			a, b, c := s.Laptops[0], s.Laptops[1], s.Laptops[2]
			record(t, a, person(1), true)
			record(t, a, person(2), false)
			record(t, a, person(3), false)
			s.want(t, a, 0, 1, 0)
			s.restart(t, func() {
				if err := os.CopyFS(s.dir+".older", os.DirFS(s.dir)); err != nil {
					t.Fatal(err)
				}
			})
			t.Cleanup(func() { _ = os.RemoveAll(s.dir + ".older") })
			if err := a.Log.Append(t.Context(), func(tx *eventlog.Tx) error {
				return errors.Join(tx.KeepPerson(person(2)), tx.KeepPerson(person(3)))
			}); err != nil {
				t.Fatal(err)
			}
			s.want(t, a, 0, 2, 0)
			s.want(t, b, 3, 0, 0)
			lose(t, &s)
			s.once(t, b)
			s.keys(t, b)
			s.want(t, c, 3, 0, 0)
			has(t, c, person(1), person(2), person(3))
			s.want(t, a, 0, 0, 0)
		})
	}
}

// restart closes the host, changes something and opens it again.
func (s *keyShop) restart(t *testing.T, change func()) {
	t.Helper()
	if err := s.host.Close(); err != nil {
		t.Fatal(err)
	}
	change()
	s.open(t, s.dir)
}

// The host is started anew while keys are given: the meeting goes on, and nothing
// is given twice.
func TestACutIsNoEndOfGivingKeys_F15_F16(t *testing.T) {
	s := newKeyShop(t, 29)
	a, b := s.Laptops[0], s.Laptops[1]
	for n := range byte(150) {
		record(t, a, person(n+1), true)
	}
	s.once(t, a)
	s.listen(t, "127.0.0.1:0")
	x, err := exchange.Dial(t.Context(), exchange.DialOptions{Addrs: []string{s.host.Addr().String()}, Pins: []exchange.Pin{s.host.Pin()}, Key: a.Key, Tag: s.tag})
	if err != nil {
		t.Fatal(err)
	}
	defer x.Close()
	cuts := 0
	m, err := meet.Keys(t.Context(), s.keeper(t, a), x, func(meet.KeysMet) {
		if cuts++; cuts == 1 {
			s.listen(t, s.host.Addr().String())
		}
	})
	if err != nil || m.Gave < 149 {
		t.Errorf("%+v, %v", m, err)
	}
	if st, err := x.KeyState(t.Context()); err != nil || st.LastSeq != 150 || st.Persons != 150 {
		t.Errorf("%+v (%v) after %+v", st, err, m)
	}
	s.want(t, b, 150, 0, 0)
	s.want(t, a, 0, 0, 0)
}

// An exchange that was put back and written on may have as many messages of as
// many persons as were read of it: they are others.
func TestAnExchangeThatWasWrittenOnIsReadAgain_F20(t *testing.T) {
	s := newKeyShop(t, 30)
	a, b := s.Laptops[0], s.Laptops[1]
	record(t, a, person(1), false)
	record(t, a, person(2), false)
	s.want(t, a, 0, 0, 0)
	older := t.TempDir()
	s.restart(t, func() {
		if err := os.CopyFS(older, os.DirFS(s.dir)); err != nil {
			t.Fatal(err)
		}
	})
	keep := func(l *benchtest.Laptop, e events.KeyEntry) {
		if err := l.Log.Append(t.Context(), func(tx *eventlog.Tx) error { return tx.KeepPerson(e) }); err != nil {
			t.Fatal(err)
		}
	}
	keep(a, person(1))
	s.want(t, a, 0, 1, 0)
	s.restart(t, func() { s.dir = older })
	s.once(t, b)
	keep(b, person(2))
	s.want(t, b, 0, 1, 0)
	s.want(t, a, 1, 1, 0)
	s.want(t, b, 1, 0, 0)
	has(t, a, person(1), person(2))
	has(t, b, person(1), person(2))
}

// Whoever runs the exchange, or takes its disk, finds no key and no name there.
func TestNoKeyStandsOnTheExchangesDisk_P15(t *testing.T) {
	s := newKeyShop(t, 27)
	a := s.Laptops[0]
	record(t, a, person(1), true)
	s.want(t, a, 0, 1, 0)
	if err := s.host.Close(); err != nil {
		t.Fatal(err)
	}
	all := filesBelow(t, s.dir)
	k, subject := person(1), person(1).Person.String()
	if bytes.Contains(all, k.Key[:]) || bytes.Contains(all, k.Key[:8]) || bytes.Contains(all, []byte("Quarterlight")) {
		t.Error("the key or the name stands on the disk")
	}
	if !bytes.Contains(all, []byte(subject)) {
		t.Error("the subject, which is in clear, is not found: the search is no good")
	}
	s.open(t, s.dir)
}

func filesBelow(t *testing.T, dir string) (all []byte) {
	t.Helper()
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		all = append(all, b...)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// A bench without a key of the shop gives nothing and fails at nothing.
func TestABenchThatCannotSealGivesNoKey(t *testing.T) {
	s := newKeyShop(t, 28)
	a := s.Laptops[0]
	record(t, a, person(1), true)
	k := s.keeper(t, a)
	k.Sealing = func() (uint32, seal.Key, bool) { return 0, seal.Key{}, false }
	if m := s.keysOnly(t, a, k); m.Gave != 0 {
		t.Errorf("%+v", m)
	}
}
