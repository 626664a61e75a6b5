package web

import (
	"errors"
	"sync"
	"sync/atomic"
	"testing"
)

// Of many that ask for a page at once one draws it; what was recorded, or another
// day, draws it anew; what went wrong is tried again.
func TestAPageIsDrawnOnceForAllThatAskForIt(t *testing.T) {
	var d drawnOnce
	var drawings atomic.Int32
	draw := func(living) (living, error) {
		drawings.Add(1)
		return living{Print: "a"}, nil
	}
	var wg sync.WaitGroup
	for range 50 {
		wg.Go(func() {
			if l, err := d.once("1", "/fleet", draw); err != nil || l.Print != "a" {
				t.Error(l, err)
			}
		})
	}
	wg.Wait()
	if n := drawings.Load(); n != 1 {
		t.Errorf("drawn %d times", n)
	}
	for i, c := range []struct{ when, here string }{{"2", "/fleet"}, {"2", "/fleet/parts"}, {"3", "/fleet"}} {
		_, _ = d.once(c.when, c.here, draw)
		_, _ = d.once(c.when, c.here, draw)
		if n := int(drawings.Load()); n != 2+i {
			t.Errorf("%v: drawn %d times, want %d", c, n, 2+i)
		}
	}
	broken := errors.New("broken")
	if _, err := d.once("3", "/year", func(living) (living, error) { return living{}, broken }); !errors.Is(err, broken) {
		t.Error(err)
	}
	if _, err := d.once("3", "/year", draw); err != nil {
		t.Errorf("what went wrong once goes wrong again: %v", err)
	}
	func() {
		defer func() { _ = recover() }()
		_, _ = d.once("3", "/model/a/b", func(living) (living, error) { panic("torn") })
	}()
	if _, err := d.once("3", "/model/a/b", draw); err == nil {
		t.Error("a page that was torn is shown empty")
	}
	if _, err := d.once("3", "/model/a/b", draw); err != nil {
		t.Error(err)
	}
}
