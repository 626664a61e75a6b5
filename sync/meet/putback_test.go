package meet_test

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
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
