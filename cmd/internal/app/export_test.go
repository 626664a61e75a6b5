package app_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// exported writes a shop's export into a file.
func exported(t testing.TB, s *app.Shop, o app.ExportOptions) string {
	t.Helper()
	var b bytes.Buffer
	if _, err := s.ExportEvents(&b, o); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "export.jsonl")
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func fromExport(t testing.TB, path string) *app.Shop {
	t.Helper()
	dir := t.TempDir()
	s, _, err := app.FromExport(filepath.Join(dir, "copy"), path, options(dir), nil)
	if err != nil {
		t.Fatal(err)
	}
	return untilTheEnd(t, s)
}

func busyShop(t testing.TB) *app.Shop {
	t.Helper()
	s := newShop(t)
	got := receive(t, s, "E17-17750", "2026-01-05")
	other := receive(t, s, "E17-17705", "2026-01-06")
	saved, err := s.Same(got.Tag, other.Tag, "", app.Who{})
	must(t, saved, err)
	res, err := s.Receive(app.Intake{Claim: events.Received{Maker: "Corvane", Model: "MS-44"}, Customer: events.Personal{Name: "Odile Marchbanks", City: "Holmby"}, Who: on("2026-02-01")})
	if err != nil {
		t.Fatal(err)
	}
	saved, err = s.Record(res.Tag, on("2026-02-02"), events.Note{Text: "no back cover"})
	must(t, saved, err)
	return s
}

func TestAnExportReadIntoAnEmptyFolderHasTheSameDigest(t *testing.T) {
	s := busyShop(t)
	c := fromExport(t, exported(t, s, app.ExportOptions{}))
	equal(t, "digest", verified(t, c).Digest, verified(t, s).Digest)
	if p, err := c.Past("marchbanks", 1); err != nil || len(p.Matches) != 0 {
		t.Errorf("a copy without keys finds a customer: %v %v", p, err)
	}
	withKeys := fromExport(t, exported(t, s, app.ExportOptions{Keys: true}))
	if p, err := withKeys.Past("marchbanks", 1); err != nil || len(p.Matches) != 1 {
		t.Errorf("a copy with keys does not find a customer: %v %v", p, err)
	}
}

// CloudEvents 1.0.2, "Required Attributes" and "Naming conventions" (from
// memory): id, source, specversion and type are there and not empty; names are
// small letters and digits.
func TestEachLineOfAnExportIsACloudEvent(t *testing.T) {
	b, err := os.ReadFile(exported(t, busyShop(t), app.ExportOptions{Keys: true}))
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(b)), "\n")
	if len(lines) < 10 {
		t.Fatalf("only %d lines", len(lines))
	}
	ids := map[string]bool{}
	for n, line := range lines {
		var e map[string]any
		if err := json.Unmarshal([]byte(line), &e); err != nil {
			t.Fatalf("line %d: %v", n+1, err)
		}
		for _, name := range []string{"id", "source", "specversion", "type"} {
			if s, ok := e[name].(string); !ok || s == "" {
				t.Errorf("line %d: no %s", n+1, name)
			}
		}
		equal(t, "specversion", e["specversion"], any("1.0"))
		for name := range e {
			if strings.Trim(name, "abcdefghijklmnopqrstuvwxyz0123456789") != "" {
				t.Errorf("line %d: attribute %q", n+1, name)
			}
		}
		key := e["source"].(string) + e["id"].(string)
		if ids[key] {
			t.Errorf("line %d: source and id stand twice", n+1)
		}
		ids[key] = true
	}
}

func TestP10_AnExportThatWasTouchedIsRefusedWhole(t *testing.T) {
	good, err := os.ReadFile(exported(t, busyShop(t), app.ExportOptions{}))
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.SplitAfter(string(good), "\n")
	touch := map[string]string{
		"cut off in the middle":      string(good[:len(good)/2]),
		"the last line left out":     strings.Join(lines[:len(lines)-2], ""),
		"an event left out":          lines[0] + lines[1] + strings.Join(lines[3:], ""),
		"an event twice":             lines[0] + lines[1] + lines[1] + strings.Join(lines[2:], ""),
		"two events swapped":         lines[0] + lines[1] + lines[3] + lines[2] + strings.Join(lines[4:], ""),
		"another shop named":         strings.ReplaceAll(string(good), `"shop":"`, `"shop":"a`),
		"a bit of a record flipped":  flipRecord(string(good)),
		"the signature of no one":    lastReplaced(string(good), `"signature":"`, `"signature":"AAAA`),
		"nothing but the first line": lines[0],
	}
	for what, text := range touch {
		path := filepath.Join(t.TempDir(), "bad.jsonl")
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		dir := filepath.Join(t.TempDir(), "copy")
		if s, _, err := app.FromExport(dir, path, options(t.TempDir()), nil); err == nil {
			t.Errorf("%s: was taken", what)
			_ = s.Close()
		}
		if _, err := os.Stat(dir); err == nil {
			t.Errorf("%s: a folder was made", what)
		}
	}
}

// flipRecord changes one letter of the last event's base64.
func flipRecord(s string) string {
	i := strings.LastIndex(s, `"record":"`) + len(`"record":"`) + 40
	c := byte('A')
	if s[i] == 'A' {
		c = 'B'
	}
	return s[:i] + string(c) + s[i+1:]
}

func TestF26_AnotherShopsExportIsRefusedAndNothingOfItShown(t *testing.T) {
	path := exported(t, busyShop(t), app.ExportOptions{})
	mine := busyShop(t)
	before := verified(t, mine)
	_, err := mine.ReadExport(path, nil)
	if err == nil || !strings.Contains(err.Error(), "another shop") {
		t.Fatalf("got %v", err)
	}
	equal(t, "digest", verified(t, mine).Digest, before.Digest)
}

func TestF17_ReadingAnExportTwiceAddsNothing(t *testing.T) {
	s := busyShop(t)
	path := exported(t, s, app.ExportOptions{})
	c := fromExport(t, path)
	receive(t, s, "Z99-00001", "2026-03-01")
	more := exported(t, s, app.ExportOptions{})
	res, err := c.ReadExport(more, nil)
	if err != nil {
		t.Fatal(err)
	}
	equal(t, "new events", res.Events, 1)
	equal(t, "digest", verified(t, c).Digest, verified(t, s).Digest)
	res, err = c.ReadExport(path, nil)
	if err != nil {
		t.Fatal(err)
	}
	equal(t, "new events of the older export", res.Events, 0)
}

// An export that brings much makes histories and tallies when all of it is here, and
// they are those of the shop it is of; what is recorded after it is followed.
func TestAnExportThatBringsMuchDefersWhatFollows_P5(t *testing.T) {
	app.FollowAtMost(t, 20)
	s := busyShop(t)
	c := fromExport(t, exported(t, s, app.ExportOptions{}))
	const sets = 30
	for i := range sets {
		receive(t, s, fmt.Sprintf("Z98-%05d", i), "2026-03-01")
	}
	deferred := false
	res, err := c.ReadExport(exported(t, s, app.ExportOptions{}), func(int) { deferred = deferred || !c.Log.Follows() })
	if err != nil || res.Events < sets || !deferred || !c.Log.Follows() {
		t.Errorf("%d events, %v; deferred: %v, follows: %v", res.Events, err, deferred, c.Log.Follows())
	}
	equal(t, "digest", verified(t, c).Digest, verified(t, s).Digest)
	found, _, err := c.Lookup("Z98-00007", 2)
	if err != nil || len(found) == 0 {
		t.Errorf("a set that came is found %d times: %v", len(found), err)
	}
}

func lastReplaced(s, old, text string) string {
	i := strings.LastIndex(s, old)
	return s[:i] + text + s[i+len(old):]
}

// What came by an export is passed on as what came by an exchange is: in runs
// that others can check, whoever wrote it (P8).
func TestALongFeedFromAnExportIsPassedOnInRuns_P8(t *testing.T) {
	s := newShop(t)
	got := receive(t, s, "E17-17750", "2026-01-05")
	for range 13 {
		var notes []events.Body
		for range 100 {
			notes = append(notes, events.Note{Text: "again"})
		}
		saved, err := s.Record(got.Tag, on("2026-01-06"), notes...)
		must(t, saved, err)
	}
	c := fromExport(t, exported(t, s, app.ExportOptions{}))
	v, err := c.Log.View()
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	head := s.Log.Heads()[0]
	runs, after := 0, uint64(0)
	for after < head.Seq {
		evs, end, err := v.Run(head.Feed, after)
		if err != nil || len(evs) == 0 || len(evs) > events.MaxRun {
			t.Fatalf("behind %d: %d events (%v)", after, len(evs), err)
		}
		after, runs = end.Seq, runs+1
	}
	if after != head.Seq || runs != 3 {
		t.Errorf("%d runs to %d of %d", runs, after, head.Seq)
	}
}
