package app_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/events/eventlog"
)

// keyIn reads a key of a folder.
func keyIn(t *testing.T, s *app.Shop, name string) events.BenchKey {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(s.Dir, "keys", name))
	if err != nil {
		t.Fatal(err)
	}
	k, err := events.BenchKeyFrom([]byte(strings.TrimSpace(string(b))))
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// order writes an order to forget, as an event alone: as it comes from another
// bench, before anybody heeded it.
func order(t *testing.T, s *app.Shop, signer events.BenchKey, p events.PersonID) {
	t.Helper()
	sig, err := signer.Forget(s.Log.Shop(), p)
	if err != nil {
		t.Fatal(err)
	}
	err = s.Log.Append(t.Context(), func(tx *eventlog.Tx) error {
		_, err := tx.Add(events.Draft{About: p, At: events.AtTime(asOf), Body: events.PersonForgotten{Signature: sig[:]}})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// known reports whether a customer is found by name.
func known(t *testing.T, s *app.Shop, who string) bool {
	t.Helper()
	_, err := s.Forget(app.Forget{Who: who})
	var not *app.NotHere
	if err != nil && !errors.As(err, &not) {
		t.Fatal(err)
	}
	return err == nil
}

func TestP15_OnlyAnOwnersOrderIsHeeded(t *testing.T) {
	s := newShop(t)
	dir := filepath.Dir(s.Dir)
	for _, name := range []string{"Wilhelmina Quarterlight", "Balthasar Inkpen"} {
		in := app.Intake{Claim: events.Received{Maker: "Ostrel", Model: "R-950", Serial: name[:3]}, Customer: events.Personal{Name: name, Phone: "030 555"}, Who: on("2026-11-02")}
		if _, err := s.Receive(in); err != nil {
			t.Fatal(err)
		}
	}
	found, err := s.Forget(app.Forget{Who: "quarterlight"})
	if err != nil {
		t.Fatal(err)
	}
	person, err := events.ParsePersonID(found.ID)
	if err != nil {
		t.Fatal(err)
	}
	reopen := func(o app.Options) (*app.Shop, error) {
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		return app.Open(s.Dir, o)
	}
	again := func() {
		if s, err = reopen(options(dir)); err != nil {
			t.Fatal(err)
		}
	}
	t.Cleanup(func() { _ = s.Close() })

	stranger, err := events.OwnerKeyOf([32]byte{9})
	if err != nil {
		t.Fatal(err)
	}
	owner := keyIn(t, s, "owner.key")
	order(t, s, keyIn(t, s, "bench.key"), person)
	order(t, s, stranger, person)
	again()
	if !known(t, s, "quarterlight") {
		t.Fatal("forgotten by the word of a bench that is no owner")
	}
	looking := options(dir)
	looking.ReadOnly = true
	if s, err = reopen(looking); err != nil {
		t.Fatalf("an order of nobody's keeps the folder from being looked at: %v", err)
	}
	again()

	// The owner's order came, and the program ended before it was heeded: nobody
	// is shown the name, and the next opening for writing drops it.
	order(t, s, owner, person)
	if _, err := reopen(looking); !errors.Is(err, app.ErrStale) {
		t.Fatalf("looking gives %v, want that it is stale", err)
	}
	if s, err = app.Open(s.Dir, options(dir)); err != nil {
		t.Fatal(err)
	}
	if known(t, s, "quarterlight") || !known(t, s, "inkpen") {
		t.Error("the owner's order is not heeded, or too well")
	}
	if _, err := s.Forget(app.Forget{Who: found.ID}); err == nil || !strings.Contains(err.Error(), "forgotten already") {
		t.Errorf("forgetting again gives %v", err)
	}
	past, err := s.Past("Wil", 5)
	if err != nil || len(past.Matches) != 1 || past.Matches[0].Visits[0].Customer != app.NameForgotten {
		t.Errorf("the set's past is %+v (%v)", past.Matches, err)
	}
}

// Two customers of one name are told apart, and the second is mentioned.
func TestForgetAsksWhichOfTwoOfOneName(t *testing.T) {
	s := newShop(t)
	for i, phone := range []string{"030 1", "030 2"} {
		in := app.Intake{Claim: events.Received{Maker: "Ostrel", Model: "R-950", Serial: "Z" + itoa(i)}, Customer: events.Personal{Name: "Odile Marchbanks", Phone: phone}, Who: on("2026-11-02")}
		if _, err := s.Receive(in); err != nil {
			t.Fatal(err)
		}
	}
	_, err := s.Forget(app.Forget{Who: "odile", Do: true})
	if err == nil || !strings.Contains(err.Error(), "may be 2 people") {
		t.Fatalf("got %v", err)
	}
	f, err := s.Forget(app.Forget{Who: "0302", Do: true})
	if err != nil || !f.Done || f.Visits != 1 || len(f.Others) != 1 || f.Others[0].Phone != "030 1" {
		t.Fatalf("got %+v (%v)", f, err)
	}
	if f, err = s.Forget(app.Forget{Who: "odile"}); err != nil || f.Phone != "030 1" || len(f.Others) != 0 {
		t.Errorf("left is %+v (%v)", f, err)
	}
}

// A program that goes on keeps names open for the next lookup. Who is forgotten is
// out of its memory at once, by an order from another bench as by one given here:
// also a view from before finds nobody there.
func TestP15_WhoIsForgottenIsNotKeptInMemory(t *testing.T) {
	s := newShop(t)
	for _, name := range []string{"Wilhelmina Quarterlight", "Balthasar Inkpen", "Odile Marchbanks"} {
		in := app.Intake{Claim: events.Received{Maker: "Ostrel", Model: "R-950", Serial: name[:3]}, Customer: events.Personal{Name: name, Phone: "030 555"}, Who: on("2026-11-02")}
		if _, err := s.Receive(in); err != nil {
			t.Fatal(err)
		}
	}
	found := func(s *app.Shop, who string) int {
		t.Helper()
		list, _, err := s.Lookup(who, 5)
		if err != nil {
			t.Fatal(err)
		}
		return len(list)
	}
	if err := s.OpenNames(); err != nil {
		t.Fatal(err)
	}
	equal(t, "found by name", found(s, "quarterlight"), 1)
	equal(t, "found by somebody who is not to see names", found(s.Veiled(), "quarterlight"), 0)

	before, err := s.Log.View()
	if err != nil {
		t.Fatal(err)
	}
	defer before.Close()
	quarterlight, err := s.Forget(app.Forget{Who: "quarterlight"})
	if err != nil {
		t.Fatal(err)
	}
	person, err := events.ParsePersonID(quarterlight.ID)
	if err != nil {
		t.Fatal(err)
	}
	order(t, s, keyIn(t, s, "owner.key"), person) // as another bench wrote it
	if err := app.Heed(s); err != nil {
		t.Fatal(err)
	}
	equal(t, "in memory of whom another bench had forgotten", app.NamedOf(t, s, before, "quarterlight"), 0)
	if _, err := s.Forget(app.Forget{Who: "inkpen", Do: true}); err != nil {
		t.Fatal(err)
	}
	equal(t, "in memory of whom this bench forgot", app.NamedOf(t, s, before, "inkpen"), 0)
	for who, want := range map[string]int{"quarterlight": 0, "inkpen": 0, "marchbanks": 1} {
		equal(t, "found by "+who, found(s, who), want)
	}
}
