package app_test

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/app"

	"github.com/cockroachdb/pebble/v2"
)

func checkup(t testing.TB, s *app.Shop) app.Checkup {
	t.Helper()
	c, err := s.Doctor(app.Looking{})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// wantFinding checks that something is said about a thing, and that what is not as it
// should be comes with what helps.
func wantFinding(t testing.TB, c app.Checkup, ok bool, about, says string) {
	t.Helper()
	for _, f := range c.Findings {
		if f.About == about && f.OK == ok && strings.Contains(f.Says, says) && ok == (f.Do == "") {
			return
		}
	}
	t.Errorf("nobody says of %s (as it should be: %v) that %q: %+v", about, ok, says, c.Findings)
}

// spoilEvents makes the place halfway through a store's events unreadable, where no
// opening looks. All is in tables before, so that it is a place of events whenever the
// store flushed.
func spoilEvents(t testing.TB, store string) {
	t.Helper()
	db, err := pebble.Open(store, &pebble.Options{FormatMajorVersion: pebble.FormatValueSeparation, Logger: quiet{}})
	if err != nil {
		t.Fatal(err)
	}
	first, behind := []byte("e"), []byte("f")
	if err := db.Compact(t.Context(), []byte{0}, []byte{0xff}, false); err != nil {
		t.Fatal(err)
	}
	size, err := db.EstimateDiskUsage(first, behind)
	if err != nil {
		t.Fatal(err)
	}
	levels, err := db.SSTables(pebble.WithKeyRangeFilter(first, behind))
	if err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	tables := slices.Concat(levels...)
	if len(tables) == 0 {
		t.Fatal("events are in no table")
	}
	table := tables[len(tables)/2]
	size = min(size, table.Size)
	path := filepath.Join(store, fmt.Sprintf("%06d.sst", table.BackingSSTNum))
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 64 {
		b[int(size)/2+i] ^= 0x55
	}
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
}

// quiet drops what the store says.
type quiet struct{}

func (quiet) Infof(string, ...any)  {}
func (quiet) Errorf(string, ...any) {}
func (quiet) Fatalf(format string, args ...any) {
	panic(fmt.Sprintf(format, args...))
}

// shopAt is a shop whose clock can be set, and the options it is opened with.
func shopAt(t *testing.T) (*app.Shop, app.Options, *time.Time) {
	t.Helper()
	dir, at := t.TempDir(), asOf
	o := options(dir)
	o.Now = func() time.Time { return at }
	s, err := app.Found(filepath.Join(dir, "shop"), "Lantern Street Radio", "front", o)
	if err != nil {
		t.Fatal(err)
	}
	return s, o, &at
}

func TestADoctorSaysOfASoundBenchWhatItLookedAt(t *testing.T) {
	s, _, _ := shopAt(t)
	defer s.Close()
	receive(t, s, "E17-17750", "2026-01-05")
	c := checkup(t, s)
	for about, says := range map[string]string{
		"weekly check": "none was made yet", "witness": "is remembered outside", "disk": "free", "folder": "closed to others", "clock": "nothing that is here was recorded later",
		"versions": app.Software, "benches": "1 bench",
	} {
		wantFinding(t, c, true, about, says)
	}
	wantFinding(t, c, false, "backup", "none was made")
}

// A laptop whose clock was set back, by a flat battery say, stamps on in order; the
// doctor says that one clock is wrong.
func TestADoctorHoldsTheClockBesideWhatWasRecorded(t *testing.T) {
	s, o, at := shopAt(t)
	*at = asOf.Add(3 * time.Hour)
	receive(t, s, "E17-17750", "2026-01-05")
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	*at = asOf
	s, err := app.Open(s.Dir, o)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	wantFinding(t, checkup(t, s), false, "clock", "recorded later than that: by this bench")
	*at = asOf.Add(3*time.Hour - time.Minute) // two clocks are never quite the same
	wantFinding(t, checkup(t, s), true, "clock", "nothing that is here")
}

func TestADoctorLooksAtTheFolderItself(t *testing.T) {
	s, _, _ := shopAt(t)
	defer s.Close()
	receive(t, s, "E17-17750", "2026-01-05")
	if err := os.Chmod(s.Dir, 0o755); err != nil {
		t.Fatal(err)
	}
	wantFinding(t, checkup(t, s), false, "folder", "is open to others")
	if err := os.Chmod(s.Dir, 0o700); err != nil {
		t.Fatal(err)
	}
	about, err := s.Log.About()
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(about.Witness, 10); err != nil {
		t.Fatal(err)
	}
	wantFinding(t, checkup(t, s), false, "witness", "missing or torn")
}

func TestAWholeCheckUpIsTheScrubThatItWas(t *testing.T) {
	s, _, at := shopAt(t)
	defer s.Close()
	receive(t, s, "E17-17750", "2026-01-05")
	if _, err := s.Doctor(app.Looking{Whole: true}); err != nil {
		t.Fatal(err)
	}
	wantFinding(t, checkup(t, s), true, "weekly check", "everything was read on")
	*at = asOf.Add(13 * 24 * time.Hour)
	wantFinding(t, checkup(t, s), true, "weekly check", "everything was read on")
	*at = asOf.Add(15 * 24 * time.Hour)
	wantFinding(t, checkup(t, s), false, "weekly check", "everything was read last on")
	if err := os.WriteFile(filepath.Join(s.Dir, "scrub.json"), []byte("{torn"), 0o600); err != nil {
		t.Fatal(err)
	}
	wantFinding(t, checkup(t, s), true, "weekly check", "none was made yet")
}

// A backup grows old; one that was written since and not tried out does not count.
func TestADoctorCountsABackupThatWasTriedOut(t *testing.T) {
	s, _, at := shopAt(t)
	defer s.Close()
	receive(t, s, "E17-17750", "2026-01-05")
	disk := t.TempDir()
	if _, err := s.BackUp(filepath.Join(disk, "a"), "", true, nil); err != nil {
		t.Fatal(err)
	}
	wantFinding(t, checkup(t, s), true, "backup", filepath.Join(disk, "a"))
	*at = asOf.Add(31 * 24 * time.Hour)
	wantFinding(t, checkup(t, s), false, "backup", "the last was made on")
	if _, err := s.BackUp(filepath.Join(disk, "b"), "", false, nil); err != nil {
		t.Fatal(err)
	}
	wantFinding(t, checkup(t, s), false, "backup", "the last that was tried out is of")
	receive(t, s, "E17-17751", "2026-01-06")
	d, err := s.Drill(filepath.Join(disk, "b"), "", nil)
	if err != nil || !d.Agrees || d.Since == 0 || !d.Proven.OK {
		t.Fatalf("%+v, %v", d, err)
	}
	wantFinding(t, checkup(t, s), true, "backup", filepath.Join(disk, "b"))
	if left, err := os.ReadDir(disk); err != nil || len(left) != 2 {
		t.Errorf("a drill left %v (%v)", left, err)
	}
}

// A backup of what this folder was before it was put back to an older copy holds
// what is not here.
func TestADrillSaysThatABackupHoldsWhatIsNotHere(t *testing.T) {
	s, o, _ := shopAt(t)
	receive(t, s, "E17-17750", "2026-01-05")
	disk := t.TempDir()
	older, newer := filepath.Join(disk, "older"), filepath.Join(disk, "newer")
	if _, err := s.BackUp(older, "", false, nil); err != nil {
		t.Fatal(err)
	}
	receive(t, s, "E17-17751", "2026-01-06")
	if _, err := s.BackUp(newer, "", false, nil); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	again := filepath.Join(t.TempDir(), "again")
	if _, err := app.RestoreBackup(older, again, "", o, nil); err != nil {
		t.Fatal(err)
	}
	s, err := app.Open(again, o)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for path, agrees := range map[string]bool{older: true, newer: false} {
		d, err := s.Drill(path, "", nil)
		if err != nil || d.Agrees != agrees {
			t.Errorf("%s: %+v, %v", path, d, err)
		}
	}
	other, _, _ := shopAt(t)
	defer other.Close()
	if _, err := other.Drill(older, "", nil); err == nil || !strings.Contains(err.Error(), "and this is bench") {
		t.Errorf("a backup of another shop: %v", err)
	}
}
