package app_test

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// notes records notes on the set that all know, a minute apart.
func (w apart) notes(t testing.TB, bench string, texts ...string) {
	t.Helper()
	w.in(t, bench, func(s *app.Shop) {
		for _, text := range texts {
			w.now.Add(60)
			saved, err := s.Record("SHARED-1", app.Who{By: bench}, events.Note{Text: text})
			must(t, saved, err)
		}
	})
}

// stick is a file of all that a bench has.
func (w apart) stick(t testing.TB, bench string) (file string) {
	t.Helper()
	file = filepath.Join(t.TempDir(), bench+".bundle")
	w.in(t, bench, func(s *app.Shop) {
		if c, err := s.WriteBundle(file, app.Carry{}); err != nil || c.Held > 0 {
			t.Fatalf("bench %s writes %s: %+v, %v", bench, file, c, err)
		}
	})
	return file
}

func (w apart) reads(t testing.TB, bench string, files ...string) {
	t.Helper()
	w.in(t, bench, func(s *app.Shop) {
		for _, file := range files {
			if m, err := s.ReadBundle(file, nil); err != nil || m.Aside > 0 || !m.AllHere {
				t.Fatalf("bench %s reads %s: %+v, %v", bench, file, m, err)
			}
		}
	})
}

// told are the notes of the set that all know, as its past tells them.
func (w apart) told(t testing.TB, bench string) (all string) {
	t.Helper()
	w.in(t, bench, func(s *app.Shop) {
		p, err := s.Past("SHARED-1", 100)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range p.Matches {
			for _, v := range m.Visits {
				for _, l := range v.Lines {
					all += l.Line + "\n"
				}
			}
		}
	})
	return all
}

// ranAsTwo is what a bench says of a bench that did.
func (w apart) ranAsTwo(t testing.TB, bench, of string) (forks []app.Fork, says string) {
	t.Helper()
	w.in(t, bench, func(s *app.Shop) {
		res, err := s.Benches()
		if err != nil || len(res.Aside) > 0 {
			t.Fatalf("bench %s keeps %+v aside (%v)", bench, res.Aside, err)
		}
		for _, b := range res.Benches {
			if b.Name == of {
				forks, says = b.RanAsTwo, strings.Join(b.Says, "\n")
			}
		}
	})
	return forks, says
}

// A laptop whose memory is put back while it runs, or that runs twice, writes
// other events under numbers it used. Both lives are in every history, whichever
// was met first, by stick or at an exchange.
func TestF12_ABenchThatRanAsTwoIsKeptWholeEverywhere_P4_P5_P6_P8(t *testing.T) {
	w := foundedApart(t)
	w.notes(t, "c", "before")
	before := w.copied(t)
	twin := w.copied(t) // folder and witness, under the same start of the machine
	w.notes(t, "c", "first life, one", "first life, two")
	twin.notes(t, "c", "second life, one", "second life, two", "second life, three")
	first, second := w.stick(t, "c"), twin.stick(t, "c")
	w.reads(t, "a", first, second)
	w.reads(t, "b", second, first)
	equal(t, "digest of who met them the other way round", w.digest(t, "b"), w.digest(t, "a"))

	w.hosted(t, "a", func(h *app.Hosting) {
		for range 2 { // the first to come gets the rest when it comes again
			w.sync(t, "c", h.Hosted.Code)
			twin.sync(t, "c", h.Hosted.Code)
			w.sync(t, "b", h.Hosted.Code)
		}
		var in app.Invitation
		w.in(t, "a", func(s *app.Shop) {
			var err error
			if in, err = s.Invite(); err != nil {
				t.Fatal(err)
			}
		})
		if _, err := app.Join(t.Context(), w.dir("late"), []string{in.Code}, "late", w.options()); err != nil {
			t.Fatal(err)
		}
		for end := time.Now().Add(time.Minute); w.digest(t, "late") != w.digest(t, "a") && time.Now().Before(end); {
			w.sync(t, "late", h.Hosted.Code)
		}
		for range 2 {
			w.sync(t, "c", h.Hosted.Code)
			twin.sync(t, "c", h.Hosted.Code)
			w.sync(t, "b", h.Hosted.Code)
		}
	})
	want, forks := w.digest(t, "a"), []app.Fork(nil)
	for name, at := range map[string]apart{"b": w, "c": w, "late": w, "the twin": twin} {
		bench := name
		if name == "the twin" {
			bench = "c"
		}
		equal(t, "digest of "+name, at.digest(t, bench), want)
		told := at.told(t, bench)
		for _, text := range []string{"before", "first life, one", "first life, two", "second life, one", "second life, three"} {
			if strings.Count(told, text) != 1 {
				t.Errorf("%s does not tell once of %q:\n%s", name, text, told)
			}
		}
		got, says := at.ranAsTwo(t, bench, "van")
		if forks == nil {
			forks = got
		}
		if len(got) != 1 || len(got[0].Ends) != 2 || !reflect.DeepEqual(got, forks) {
			t.Errorf("%s shows %+v", name, got)
		}
		for _, end := range forks[0].Ends {
			if !strings.Contains(says, fmt.Sprintf("event %d (%.8s)", end.Event, end.Hash)) {
				t.Errorf("%s says %q", name, says)
			}
		}
	}
	w.copies(t, want)
	before.reads(t, "b", w.stick(t, "a")) // from one stick alone, of one bench that wrote none of it
	equal(t, "digest of who has but a stick", before.digest(t, "b"), want)
}

// copies reads an export and a stick into empty folders, and makes the views of
// bench a anew: all give the same digest.
func (w apart) copies(t testing.TB, want string) {
	t.Helper()
	export := ""
	w.in(t, "a", func(s *app.Shop) {
		if _, err := s.Rebuild(); err != nil {
			t.Fatal(err)
		}
		export = exported(t, s, app.ExportOptions{})
	})
	equal(t, "digest after a rebuild", w.digest(t, "a"), want)
	w.refused(t, export)
	s, res, err := app.FromExport(w.dir("copy"), export, w.options(), nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	equal(t, "digest of a copy from an export", w.digest(t, "copy"), want)
	w.in(t, "b", func(s *app.Shop) { // reads what it has
		again, err := s.ReadExport(export, nil)
		if err != nil || again.Events != 0 || again.Known != res.Events {
			t.Errorf("an export read again: %+v (%v)", again, err)
		}
	})
}

// refused changes what an export says of its branches in several ways: each is
// refused by name, and makes no folder.
func (w apart) refused(t testing.TB, export string) {
	t.Helper()
	whole, err := os.ReadFile(export)
	if err != nil {
		t.Fatal(err)
	}
	previous := regexp.MustCompile(`"previous":"[0-9a-f]{64}"`)
	if !previous.Match(whole) {
		t.Fatal("no branch in the export")
	}
	lines := bytes.SplitAfter(whole, []byte("\n"))
	branch := slices.IndexFunc(lines, previous.Match)
	for name, bad := range map[string][]byte{
		"leaves an event that is not there": previous.ReplaceAll(whole, []byte(`"previous":"`+strings.Repeat("a", 64)+`"`)),
		"leaves no hash":                    previous.ReplaceAll(whole, []byte(`"previous":"x"`)),
		"says nothing of it":                previous.ReplaceAll(whole, []byte(`"none":""`)),
		"no word of it at the beginning":    regexp.MustCompile(`"left":\[[^]]*\],`).ReplaceAll(whole, nil),
		"the head before is lost":           bytes.Join(slices.Delete(slices.Clone(lines), branch-1, branch), nil),
	} {
		file, dir := filepath.Join(t.TempDir(), "bad.jsonl"), filepath.Join(t.TempDir(), "copy")
		if err := os.WriteFile(file, bad, 0o600); err != nil {
			t.Fatal(err)
		}
		if _, _, err := app.FromExport(dir, file, w.options(), nil); err == nil || !strings.Contains(err.Error(), file) {
			t.Errorf("%s: %v", name, err)
		}
		if _, err := os.Stat(dir); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s: left a folder (%v)", name, err)
		}
	}
}
