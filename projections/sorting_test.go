package projections_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/hlc"
	"oldhand/projections"

	"pgregory.net/rapid"
)

// givesSorted demands of a sorter what a stable sort of the pairs gives, and closes it.
func givesSorted(s projections.Sorter, want [][2]string) error {
	slices.SortStableFunc(want, func(a, b [2]string) int { return strings.Compare(a[0], b[0]) })
	err := s.Each(func(k, v []byte) error {
		if len(want) == 0 || string(k) != want[0][0] || string(v) != want[0][1] {
			return fmt.Errorf("got %x %q, want the first of %q", k, v, want[:min(len(want), 5)])
		}
		want = want[1:]
		return nil
	})
	if err == nil && len(want) > 0 {
		err = fmt.Errorf("%d pairs are missing", len(want))
	}
	return errors.Join(err, s.Close())
}

// So many that they are put in order by counting: keys that begin alike for three,
// seven or nine bytes, each several times.
func TestManyPairsAreSortedStably(t *testing.T) {
	for seed := range uint64(8) {
		random := rand.New(rand.NewPCG(seed, 1))
		s := projections.NewSorter(1 << 20)
		var want [][2]string
		for i := range 9_000 {
			key := make([]byte, 10)
			binary.BigEndian.PutUint64(key, random.Uint64()>>(8*random.IntN(8)))
			copy(key, []string{"", "lmS", "lmSORRE", "lmSORREL2"}[random.IntN(4)])
			key = key[:random.IntN(11)]
			if i > 100 && random.IntN(3) == 0 {
				key = []byte(want[random.IntN(i)][0])
			}
			value := fmt.Sprint(i)
			want = append(want, [2]string{string(key), value})
			if err := s.Add(key, []byte(value)); err != nil {
				t.Fatal(err)
			}
		}
		if err := givesSorted(s, want); err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
	}
}

// A sorter gives what a stable sort in memory gives, whatever fits into memory,
// and leaves no file behind.
func TestASorterIsAStableSort(t *testing.T) {
	temp := t.TempDir()
	t.Setenv("TMPDIR", temp)
	aside := 0
	rapid.Check(t, func(t *rapid.T) {
		s := projections.NewSorter(rapid.IntRange(1, 400).Draw(t, "run"))
		var want [][2]string
		for i := range rapid.IntRange(0, 60).Draw(t, "pairs") {
			key, value := rapid.SliceOfN(rapid.ByteRange(0, 3), 0, 12).Draw(t, "key"), fmt.Append(nil, i, string(make([]byte, rapid.IntRange(0, 30).Draw(t, "more"))))
			if err := s.Add(key, value); err != nil {
				t.Fatal(err)
			}
			want = append(want, [2]string{string(key), string(value)})
		}
		aside += s.Aside()
		if err := givesSorted(s, want); err != nil {
			t.Fatal(err)
		}
	})
	if aside == 0 {
		t.Error("nothing was ever put aside")
	}
	if left, _ := filepath.Glob(filepath.Join(temp, "*")); len(left) > 0 {
		t.Errorf("files are left: %v", left)
	}
}

// What can't be put aside is an error that says so, not a shorter answer.
func TestASorterSaysThatItCouldNotPutAside(t *testing.T) {
	t.Setenv("TMPDIR", filepath.Join(t.TempDir(), "gone"))
	s := projections.NewSorter(10)
	var err error
	for i := 0; i < 9 && err == nil; i++ {
		err = s.Add([]byte("key"), []byte("some value"))
	}
	if !os.IsNotExist(unwrapped(err)) {
		t.Errorf("nine pairs where one fits and no folder for the others: %v", err)
	}
}

func unwrapped(err error) error {
	for {
		u, ok := err.(interface{ Unwrap() error })
		if !ok {
			return err
		}
		if _, path := err.(*os.PathError); path {
			return err
		}
		err = u.Unwrap()
	}
}

// The map of tallies counts as the language's own does.
func TestTalliesAreCountedAsInAMap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		keys := rapid.SliceOfN(rapid.SliceOfN(rapid.ByteRange(0, 7), 0, 4), 0, 900).Draw(t, "keys")
		want := map[string]uint64{}
		for _, k := range keys {
			want[string(k)]++
		}
		got := projections.Counted(keys)
		if !slices.IsSortedFunc(got, func(a, b [2][]byte) int { return bytes.Compare(a[0], b[0]) }) || len(got) != len(want) {
			t.Fatalf("%d counts, want %d, or not in order", len(got), len(want))
		}
		for _, g := range got {
			if n, _ := binary.Uvarint(g[1]); n != want[string(g[0])] {
				t.Fatalf("%x is counted %d times, want %d", g[0], n, want[string(g[0])])
			}
		}
	})
}

// Whichever file can't be made, a rebuild ends and says so.
func TestARebuildEndsWhereNoFileCanBeMade(t *testing.T) {
	for nth := 1; nth < 5; nth++ {
		done := make(chan error, 1)
		go func() {
			var made atomic.Int32
			done <- projections.RebuildWith(400, manyEvents(), func() (eventlog.ScratchFile, error) {
				if int(made.Add(1)) == nth {
					return nil, os.ErrPermission
				}
				return projections.TempScratch()
			})
		}()
		select {
		case err := <-done:
			if !errors.Is(err, os.ErrPermission) {
				t.Errorf("without file %d: %v", nth, err)
			}
		case <-time.After(time.Minute):
			t.Fatalf("without file %d it does not end", nth)
		}
	}
}

// manyEvents is a source of notes about many units.
func manyEvents() projections.Source {
	return func(most int, fn func(int, events.Hash, []byte) error) error {
		for i := range byte(80) {
			unit := events.UnitID(events.NewEventID(hlc.Join(1_700_000_000_000, 0), [8]byte{1, i % 20}))
			id := events.NewEventID(hlc.Join(1_700_000_000_001, uint16(i)), [8]byte{2, i})
			env, body, err := events.Draft{About: unit, At: events.OnDay(events.NewDay(2026, 3, 1)), Body: events.Note{Text: "hum is gone"}}.Make(id)
			if err != nil {
				return err
			}
			record, err := events.EncodeRecord(env, body)
			if err != nil {
				return err
			}
			if err := fn(int(i)%most, events.Hash{i}, record); err != nil {
				return err
			}
		}
		return nil
	}
}
