package app_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"oldhand/events"
)

// A shop with many events of which none names a photo is looked through once: what comes
// later is all that is read then, and a photo among it is found. A small shop gets no
// folder for photos by that.
func TestALargeShopWithoutPhotosIsLookedThroughOnce(t *testing.T) {
	s := newShop(t)
	note := filepath.Join(s.Dir, "evidence", "notes", "named.json")
	got := receive(t, s, "E17-17750", "2026-01-05")
	look := func() (noted string) {
		t.Helper()
		if v, err := s.Verify(nil); err != nil || !v.OK {
			t.Fatalf("%+v, %v", v, err)
		}
		b, err := os.ReadFile(note)
		if err != nil && !os.IsNotExist(err) {
			t.Fatal(err)
		}
		return string(b)
	}
	if noted := look(); noted != "" {
		t.Errorf("of a small shop is noted %q", noted)
	}
	for i := range 50 {
		notes := make([]events.Body, 100)
		for j := range notes {
			notes[j] = events.Note{Text: fmt.Sprint("note ", i, " ", j)}
		}
		saved, err := s.Record(got.Tag, on("2026-01-07"), notes...)
		must(t, saved, err)
	}
	first := look()
	var looked struct{ Feeds map[string]uint64 }
	if err := json.Unmarshal([]byte(first), &looked); err != nil {
		t.Fatalf("of a large one is noted %q: %v", first, err)
	}
	if h := s.Log.Heads(); len(h) != 1 || !slices.Contains(slices.Collect(maps.Values(looked.Feeds)), h[0].Seq) {
		t.Errorf("looked through is %v, the feeds are %v", looked.Feeds, h)
	}
	if again := look(); again != first {
		t.Errorf("looked at once more, %q is noted", again)
	}
	if err := os.Remove(damagedPhoto(t, s)); err != nil {
		t.Fatal(err)
	}
	if v, err := s.Verify(nil); err != nil || v.Attached.Away != 1 {
		t.Errorf("a photo that came later and is not here is not missed: %+v, %v", v.Attached, err)
	}
}
