package keyring_test

import (
	"errors"
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
	"oldhand/sync/keyring"
	"oldhand/sync/roster"
)

// bench is a log that has heard who owns its shop.
type bench struct {
	*keyring.Keeper
	shop eventstest.Shop
}

func newBench(t *testing.T) bench {
	t.Helper()
	log, b, _ := eventstest.OnMem(t, 140)
	if err := log.Append(t.Context(), func(tx *eventlog.Tx) error {
		_, err := tx.Add(events.Draft{Body: b.Shop.Founding})
		return err
	}); err != nil {
		t.Fatal(err)
	}
	v, err := log.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	facts, err := v.AllEvents([16]byte{})
	if err != nil {
		t.Fatal(err)
	}
	return bench{&keyring.Keeper{Log: log, Keys: keys, OwnerSigned: roster.Fold(b.Shop.ID, facts).OwnerSigned}, b.Shop}
}

// record writes the customer that a key opens into the log, without the key.
func (b bench) record(t *testing.T, e events.KeyEntry) {
	t.Helper()
	body, err := events.Personal{Name: "Wilhelmina Quarterlight"}.Seal(e.Person, e.Key, [24]byte{9})
	if err == nil {
		err = b.Log.Append(t.Context(), func(tx *eventlog.Tx) error {
			_, err := tx.Add(events.Draft{About: e.Person, Body: body})
			return err
		})
	}
	if err != nil {
		t.Fatal(err)
	}
}

func (b bench) take(t *testing.T, want keyring.Verdict, e events.KeyEntry) {
	t.Helper()
	said, err := b.Take(t.Context(), []events.KeyEntry{e}, nil)
	if err != nil || !slices.Equal(said, []keyring.Verdict{want}) {
		t.Errorf("verdict %v (%v), want %v", said, err, want)
	}
}

func (b bench) has(t *testing.T, want events.KeyEntry) {
	t.Helper()
	v, err := b.Log.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	if e, err := v.Person(want.Person); err != nil || e != want {
		t.Errorf("the keyring has %+v (%v), want %+v", e, err, want)
	}
}

func (b bench) order(t *testing.T) events.KeyEntry {
	t.Helper()
	o, err := b.shop.Owner.Forget(b.shop.ID, person)
	if err != nil {
		t.Fatal(err)
	}
	return events.KeyEntry{Person: person, Order: o}
}

var nothing = events.KeyEntry{Person: person}

func TestAKeyIsTakenOnceWhatItOpensIsHere_P10(t *testing.T) {
	b := newBench(t)
	b.take(t, keyring.Waits, theirs)
	b.has(t, nothing)
	b.record(t, theirs)
	b.take(t, keyring.Took, theirs)
	b.has(t, theirs)
	b.take(t, keyring.Known, theirs)
}

func TestAKeyThatOpensNothingIsRefused_P10_F25(t *testing.T) {
	b := newBench(t)
	b.record(t, theirs)
	wrong := events.KeyEntry{Person: person, Key: events.PersonKey{1}}
	b.take(t, keyring.Refused, wrong)
	b.has(t, nothing)
	b.take(t, keyring.Took, theirs)
	b.take(t, keyring.Refused, wrong)
	b.has(t, theirs)
}

// A wrong key that came another way does not stand in the way of the right one.
func TestTheKeyThatOpensReplacesOneThatDoesNot(t *testing.T) {
	b := newBench(t)
	b.record(t, theirs)
	err := b.Log.Append(t.Context(), func(tx *eventlog.Tx) error { return tx.PutPersonKey(person, events.PersonKey{1}) })
	if err != nil {
		t.Fatal(err)
	}
	b.take(t, keyring.Took, theirs)
	b.has(t, theirs)
}

func TestOnlyAnOwnerHasAPersonForgotten_P15_F25(t *testing.T) {
	b := newBench(t)
	b.record(t, theirs)
	b.take(t, keyring.Took, theirs)
	b.take(t, keyring.Refused, gone)
	stranger, err := eventstest.FoundShop(t, 141).Owner.Forget(b.shop.ID, person)
	if err != nil {
		t.Fatal(err)
	}
	b.take(t, keyring.Refused, events.KeyEntry{Person: person, Order: stranger})
	elsewhere := b.order(t)
	elsewhere.Person = events.PersonID{9}
	b.take(t, keyring.Refused, elsewhere)
	b.has(t, theirs)
	b.take(t, keyring.Took, b.order(t))
	b.has(t, b.order(t))
}

// The order may come first, last, or before the person was ever heard of.
func TestAForgottenPersonStaysForgotten_P15(t *testing.T) {
	b := newBench(t)
	b.take(t, keyring.Took, b.order(t))
	b.record(t, theirs)
	b.take(t, keyring.Known, theirs)
	b.has(t, b.order(t))

	b = newBench(t)
	b.record(t, theirs)
	said, err := b.Take(t.Context(), []events.KeyEntry{theirs, b.order(t), theirs}, nil)
	if err != nil || !slices.Equal(said, []keyring.Verdict{keyring.Took, keyring.Took, keyring.Known}) {
		t.Errorf("%v, %v", said, err)
	}
	b.has(t, b.order(t))
}

func TestKeysAndWhatIsWrittenWithThemAreOneAction_P3(t *testing.T) {
	b := newBench(t)
	b.record(t, theirs)
	full := errors.New("no")
	_, err := b.Take(t.Context(), []events.KeyEntry{theirs}, func(*eventlog.Tx, []keyring.Verdict) error { return full })
	if !errors.Is(err, full) {
		t.Errorf("got %v", err)
	}
	b.has(t, nothing)
}

func TestOpeningSaysWhatMayComeRightLater(t *testing.T) {
	b := newBench(t)
	good := sealed(t, b.shop.ID, theirs)
	for name, c := range map[string]struct {
		change func(p []byte)
		want   keyring.Verdict
	}{
		"as it is":        {func([]byte) {}, 0},
		"another epoch":   {func(p []byte) { p[43]++ }, keyring.Waits},
		"a newer version": {func(p []byte) { p[7]++ }, keyring.Waits},
		"another key":     {func(p []byte) { p[500]++ }, keyring.Waits},
		"another magic":   {func(p []byte) { p[0]++ }, keyring.Refused},
		"of another shop": {func(p []byte) { p[8]++ }, keyring.Refused},
	} {
		p := slices.Clone(good)
		c.change(p)
		if _, v := b.Open(p, person); v != c.want {
			t.Errorf("%s: %v, want %v", name, v, c.want)
		}
	}
}
