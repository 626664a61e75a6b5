package app_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/sync/bundle"
)

// lostPhoto is a shop that has lost the bytes of a photo, and a bundle of it with the
// photo in the file beside.
func lostPhoto(t *testing.T) (s *app.Shop, file, kept string) {
	t.Helper()
	s = newShop(t)
	photo := lying(t, 40, 30)
	attach(t, s, receive(t, s, "E17-1", "2026-01-05").Tag, "door.jpg", photo)
	file = filepath.Join(t.TempDir(), "stick.oh")
	if _, err := s.WriteBundle(file, app.Carry{}); err != nil {
		t.Fatal(err)
	}
	if _, err := s.WritePhotos(file + bundle.PhotosEnding); err != nil {
		t.Fatal(err)
	}
	err := filepath.WalkDir(filepath.Join(s.Dir, "evidence", "kept"), func(path string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			kept = path
		}
		return err
	})
	if err != nil || kept == "" {
		t.Fatalf("the photo is not kept (%v)", err)
	}
	if err := os.Remove(kept); err != nil {
		t.Fatal(err)
	}
	return s, file, kept
}

func isThere(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

func TestAFileOfPhotosWaitsForWhoFetchesAndSaysSo(t *testing.T) {
	s, file, kept := lostPhoto(t)
	done := app.Fetching(t, s)
	var told []string
	m, err := s.ReadBundle(file, func(text string) {
		told = append(told, text)
		time.AfterFunc(150*time.Millisecond, done)
	})
	if err != nil || m.Attached == nil || m.Attached.Took != 1 || !isThere(kept) {
		t.Fatalf("after the wait it came to %+v (%v), photo here: %v", m.Attached, err, isThere(kept))
	}
	if len(told) != 1 || !strings.Contains(told[0], "wait") {
		t.Errorf("of the wait it told %q", told)
	}
}

// One who fetches for long keeps back no event; the photos are said to be read later,
// and are.
func TestAFileOfPhotosThatMayNotBeReadForLongKeepsNoEventBack(t *testing.T) {
	s, file, kept := lostPhoto(t)
	app.FetchPatience(t, 100*time.Millisecond)
	done := app.Fetching(t, s)
	m, err := s.ReadBundle(file, nil)
	if err != nil || !m.AllHere || m.Attached == nil || !strings.Contains(strings.Join(m.Attached.Says, "; "), "stick.oh.photos were not read") {
		t.Errorf("with photos that wait it came to %+v, %+v (%v)", m, m.Attached, err)
	}
	var busy *app.PhotosBusy
	if _, err := s.ReadBundle(file+bundle.PhotosEnding, nil); !errors.As(err, &busy) || isThere(kept) {
		t.Errorf("photos alone give %v", err)
	}
	done()
	if m, err := s.ReadBundle(file+bundle.PhotosEnding, nil); err != nil || m.Attached.Took != 1 || !isThere(kept) {
		t.Errorf("read again it came to %+v (%v)", m.Attached, err)
	}
}
