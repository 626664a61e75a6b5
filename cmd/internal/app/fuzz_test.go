package app_test

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/events"

	"github.com/google/go-cmp/cmp"
)

var (
	asAmount  = regexp.MustCompile(`^\$?[0-9]+(\.[0-9][0-9])?$`)
	asContent = regexp.MustCompile(`^[0-9a-fA-F]{64}$`)
)

// What is typed into one field or after one flag is read in one way or refused with
// the words in the error: an amount with a sign in it is no amount.
func FuzzTyped(f *testing.F) {
	for _, s := range []string{
		"120.50", "$120", "5.+1", "+5", "-0", "1.5", "1099511627777", "1967", "1965-67", "1965-1967", "+967", "1967-+8", " 196-  67", "67-65", "yes", "no", "2026-01-05",
		"2026-01-05 14:30", "date code=274-6342", "=x", "x=", strings.Repeat("ab", 32), strings.Repeat("aB", 31) + "g", "\xff", "",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		wrong := new(app.Wrong)
		if n, err := app.Money(s); err == nil && (n < 0 || !asAmount.MatchString(s)) {
			t.Errorf("%q is the amount %d", s, n)
		} else if err != nil && !errors.As(err, &wrong) {
			t.Errorf("amount %q: an error of no kind: %v", s, err)
		}
		if from, to, err := app.Years(s); err == nil && s != "" && (from < 0 || to < from || to > 9999 || strings.Contains(s, "+")) {
			t.Errorf("%q is the years %d to %d", s, from, to)
		} else if err != nil && (!errors.As(err, &wrong) || from != 0 || to != 0) {
			t.Errorf("years %q: %v with %d, %d", s, err, from, to)
		}
		if w, err := app.ParseAt(s); err == nil && s != "" && w == (events.When{}) && strings.TrimSpace(s) != "unknown" {
			t.Errorf("%q is no time and passes", s)
		} else if err != nil && !errors.As(err, &wrong) {
			t.Errorf("time %q: an error of no kind: %v", s, err)
		}
		if h, err := app.ParseContent(s); (err == nil) != asContent.MatchString(s) || err == nil && h.String() != strings.ToLower(s) {
			t.Errorf("content %q is %s (%v)", s, h, err)
		}
		if e, err := app.EvidenceFrom([]string{s}); err == nil && e[0].What+"="+e[0].Text != s {
			t.Errorf("evidence %q is %+v", s, e)
		}
		if _, err := app.YesNo(s); err != nil && !errors.As(err, &wrong) {
			t.Errorf("answer %q: an error of no kind: %v", s, err)
		}
		app.Marking(s, "C")
		app.Marking(s, "R")
		for _, b := range app.Faults(s, events.FaultFound{}) {
			if f, ok := b.(events.FaultFound); !ok || f.Text == "" && f.Component == "" && strings.TrimSpace(s) != "" {
				t.Errorf("finding %q is read as %+v", s, b)
			}
		}
	})
}

// A test that is being walked is kept as the values of its form, in a file that
// somebody may have changed. What is read of it is kept as what reads alike.
func FuzzTestFrom(f *testing.F) {
	f.Add("r1", "12 mV", "w1", "hums", "passed")
	f.Add("r01", "x", "rw1", "y", "")
	f.Add("r99999", "x", "w-1", "y", "z")
	f.Add("was-sheet", "a", "was-stage", "b", "c")
	f.Fuzz(func(t *testing.T, name, value, other, more, verdict string) {
		got := app.TestFrom(map[string][]string{name: {value}, other: {more}, "verdict": {verdict}})
		for n := range got.Checks {
			if n < 1 || n > events.MaxList {
				t.Fatalf("%q: check %d", name, n)
			}
		}
		again := app.TestFrom(got.Values())
		for n, c := range got.Checks {
			if c == (app.CheckTyped{}) {
				delete(got.Checks, n) // nothing typed is as good as no check
			}
		}
		if d := cmp.Diff(got, again); d != "" {
			t.Fatalf("(-first +then)\n%s", d)
		}
	})
}

// An export is a file from outside. With one of its lines changed, moved or twice in
// it, it is refused with its name and the line, and nothing is there of it; or it is
// taken, and then all of it is what the shop has. It stops no program.
func FuzzReadExport(f *testing.F) {
	shop := busyShop(f)
	whole, err := os.ReadFile(exported(f, shop, app.ExportOptions{Keys: true}))
	if err != nil {
		f.Fatal(err)
	}
	lines := bytes.SplitAfter(whole, []byte("\n"))
	f.Add(uint8(0), uint8(0), []byte{})
	f.Add(uint8(1), uint8(2), []byte{})
	f.Add(uint8(len(lines)-2), uint8(1), []byte{})
	f.Add(uint8(3), uint8(3), []byte(`{"specversion":"1.0"}`+"\n"))
	f.Add(uint8(2), uint8(2), lines[0])
	f.Add(uint8(2), uint8(2), []byte(`{"specversion":"1.0","type":"x","feed":"y","previous":"00","sequence":"0"}`+"\n"))
	f.Fuzz(func(t *testing.T, from, to uint8, put []byte) {
		moved := append([][]byte(nil), lines...)
		i, j := int(from)%len(moved), int(to)%len(moved)
		moved[i], moved[j] = moved[j], moved[i]
		if len(put) > 0 {
			moved[i] = put
		}
		path := filepath.Join(t.TempDir(), "export.jsonl")
		if err := os.WriteFile(path, bytes.Join(moved, nil), 0o600); err != nil {
			t.Fatal(err)
		}
		before, err := shop.Verify(nil)
		if err != nil {
			t.Fatal(err)
		}
		res, err := shop.ReadExport(path, nil)
		if err != nil {
			if !strings.Contains(err.Error(), path) {
				t.Fatalf("the file is not named: %v", err)
			}
		} else if res.Events != 0 {
			t.Fatalf("its own export gives it %d events", res.Events)
		}
		after, err := shop.Verify(nil)
		if err != nil || after.Digest != before.Digest {
			t.Fatalf("the shop is another: %v", err)
		}
	})
}

// Feeds of an export may stand in one another, each with several signed heads: the
// program writes them one behind the other, and a file put together from two need not
// be so.
func TestFeedsOfAnExportMayStandInOneAnother(t *testing.T) {
	s := busyShop(t)
	dir := s.Dir
	if err := s.Log.Close(); err != nil {
		t.Fatal(err)
	}
	boot := "another start of the machine"
	o := options(t.TempDir())
	o.Boot = &boot
	again, err := app.Open(dir, o)
	if err != nil {
		t.Fatal(err)
	}
	receive(t, untilTheEnd(t, again), "B90-55354", "2026-02-03")
	whole, err := os.ReadFile(exported(t, again, app.ExportOptions{}))
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "export.jsonl")
	if err := os.WriteFile(path, interleaved(t, dir, whole), 0o600); err != nil {
		t.Fatal(err)
	}
	equal(t, "digest", verified(t, fromExport(t, path)).Digest, verified(t, again).Digest)
}

// exportLine is what a test reads of a line.
type exportLine struct {
	Feed, Record string
	Data         map[string]any
}

// interleaved puts the shorter feed's lines behind a head in the middle of the
// longer's, signed with the bench's own key.
func interleaved(t *testing.T, dir string, whole []byte) []byte {
	t.Helper()
	seed, err := os.ReadFile(filepath.Join(dir, "keys", "bench.key"))
	if err != nil {
		t.Fatal(err)
	}
	key, err := events.BenchKeyFrom(bytes.TrimSpace(seed))
	if err != nil {
		t.Fatal(err)
	}
	feeds, raw, read := map[string]int{}, bytes.SplitAfter(whole, []byte("\n")), []exportLine{}
	long := ""
	for _, line := range raw {
		var c exportLine
		if err := json.Unmarshal(line, &c); len(line) > 0 && err != nil {
			t.Fatal(err)
		}
		read = append(read, c)
		if feeds[c.Feed]++; c.Feed != "" && feeds[c.Feed] > feeds[long] || long == "" {
			long = c.Feed
		}
	}
	shop, err := events.ParseShopID(read[0].Data["shop"].(string))
	if err != nil || len(feeds) != 3 {
		t.Fatalf("%d feeds: %v", len(feeds)-1, err)
	}
	var head events.Head
	if err := head.Feed.UnmarshalText([]byte(long)); err != nil {
		t.Fatal(err)
	}
	var begin, middle, end []byte
	for i, c := range read {
		switch {
		case c.Feed == "":
			begin = append(begin, raw[i]...)
		case c.Feed != long:
			middle = append(middle, raw[i]...)
		case head.Seq < 3:
			record, err := base64.StdEncoding.DecodeString(c.Record)
			if err != nil {
				t.Fatal(err)
			}
			e, err := events.Link(head, record)
			if err != nil {
				t.Fatal(err)
			}
			head, begin = e.Head(), append(begin, raw[i]...)
		default:
			end = append(end, raw[i]...)
		}
	}
	signed, err := key.SignHead(shop, head)
	if err != nil {
		t.Fatal(err)
	}
	begin = fmt.Appendf(begin, `{"specversion":"1.0","id":"h","source":"s","type":"oldhand.export.head.v1","feed":%q,"sequence":"3","data":{"hash":%q,"signature":%q}}`+"\n",
		head.Feed, head.Hash, base64.StdEncoding.EncodeToString(signed.Signature[:]))
	return slices.Concat(begin, middle, end)
}
