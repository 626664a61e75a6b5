package app_test

import (
	"path/filepath"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/sync/meet"
)

// A bench that takes in more than it has makes its histories and tallies when all
// is here, and they are what they would be had it followed each event; afterwards
// it follows what comes again.
func TestACatchUpDefersWhatFollowsAndEndsWithTheSame_P5(t *testing.T) {
	app.FollowAtMost(t, 20)
	w := foundedApart(t)
	byFile, file := w.copied(t), filepath.Join(w.top, "all.bundle")
	w.month(t, 12)
	w.in(t, "a", func(s *app.Shop) {
		if _, err := s.WriteBundle(file, app.Carry{}); err != nil {
			t.Fatal(err)
		}
	})
	deferred := false
	w.in(t, "b", func(s *app.Shop) { // who then gives all there is, however slow the host is
		if _, err := s.ReadBundle(file, nil); err != nil {
			t.Fatal(err)
		}
	})
	w.hosted(t, "a", func(h *app.Hosting) {
		w.sync(t, "b", h.Hosted.Code)
		r, err := app.Reach(t.Context(), w.dir("c"), []string{h.Hosted.Code})
		if err != nil {
			t.Fatal(err)
		}
		defer r.Close()
		w.in(t, "c", func(s *app.Shop) {
			_, err := s.Meet(t.Context(), r, app.Patient, func(meet.Progress) {
				version, err := s.Log.Views()
				deferred = deferred || err == nil && version == ""
			})
			if err != nil {
				t.Fatal(err)
			}
			before := verified(t, s).Digest
			receive(t, s, "AFTER-1", "2026-03-05")
			if verified(t, s).Digest == before {
				t.Error("nothing follows from what is recorded after a catch-up")
			}
		})
	})
	if !deferred {
		t.Error("nothing was deferred")
	}
	w = byFile
	w.in(t, "c", func(s *app.Shop) {
		m, err := s.ReadBundle(file, nil)
		if err != nil || m.Took == 0 {
			t.Fatalf("took %d: %v", m.Took, err)
		}
		receive(t, s, "AFTER-2", "2026-03-05")
		verified(t, s)
	})
}

// In a bundle what lets a bench in stands before what that bench wrote, whatever their
// keys are: whoever joined before it and takes all over by the file keeps nothing aside.
func TestWhoTakesOverByABundleKeepsNothingAside(t *testing.T) {
	for range 50 {
		w := foundedApart(t)
		file, late := filepath.Join(w.top, "bundle"), false
		write := func(s *app.Shop) {
			if _, err := s.WriteBundle(file, app.Carry{}); err != nil {
				t.Fatal(err)
			}
		}
		read := func(s *app.Shop) {
			if m, err := s.ReadBundle(file, nil); err != nil || m.Took == 0 || m.Aside > 0 {
				t.Errorf("took %d, kept %d pieces aside: %v", m.Took, m.Aside, err)
			}
		}
		w.hosted(t, "a", func(*app.Hosting) { w.join(t, "shed", "shed") })
		w.in(t, "shed", func(s *app.Shop) {
			receive(t, s, "LATE-1", "2026-03-02")
			write(s)
		})
		w.in(t, "a", func(s *app.Shop) {
			read(s)
			late = s.Log.Branches()[0].Feed.Bench != s.Log.Bench()
			write(s)
		})
		if late { // by the order of keys its feed is the first
			w.in(t, "c", read) // which met nobody since it joined
			return
		}
	}
	t.Error("fifty times the founder's key was the first")
}
