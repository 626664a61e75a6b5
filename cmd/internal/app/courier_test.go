package app_test

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"slices"
	"sync"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events/evidence"
	"oldhand/sync/meet"
	"oldhand/sync/seal"
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
		w.comes(t, "a", tag, 1)
	})
	for _, bench := range benchFolders {
		w.in(t, bench, func(s *app.Shop) {
			if media, got := openPiece(t, s, content(b), app.Original); media != "image/jpeg" || !bytes.Equal(got, b) {
				t.Errorf("bench %s has %d bytes of %s", bench, len(got), media)
			}
		})
	}
}

// comes waits until all photos of a unit, of which there are so many, are at a bench.
func (w apart) comes(t testing.TB, bench, tag string, want int) {
	t.Helper()
	here := 0
	for end := time.Now().Add(20 * time.Second); here < want; time.Sleep(100 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("%d of %d photos came to bench %s", here, want, bench)
		}
		here = 0
		w.in(t, bench, func(s *app.Shop) {
			list, err := s.Evidence(tag)
			for _, e := range list {
				if err == nil && e.Here { // the unit may not be here yet
					here++
				}
			}
		})
	}
}

// courierOfB is one of bench b, whose bench knows of a photo at c that it lacks and
// has one to give, and its errand, which comes to what it lacks first.
func (w apart) courierOfB(t *testing.T, h *app.Hosting) (tag string, e meet.Errand, send func(meet.Errand)) {
	t.Helper()
	w.in(t, "c", func(s *app.Shop) {
		tag = receive(t, s, "P-1", "2026-01-02").Tag
		attach(t, s, tag, "door.jpg", lying(t, 900, 600))
	})
	w.reads(t, "b", w.stick(t, "c")) // with what it says, and without the photo
	w.in(t, "b", func(s *app.Shop) { attach(t, s, tag, "label.jpg", lying(t, 600, 300)) })
	reach := func(ctx context.Context) (*app.Reached, error) {
		return app.Reach(ctx, w.dir("b"), []string{h.Hosted.Code})
	}
	r, err := reach(t.Context())
	must(t, app.Saved{}, err)
	t.Cleanup(func() { r.Close() })
	w.in(t, "b", func(s *app.Shop) {
		m, err := s.Meet(t.Context(), r, app.Patient, nil)
		must(t, app.Saved{}, err)
		e = m.Errand()
	})
	slices.SortFunc(e.Named, func(a, b meet.Named) int { return cmp.Compare(b.Size, a.Size) })
	send, stop := app.SendingCourier(r, reach)
	t.Cleanup(stop)
	return tag, e, send
}

// What another bench brings to the exchange while a courier is there, after it was
// looked for, is fetched the next time.
func TestAPhotoThatComesMeanwhileIsFetchedNext_P4_P14(t *testing.T) {
	w := foundedApart(t)
	w.hosted(t, "a", func(h *app.Hosting) {
		tag, e, send := w.courierOfB(t, h)
		var once sync.Once
		sealing := e.Sealing
		e.Sealing = func() (uint32, seal.Key, bool) { // it gives its own
			once.Do(func() { w.brings(t, "c", h.Hosted.Code) })
			return sealing()
		}
		send(e)
		w.comes(t, "b", tag, 2)
	})
}

// A photo that could not be opened is fetched once a meeting brought the key.
func TestAPhotoWaitsForItsKeyBesideTheWork_P4(t *testing.T) {
	w := foundedApart(t)
	w.hosted(t, "a", func(h *app.Hosting) {
		tag, e, send := w.courierOfB(t, h)
		w.brings(t, "c", h.Hosted.Code)
		without, asked := e, make(chan struct{}, 100)
		without.Keys = func(uint32) []seal.Key {
			asked <- struct{}{}
			return nil
		}
		send(without)
		tried := 0
		for rests := false; !rests; { // nothing changes any more, so it does not go
			select {
			case <-asked:
				tried++
			case <-time.After(2 * app.CourierEvery):
				rests = true
			}
		}
		if tried == 0 {
			t.Fatal("it does not try to open the photo")
		}
		send(e)
		w.comes(t, "b", tag, 2)
	})
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
