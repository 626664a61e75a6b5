package meet_test

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"

	"oldhand/sync/benchtest"
	"oldhand/sync/exchange"
	"oldhand/sync/meet"
)

// putBack closes the shop's host, puts a copy of its folder in the folder's
// place, and opens it again.
func (s *shop) putBack(t *testing.T, dir, from string) {
	t.Helper()
	if err := s.host.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.RemoveAll(dir); err != nil {
		t.Fatal(err)
	}
	s.copyTo(t, from, dir)
	s.open(t, dir)
}

func (s *shop) copyTo(t *testing.T, from, to string) {
	t.Helper()
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
}

// The host's folder is put back to an older copy under the same name, and written
// on by one who had nothing of what it lost, until it has as many messages as
// before or more. Whoever had it gives it again the first time he comes (P8, P9).
func TestAnExchangePutBackAndWrittenOnIsGivenWhatItLost_F20_P8_P9(t *testing.T) {
	for _, since := range []int{0, 1, 2, 4, 7} { // messages, by what the other writes after
		t.Run(fmt.Sprint(since), func(t *testing.T) {
			s := newShop(t, uint64(20+since))
			dir, aside := filepath.Join(t.TempDir(), "host"), filepath.Join(t.TempDir(), "aside")
			if err := s.host.Close(); err != nil {
				t.Fatal(err)
			}
			s.open(t, dir)
			a, b := s.Laptops[0], s.Laptops[1]
			note(t, a, 30)
			s.once(t, a)
			s.once(t, b)
			s.once(t, a)
			if err := s.host.Close(); err != nil {
				t.Fatal(err)
			}
			s.copyTo(t, dir, aside)
			s.open(t, dir)
			note(t, a, 700)
			s.once(t, a)
			s.once(t, a) // reads back what it gave
			s.putBack(t, dir, aside)
			for range since {
				note(t, b, 3)
				s.once(t, b)
			}
			p := s.once(t, a)
			if !p.Standing.Level || p.GaveEvents < 700 {
				t.Errorf("the one who had it gave %d events, and stands so: %+v", p.GaveEvents, p.Standing)
			}
			for _, l := range s.Laptops[1:] {
				s.once(t, l)
			}
			s.same(t)
		})
	}
}

// A message goes bad in place at a host that all have read past. The next day a
// bench that has its events finds that out and gives them again, so that one who
// comes later gets all (P8).
func TestWhatGoesBadAtAnExchangeIsGivenAgain_F21_P8(t *testing.T) {
	s := newShop(t, 30)
	dir := filepath.Join(t.TempDir(), "host")
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	must(s.host.Close())
	s.open(t, dir)
	a, b := s.Laptops[0], s.Laptops[1]
	for range 3 {
		note(t, a, 5)
		s.once(t, a)
	}
	var second []byte
	x := s.dial(t, a)
	enough := errors.New("enough")
	err := x.Follow(t.Context(), exchange.Cursor{}, func(m exchange.Message) error {
		if second = m.Payload; m.Seq == 2 {
			return enough
		}
		return nil
	})
	if err != enough {
		t.Fatal(err)
	}
	s.once(t, a) // reads back what it gave
	x.Close()
	must(s.host.Close())
	spoilBytes(t, dir, second)
	s.open(t, dir)

	meetAt := func(l *benchtest.Laptop, survey time.Duration) meet.Progress {
		x := s.dial(t, l)
		defer x.Close()
		p, err := meet.Exchange(t.Context(), l.Bench, x, meet.Options{Once: true, Changed: l.Log.Changed, Survey: survey})
		must(err)
		return p
	}
	if p := meetAt(a, time.Hour); p.Gave != 0 {
		t.Errorf("within the hour it gave %+v", p)
	}
	if p := meetAt(a, time.Nanosecond); p.GaveEvents < 5 || !p.Standing.Level {
		t.Errorf("the next day it gave %d events: %+v", p.GaveEvents, p)
	}
	if p := meetAt(a, time.Nanosecond); p.Gave != 0 {
		t.Errorf("the day after it gave again: %+v", p)
	}
	if p := meetAt(b, time.Hour); p.Took < 15 || !p.Standing.Level {
		t.Errorf("the one who came later took %d events: %+v", p.Took, p)
	}
}

// spoilBytes changes one byte of a payload on a closed host's disk.
func spoilBytes(t *testing.T, dir string, payload []byte) {
	t.Helper()
	done := false
	err := filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || filepath.Ext(p) != ".blk" {
			return err
		}
		b, err := os.ReadFile(p)
		if i := bytes.Index(b, payload[9:]); err == nil && i >= 0 {
			b[i] ^= 1
			done = true
			return os.WriteFile(p, b, 0o600)
		}
		return err
	})
	if err != nil || !done {
		t.Fatalf("no block holds the payload (%v)", err)
	}
}
