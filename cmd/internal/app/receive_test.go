package app_test

import (
	"context"
	"crypto/rand"
	"fmt"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/events/eventlog"
)

// brought is an intake of a customer's set.
func brought(who events.Personal, serial, day string) app.Intake {
	return app.Intake{Claim: events.Received{Maker: "Ostrel", Model: "R-950", Serial: serial, Complaint: "hums"}, Customer: who, Who: on(day)}
}

// customerOf is who a set's last visit was for.
func customerOf(t *testing.T, s *app.Shop, serial string) string {
	t.Helper()
	past, err := s.Past(serial, 5)
	if err != nil || len(past.Matches) != 1 {
		t.Fatalf("the past of %s: %+v (%v)", serial, past.Matches, err)
	}
	visits := past.Matches[0].Visits
	return visits[len(visits)-1].Customer
}

// sameOne fails unless an intake's customer is taken for whom opening every name gives.
func sameOne(t *testing.T, s *app.Shop, who events.Personal) (id events.PersonID) {
	t.Helper()
	app.OnlyLooking(t, s, func(tx *eventlog.Tx) error {
		want, err := app.CustomerAmongAll(tx, who)
		if err != nil {
			return err
		}
		id, err = app.CustomerOf(s, tx, who)
		equal(t, fmt.Sprintf("customer of %+v", who), id, want)
		return err
	})
	return id
}

func TestACustomerWhoComesAgainIsTheSameOneWhateverHappenedMeanwhile(t *testing.T) {
	s := newShop(t)
	odile := events.Personal{Name: "Odile Marchbanks", City: "Holmby"}
	again := events.Personal{Name: "odile  MARCHBANKS", City: "holmby", Phone: "030 555"}
	takeIn := func(who events.Personal, serial string) events.PersonID {
		t.Helper()
		if _, err := s.Receive(brought(who, serial, "2026-11-02")); err != nil {
			t.Fatal(err)
		}
		return sameOne(t, s, who)
	}
	first := takeIn(odile, "E17-1")
	equal(t, "the customer of another spelling", takeIn(again, "E17-2"), first)
	equal(t, "the customer of another town", takeIn(events.Personal{Name: "Odile Marchbanks", City: "Lower Tarn"}, "E17-3") == first, false)
	sameOne(t, s, events.Personal{Name: "Odile Marchbanks"})
	sameOne(t, s, events.Personal{City: "Holmby"})

	// Recorded anew under another name, as a correction or another bench would have it.
	var key events.PersonKey
	app.OnlyLooking(t, s, func(tx *eventlog.Tx) (err error) {
		key, err = tx.PersonKey(first)
		return err
	})
	renamed := events.Personal{Name: "Odile Inkpen", City: "Holmby"}
	sealed, err := renamed.Seal(first, key, [24]byte{7})
	if err != nil {
		t.Fatal(err)
	}
	err = s.Log.Append(t.Context(), func(tx *eventlog.Tx) error {
		_, err := tx.Add(events.Draft{About: first, At: events.AtTime(asOf), Body: sealed})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	equal(t, "the customer of the name from before", sameOne(t, s, odile), events.PersonID{})
	equal(t, "the customer of the name of today", sameOne(t, s, renamed), first)

	// Forgotten: who brings a set under the name is somebody nobody knows.
	if _, err := s.Forget(app.Forget{Who: "odile inkpen", Do: true}); err != nil {
		t.Fatal(err)
	}
	equal(t, "the customer who was forgotten", sameOne(t, s, renamed), events.PersonID{})
	equal(t, "the customer who came after that", takeIn(renamed, "E17-4") == first, false)
}

// Two hands take in two sets of a customer who was never here, in one commit: it is
// one customer.
func TestSetsOfAFurtherCustomerThatCameAtOnceAreOneCustomers(t *testing.T) {
	s := newShop(t)
	if _, err := s.Receive(brought(events.Personal{Name: "Balthasar Inkpen", City: "Holmby"}, "A0", "2026-11-02")); err != nil {
		t.Fatal(err)
	}
	wilhelmina := events.Personal{Name: "Wilhelmina Quarterlight", City: "Lower Tarn"}
	var busy, hands sync.WaitGroup
	held := make(chan struct{})
	busy.Add(1)
	hands.Go(func() {
		app.OnlyLooking(t, s, func(*eventlog.Tx) error {
			busy.Done()
			<-held
			return nil
		})
	})
	busy.Wait()
	for i := range 4 {
		hands.Go(func() {
			if _, err := s.Receive(brought(wilhelmina, fmt.Sprintf("B%d", i), "2026-11-02")); err != nil {
				t.Error(err)
			}
		})
	}
	time.Sleep(50 * time.Millisecond) // so that they wait together; apart they would pass as well
	close(held)
	hands.Wait()
	found, err := s.Forget(app.Forget{Who: "quarterlight"})
	if err != nil {
		t.Fatal(err) // of several customers of the name it would say which are meant
	}
	equal(t, "visits of the one customer", found.Visits, 4)
	equal(t, "others of that name", len(found.Others), 0)
	equal(t, "who brought B3", customerOf(t, s, "B3"), wilhelmina.Name)
}

// manyCustomers is a shop that knows so many.
func manyCustomers(b *testing.B, n int) *app.Shop {
	b.Helper()
	dir := b.TempDir()
	s, err := app.Found(filepath.Join(dir, "shop"), "Lantern Street Radio", "front", options(dir))
	if err != nil {
		b.Fatal(err)
	}
	untilTheEnd(b, s)
	for from := 0; from < n; from += 1000 {
		err := s.Log.Append(b.Context(), func(tx *eventlog.Tx) error {
			for i := from; i < min(from+1000, n); i++ {
				if err := recordCustomer(tx, i); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			b.Fatal(err)
		}
	}
	return s
}

func numberedCustomer(i int) events.Personal {
	return events.Personal{Name: fmt.Sprintf("Customer %d", i), City: "Holmby", Phone: fmt.Sprintf("030 %d", i)}
}

func recordCustomer(tx *eventlog.Tx, i int) error {
	var id events.PersonID
	var key events.PersonKey
	_, _ = rand.Read(id[:]) // it never fails
	_, _ = rand.Read(key[:])
	sealed, err := numberedCustomer(i).Seal(id, key, [24]byte{1})
	if err != nil {
		return err
	}
	if err := tx.PutPersonKey(id, key); err != nil {
		return err
	}
	_, err = tx.Add(events.Draft{About: id, At: events.OnDay(20_000), Body: sealed})
	return err
}

// BenchmarkCustomer is how long an intake looks for its customer: with names kept
// open, and by opening all. Each is a customer who was never here, and is saved, so
// that what is kept changes every time.
func BenchmarkCustomer(b *testing.B) {
	for _, n := range []int{500, 5_000, 20_000} {
		s := manyCustomers(b, n)
		ways := map[string]func(*eventlog.Tx, events.Personal) (events.PersonID, error){
			"kept": func(tx *eventlog.Tx, p events.Personal) (events.PersonID, error) { return app.CustomerOf(s, tx, p) },
			"all":  app.CustomerAmongAll,
		}
		for _, way := range []string{"kept", "all"} {
			b.Run(fmt.Sprintf("%s/%d", way, n), func(b *testing.B) {
				var first, took time.Duration
				if err := further(s, n+b.N*1000+999, ways[way], &first); err != nil {
					b.Fatal(err)
				}
				b.ResetTimer()
				for i := 0; b.Loop(); i++ {
					if err := further(s, n+b.N*1000+i, ways[way], &took); err != nil {
						b.Fatal(err)
					}
				}
				b.ReportMetric(float64(first.Microseconds()), "µs/first")
				b.ReportMetric(float64(took.Microseconds())/float64(b.N), "µs/looked")
			})
		}
	}
}

// further looks for a customer who was never here, and records him or her.
func further(s *app.Shop, i int, look func(*eventlog.Tx, events.Personal) (events.PersonID, error), took *time.Duration) error {
	return s.Log.Append(context.Background(), func(tx *eventlog.Tx) error {
		began := time.Now()
		_, err := look(tx, numberedCustomer(i))
		*took += time.Since(began)
		if err != nil {
			return err
		}
		return recordCustomer(tx, i)
	})
}
