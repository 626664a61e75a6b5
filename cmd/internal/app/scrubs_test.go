package app_test

import (
	"context"
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// hands moves a clock by itself: each look at it takes a while, and a pause as long
// as it is asked for.
type hands struct {
	at     time.Time
	each   time.Duration
	pauses []time.Duration
	ends   func(paused int) // called in each pause; may be nil
}

func (c *hands) now() time.Time {
	c.at = c.at.Add(c.each)
	return c.at
}

func (c *hands) pause(ctx context.Context, d time.Duration) {
	c.pauses = append(c.pauses, d)
	c.at = c.at.Add(d)
	if c.ends != nil {
		c.ends(len(c.pauses))
	}
}

// scrubbed is a shop with a good many notes of a size in bytes, and its clock.
func scrubbed(t *testing.T, size int) (*app.Shop, app.Options, *hands) {
	t.Helper()
	dir := t.TempDir()
	c := &hands{at: asOf}
	o := options(dir)
	o.Now = c.now
	s, err := app.Found(filepath.Join(dir, "shop"), "Lantern Street Radio", "front", o)
	if err != nil {
		t.Fatal(err)
	}
	got := receive(t, s, "E17-17750", "2026-01-05")
	for i := range 30 {
		notes := make([]events.Body, 0, 100)
		for j := range 100 {
			notes = append(notes, events.Note{Text: fmt.Sprint("note ", i, j, strings.Repeat("x", size))})
		}
		saved, err := s.Record(got.Tag, on("2026-01-07"), notes...)
		must(t, saved, err)
	}
	return s, o, c
}

// until runs scrubs until they are told to end.
func until(t *testing.T, s *app.Shop, c *hands, h app.ScrubHears, over func(paused int) bool) *app.Scrubs {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	c.pauses = nil
	c.ends = func(n int) {
		if over(n) {
			cancel()
		}
		if n > 100_000 {
			t.Error("it never ended")
			cancel()
		}
	}
	scrubs := app.NewScrubs(s, h, c.pause)
	scrubs.Run(ctx)
	return scrubs
}

func TestAScrubIsMadeOnceAWeekWhileTheFolderIsServed_F4(t *testing.T) {
	s, _, c := scrubbed(t, 10)
	defer s.Close()
	var ended []time.Time
	var last app.Scrubbed
	began := c.at
	until(t, s, c, app.ScrubHears{Ended: func(d app.Scrubbed) { ended, last = append(ended, c.at), d }}, func(int) bool { return c.at.Sub(began) > 30*24*time.Hour })
	if len(ended) != 5 {
		t.Fatalf("%d scrubs in 30 days: %v", len(ended), ended)
	}
	for i, at := range ended[1:] {
		if apart := at.Sub(ended[i]); apart < 7*24*time.Hour || apart > 7*24*time.Hour+2*time.Hour {
			t.Errorf("two are %v apart", apart)
		}
	}
	v := verified(t, s)
	equal(t, "events walked", last.Events, v.Events)
	equal(t, "runs walked", last.Feeds, v.Feeds)
	if len(last.Found) > 0 {
		t.Errorf("a sound folder: %v", last.Found)
	}
}

func TestAScrubTakesASmallShareOfTheTime_P14(t *testing.T) {
	s, _, c := scrubbed(t, 10)
	defer s.Close()
	c.each = 30 * time.Millisecond // as a step would take on a slow disk
	done := false
	until(t, s, c, app.ScrubHears{Ended: func(app.Scrubbed) { done = true }}, func(int) bool { return done })
	steps := c.pauses[1 : len(c.pauses)-1] // without the wait before it and the one behind
	if len(steps) < 4 {
		t.Fatalf("%d steps", len(steps))
	}
	for _, p := range steps {
		if p < 9*c.each {
			t.Errorf("a pause of %v after a step of %v or more", p, c.each)
		}
	}
}

func TestAScrubGoesOnAfterAStartWhereItWas_P14(t *testing.T) {
	s, o, c := scrubbed(t, 10)
	total := verified(t, s).Events
	first := until(t, s, c, app.ScrubHears{}, func(n int) bool { return n == 4 })
	st, err := first.State()
	if err != nil || st.Begun == "" || st.Events == 0 || st.Events >= total || st.Walks {
		t.Fatalf("broken off: %+v, %v", st, err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s, err = app.Open(s.Dir, o)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	var again bool
	var last app.Scrubbed
	done := false
	until(t, s, c, app.ScrubHears{Begun: func(a bool) { again = a }, Ended: func(d app.Scrubbed) { last, done = d, true }}, func(int) bool { return done })
	equal(t, "goes on", again, true)
	equal(t, "events walked, both times together", last.Events, total)
	if walked, steps := total-st.Events, len(c.pauses)-2; steps > int(walked/512)+2 {
		t.Errorf("%d events were left, and it took %d steps", walked, steps)
	}
}

func TestAScrubThatIsAskedForBeginsAtOnce(t *testing.T) {
	s, _, c := scrubbed(t, 10)
	defer s.Close()
	ended := 0
	scrubs := app.NewScrubs(s, app.ScrubHears{Ended: func(app.Scrubbed) { ended++ }}, c.pause)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	asked := false
	c.ends = func(int) {
		switch {
		case ended == 1 && !asked:
			asked = true
			if err := scrubs.Start(); err != nil {
				t.Error(err)
			}
		case ended == 2:
			cancel()
		}
	}
	began := c.at
	scrubs.Run(ctx)
	if c.at.Sub(began) > 4*time.Hour {
		t.Errorf("the second ended after %v", c.at.Sub(began))
	}
}

// A photo that went bad on the disk is named with its file and put aside, and the
// doctor says it.
func TestAScrubNamesADamagedPhotoWithItsFile_F4(t *testing.T) {
	s, _, c := scrubbed(t, 10)
	defer s.Close()
	path := damagedPhoto(t, s)
	var last *app.Scrubbed
	until(t, s, c, app.ScrubHears{Ended: func(d app.Scrubbed) { last = &d }}, func(int) bool { return last != nil })
	if len(last.Found) != 1 || filepath.Join(s.Dir, last.Found[0].Where) != path || last.Found[0].Do == "" {
		t.Fatalf("found %+v, damaged is %s", last.Found, path)
	}
	if _, err := os.Stat(path); err == nil {
		t.Error("the damaged one is still in the way")
	}
	wantFinding(t, checkup(t, s), false, "weekly check", filepath.Base(path))
}

// damagedPhoto keeps a file and changes one byte of it on the disk.
func damagedPhoto(t *testing.T, s *app.Shop) (path string) {
	t.Helper()
	pdf := []byte("%PDF-1.4\nan invented sheet\n%%EOF\n")
	file := filepath.Join(t.TempDir(), "sheet.pdf")
	if err := os.WriteFile(file, pdf, 0o600); err != nil {
		t.Fatal(err)
	}
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	saved, err := s.Attach("E17-17750", on("2026-01-08"), "as received", app.File{Name: "sheet.pdf", Content: f})
	must(t, saved, err)
	path = filepath.Join(s.Dir, "evidence", "kept", fmt.Sprintf("%x", sha256.Sum256(pdf)))
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	b[12] ^= 1
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// A table that rots on the disk stops the log. What was found stays known, and the
// next start doesn't walk into it again at once.
func TestAScrubThatMeetsARottenTableSaysSoAndDoesNotBeginAgain_F4(t *testing.T) {
	s, o, _ := scrubbed(t, 1600)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	spoilEvents(t, filepath.Join(s.Dir, "store"))
	c := &hands{at: asOf.Add(time.Hour)}
	o.Now = c.now
	s, err := app.Open(s.Dir, o)
	if err != nil {
		t.Fatal("this damage is found at the opening already, and no scrub comes to it: ", err)
	}
	var last *app.Scrubbed
	after := 0
	until(t, s, c, app.ScrubHears{Ended: func(d app.Scrubbed) { last = &d }, After: func() { after++ }}, func(int) bool { return last != nil })
	if len(last.Found) == 0 || !strings.HasSuffix(last.Found[0].Where, ".sst") || after != 1 {
		t.Errorf("found %+v, told after %d times", last.Found, after)
	}
	if _, err := os.Stat(filepath.Join(s.Dir, last.Found[0].Where)); err != nil {
		t.Error(err)
	}
	_ = s.Close() // the log has stopped
	st, err := s.ScrubState()
	if err != nil || st.Begun != "" || st.Last == nil {
		t.Errorf("afterwards %+v, %v", st, err)
	}
}
