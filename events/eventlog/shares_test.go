package eventlog

import (
	"errors"
	"fmt"
	"runtime"
	"sync/atomic"
	"testing"
)

func TestThingsAreDoneInShares(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(3))
	for _, n := range []int{0, 1, 9, 10, 11, 25, 1000} {
		done := make([]atomic.Int32, n)
		var shares atomic.Int32
		if err := inShares(n, 10, func(from, to int) error {
			shares.Add(1)
			for i := from; i < to; i++ {
				done[i].Add(1)
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		for i := range done {
			if got := done[i].Load(); got != 1 {
				t.Errorf("thing %d of %d was done %d times", i, n, got)
			}
		}
		if got, want := int(shares.Load()), min(3, 1+n/10); got != want {
			t.Errorf("%d things in %d shares, want %d", n, got, want)
		}
	}
	slip := errors.New("a slip")
	if err := inShares(100, 10, func(from, _ int) error {
		if from > 0 {
			return fmt.Errorf("at %d: %w", from, slip)
		}
		return nil
	}); !errors.Is(err, slip) {
		t.Errorf("got %v", err)
	}
	defer func() {
		if p := recover(); p != "fell" {
			t.Errorf("the caller's panic is %v", p)
		}
	}()
	_ = inShares(100, 10, func(from, _ int) error {
		if from > 0 {
			panic("fell")
		}
		return nil
	})
	t.Error("no panic comes through")
}
