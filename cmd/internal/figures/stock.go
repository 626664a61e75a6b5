package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/demo"
	"oldhand/events"
	"oldhand/projections"
)

// stock is the shop of one size and what is made of it, each thing once and when
// it is first asked for. Whoever would change a thing takes a copy.
type stock struct {
	units  int
	story  *demo.Story
	events int
	fresh  bool // what lies there is of this version
}

// The things in stock.
const (
	frontFolder    = "front"    // the bench that founded the shop, with all events
	emptyFolder    = "empty"    // a bench that was let join and has nothing yet
	farFolder      = "far"      // that bench with all events
	exchangeFolder = "exchange" // an exchange that has all
	bundleFile     = "all.bundle"
	factsFolder    = "facts" // SQLite with the same events
	liteFolder     = "lite"  // SQLite with rows
	duckFolder     = "duck"  // DuckDB with rows
	bookFile       = "book.csv"
	cardFile       = "made.json"
)

// stockCard says of what the stock was made.
type stockCard struct {
	Units   int    `json:"units"`
	Version string `json:"projections"`
}

// inStock makes a thing unless it is there, and gives its place. It is made
// beside and put in place when it is whole, so that a run that was cut off leaves
// no half.
func (t *turn) inStock(name string, make func(t *turn, place string)) string {
	dir := filepath.Join(t.asked.dir, fmt.Sprintf("shop-%d", t.stock.units))
	t.check(t.stock.freshen(dir))
	place := filepath.Join(dir, name)
	if _, err := os.Stat(place); err == nil {
		return place
	}
	making := filepath.Join(dir, "making-"+name)
	t.check(os.RemoveAll(making))
	begun := time.Now()
	t.check(t.attempt(func(t *turn) { make(t, making) }))
	t.check(os.Rename(making, place))
	fmt.Fprintf(t.progress, "%s made %s for %d units in %s\n", time.Now().Format("15:04:05"), name, t.stock.units, time.Since(begun).Round(time.Millisecond))
	return place
}

// freshen empties the stock's folder where it was made by another version of the
// projections.
func (s *stock) freshen(dir string) error {
	if s.fresh {
		return nil
	}
	want := stockCard{s.units, projections.Version}
	var is stockCard
	text, err := os.ReadFile(filepath.Join(dir, cardFile))
	if err == nil {
		err = json.Unmarshal(text, &is)
	}
	if err != nil || is != want {
		if err := os.RemoveAll(dir); err != nil {
			return err
		}
	}
	if text, err = json.Marshal(want); err != nil {
		return err
	}
	s.fresh = true
	return errors.Join(os.MkdirAll(dir, 0o700), os.WriteFile(filepath.Join(dir, cardFile), text, 0o600))
}

func (t *turn) story() *demo.Story {
	if t.stock.story == nil {
		story, err := demo.New(demo.Options{Seed: 1, Units: t.stock.units})
		t.check(err)
		t.stock.story = story
	}
	return t.stock.story
}

// front is the bench that founded the shop. It has set the shop's key, as a bench
// does before it first gives anything away, and its store is in order: a copy of one
// that is not would be put in order while something is measured.
func (t *turn) front() string {
	return t.inStock(frontFolder, func(t *turn, place string) {
		_, err := app.FromStory(place, t.story(), app.Options{State: t.TempDir(), Bulk: true}, nil)
		t.check(err)
		s := t.openShop(place)
		_, err = s.WriteBundle(filepath.Join(t.TempDir(), "bundle"), app.Carry{})
		t.settle(s)
		t.check(errors.Join(err, s.Close()))
	})
}

// bundle is a file with all that the front has.
func (t *turn) bundle() string {
	return t.inStock(bundleFile, func(t *turn, place string) {
		c, err := t.openCopy(t.front()).WriteBundle(place, app.Carry{})
		t.check(err)
		if c.Held != 0 || int(c.Events) != t.count() {
			t.Fatalf("of %d events %d are in the bundle", t.count(), c.Events)
		}
	})
}

// empty is the shop's second bench when it was just let join.
func (t *turn) empty() string {
	return t.inStock(emptyFolder, func(t *turn, place string) { t.layJoined(place, t.story().Benches()[1]) })
}

// far is the second bench with all events. What it makes of them must be what the
// front has made.
func (t *turn) far() string {
	return t.inStock(farFolder, func(t *turn, place string) {
		t.check(copyFolder(t.empty(), place))
		s := t.openShop(place)
		m, err := s.ReadBundle(t.bundle(), nil)
		t.check(err)
		t.tookAll(m)
		front := t.openCopy(t.front())
		if d := t.digestOf(s).Differs(t.digestOf(front)); len(d) > 0 {
			t.Fatalf("two benches with the same events differ in %v", d)
		}
		t.settle(s)
		t.check(s.Close())
	})
}

func (t *turn) digestOf(s *app.Shop) projections.Digest {
	v, err := s.Log.View()
	t.check(err)
	defer v.Close()
	d, err := projections.DigestViews(v)
	t.check(err)
	return d
}

// tookAll demands that a bench that had nothing took all and knows of no more. What
// was kept aside until its bench's admission came was taken then.
func (t *turn) tookAll(m app.Met) {
	if m.Took != t.count() || !m.AllHere || len(m.NotHeeded) > 0 {
		t.Fatalf("of %d events %d were taken; waiting for %v; not heeded: %v", t.count(), m.Took, m.WaitsFor, m.NotHeeded)
	}
}

// count is how many events the shop has.
func (t *turn) count() int {
	if t.stock.events == 0 {
		s := t.openShop(t.copyOf(t.front()))
		t.stock.events = eventsOf(s)
		t.check(s.Close())
	}
	return t.stock.events
}

func eventsOf(s *app.Shop) (n int) {
	for _, b := range s.Log.Branches() {
		n += int(b.Own())
	}
	return n
}

// openShop opens a folder as the program does. Whoever opens it closes it.
func (t *turn) openShop(dir string) *app.Shop {
	s, err := app.Open(dir, app.Options{State: t.TempDir()})
	t.check(err)
	return s
}

// copyOf is a copy of a folder in stock.
func (t *turn) copyOf(dir string) string {
	to := filepath.Join(t.TempDir(), "shop")
	t.check(copyFolder(dir, to))
	return to
}

// openCopy opens a copy of a folder in stock until the turn is over.
func (t *turn) openCopy(dir string) *app.Shop {
	s := t.openShop(t.copyOf(dir))
	t.Cleanup(func() { t.late = errors.Join(t.late, s.Close()) })
	return s
}

// keyOf is the key of a folder's bench.
func (t *turn) keyOf(dir string) events.BenchKey {
	seed, err := os.ReadFile(filepath.Join(dir, "keys", "bench.key"))
	t.check(err)
	k, err := events.BenchKeyFrom(seed[:len(seed)-1]) // a line
	t.check(err)
	return k
}
