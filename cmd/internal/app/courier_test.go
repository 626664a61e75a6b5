package app_test

import (
	"bytes"
	"errors"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events/evidence"
)

// A photo that is attached at one bench comes to the bench that hosts by itself,
// and from there to the third, while the folders are used; until then each says at
// which bench it is.
func TestAPhotoComesToEveryBenchBesideTheirWork_P4_P14(t *testing.T) {
	w := foundedApart(t)
	b := lying(t, 900, 600)
	var tag string
	w.in(t, "b", func(s *app.Shop) {
		tag = receive(t, s, "P-1", "2026-01-02").Tag
		attach(t, s, tag, "door.jpg", b)
	})
	w.hosted(t, "a", func(h *app.Hosting) {
		w.brings(t, "b", h.Hosted.Code)
		w.sync(t, "c", h.Hosted.Code)
		w.in(t, "c", func(s *app.Shop) {
			var away *app.Away
			if _, err := s.OpenEvidence(content(b), app.View); !errors.As(err, &away) || away.Where != "at bench attic" || !errors.Is(err, evidence.ErrNotHere) {
				t.Errorf("%v", err)
			}
		})
		if got := w.brings(t, "c", h.Hosted.Code); got == nil || got.Took != 1 {
			t.Errorf("the third took %+v", got)
		}
		for end := time.Now().Add(20 * time.Second); ; time.Sleep(100 * time.Millisecond) {
			here := false
			w.in(t, "a", func(s *app.Shop) {
				list, err := s.Evidence(tag)
				here = err == nil && len(list) == 1 && list[0].Here
			})
			if here {
				break
			}
			if time.Now().After(end) {
				t.Fatal("it does not come to the host")
			}
		}
	})
	for _, bench := range benchFolders {
		w.in(t, bench, func(s *app.Shop) {
			if media, got := openPiece(t, s, content(b), app.Original); media != "image/jpeg" || !bytes.Equal(got, b) {
				t.Errorf("bench %s has %d bytes of %s", bench, len(got), media)
			}
		})
	}
}

// brings has a bench meet where a code leads, and exchange photos and recordings.
func (w apart) brings(t testing.TB, bench, code string) (b *app.Brought) {
	t.Helper()
	r, err := app.Reach(t.Context(), w.dir(bench), []string{code})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	var m app.Met
	w.in(t, bench, func(s *app.Shop) {
		if m, err = s.Meet(t.Context(), r, app.Patient, nil); err != nil {
			t.Fatal(err)
		}
	})
	if b, err = app.Bring(t.Context(), m, r, 0, nil); err != nil {
		t.Fatal(err)
	}
	return b
}
