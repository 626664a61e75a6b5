package app_test

import (
	"path/filepath"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/demo"
)

// A large invented shop goes to another bench as any shop does: no run of a feed
// that is not signed is longer than a segment.
func TestALargeInventedShopCanBePassedOn_P8(t *testing.T) {
	if testing.Short() {
		t.Skip("a large shop is not made in a short run")
	}
	story, err := demo.New(demo.Options{Seed: 1, Units: 5000})
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if _, err := app.FromStory(filepath.Join(dir, "shop"), story, app.Options{State: filepath.Join(dir, "state"), Bulk: true}, nil); err != nil {
		t.Fatal(err)
	}
	s, err := app.Open(filepath.Join(dir, "shop"), app.Options{State: filepath.Join(dir, "state")})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	c, err := s.WriteBundle(filepath.Join(dir, "all.bundle"), app.Carry{})
	if err != nil {
		t.Fatal(err)
	}
	var all uint64
	for _, h := range s.Log.Heads() {
		all += h.Seq
	}
	if c.Events != all {
		t.Errorf("%d of %d events went into the bundle", c.Events, all)
	}
}
