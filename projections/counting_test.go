package projections_test

import (
	"errors"
	"maps"
	"runtime"
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/projections"
)

// Two read, each more than anybody takes at a time.
func TestStoredHistoriesAreCountedTogether(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(3))
	stored, want := storedAlike(t)
	each := func(fn func([]byte) error) error {
		for _, h := range stored {
			b := append([]byte(nil), h...)
			if err := fn(b); err != nil {
				return err
			}
			clear(b) // it was good until fn returned
		}
		return nil
	}
	for row := range want {
		want[row] *= 2
	}
	got, err := projections.CountStored("comebacks", each, each)
	if err != nil || !maps.Equal(got, want) {
		t.Errorf("counted %d rows, %v; want %d", len(got), err, len(want))
	}
}

// storedAlike are stored histories of a dozen piles, and how often they give each row to
// the question of come-backs.
func storedAlike(t *testing.T) (stored [][]byte, rows map[string]int) {
	s := newStory(t)
	s.tell(1, "set", "set", "", 1, events.Received{Maker: "Ostrel", Model: "R950"})
	s.tell(1, "out", "set", "set", 5, events.Shipped{Outcome: "repaired"})
	s.tell(1, "again", "set", "", 9, events.Received{Maker: "Ostrel", Model: "R950"})
	s.tell(1, "gone", "set", "again", 12, events.Shipped{Outcome: "repaired"})
	s.tell(1, "other", "other", "", 3, events.Received{Maker: "Corvane", Model: "MS-44"})
	m := newMemory()
	if err := m.add(s.all...); err != nil {
		t.Fatal(err)
	}
	var two [][]byte
	bytes := 0
	for k, v := range m.views {
		if k[0] == 'h' {
			two, bytes = append(two, v), bytes+len(v)
		}
	}
	if len(two) != 2 {
		t.Fatalf("%d histories", len(two))
	}
	times := 12*projections.PerPile/bytes + 1
	for range times {
		stored = append(stored, two...)
	}
	rows = projections.RowsOf(m, "comebacks")
	for row := range rows {
		rows[row] *= times
	}
	return stored, rows
}

// endless reads histories over and over, until it is told to end.
func endless(stored [][]byte) func(fn func([]byte) error) error {
	return func(fn func([]byte) error) error {
		for i := 0; ; i++ {
			if err := fn(stored[i%len(stored)]); err != nil {
				return err
			}
		}
	}
}

func TestAHistoryThatDoesNotReadEndsTheCounting(t *testing.T) {
	stored, _ := storedAlike(t)
	torn := slices.Clone(stored)
	torn[len(torn)/3] = torn[len(torn)/3][:10]
	rows, err := projections.CountStored("comebacks", endless(stored), endless(torn))
	if !errors.Is(err, projections.ErrView) || rows != nil {
		t.Errorf("%d rows, %v", len(rows), err)
	}
}

func TestAReaderThatFailsEndsTheCounting(t *testing.T) {
	stored, _ := storedAlike(t)
	wrong := errors.New("the disk is gone")
	for _, after := range []int{0, 1, len(stored)} {
		failing := func(fn func([]byte) error) error {
			for _, h := range stored[:after] {
				if err := fn(h); err != nil {
					return err
				}
			}
			return wrong
		}
		if rows, err := projections.CountStored("comebacks", failing, endless(stored)); err != wrong || rows != nil {
			t.Errorf("after %d histories: %d rows, %v", after, len(rows), err)
		}
	}
}
