package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"oldhand/projections"
)

// The command starts itself to measure memory; here that is the test.
func TestMain(m *testing.M) {
	if len(os.Args) > 1 && os.Args[1] == aloneWord {
		os.Exit(alone(os.Args[2:], os.Stdout))
	}
	os.Exit(m.Run())
}

// measured runs the command with a cache and gives its rows.
func measured(t *testing.T, cache string, words ...string) (rows []row, failed bool) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "rows.json")
	var out, told bytes.Buffer
	failed, err := run(append([]string{"-units", "200", "-rounds", "1", "-each", "20", "-cache", cache, "-json", file}, words...), &out, &told)
	t.Log(out.String())
	if err != nil {
		t.Fatalf("%v\n%s", err, told.String())
	}
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, &rows); err != nil {
		t.Fatal(err)
	}
	for _, r := range rows {
		if !strings.Contains(out.String(), r.Figure) {
			t.Errorf("%q is in the file and was not printed", r.Figure)
		}
	}
	return rows, failed
}

// The whole command on a shop that is too small to say anything about speed: every
// part gives its rows, each with its peer, and the peers count what ours counts.
func TestTheWholeTable(t *testing.T) {
	only := []string{"append", "past", "open", "answers", "narrowed", "rebuild", "catchup", "disk", "visible", "wire", "refill", "years"}
	if !testing.Short() {
		only = names()
	}
	rows, failed := measured(t, t.TempDir(), "-only", strings.Join(only, ","))
	if failed {
		t.Error("a figure failed")
	}
	for _, r := range rows {
		if r.Failed != "" || r.Ours <= 0 && r.Unit != byteCount || r.Rounds < 1 || r.Events < 2000 {
			t.Errorf("row %+v", r)
		}
		if r.Beside != "" && r.Peer <= 0 || (r.Goal == "") != (r.Met == "") {
			t.Errorf("row %+v", r)
		}
	}
	want := []string{"durable append, p50", "catch-up by an exchange", "catch-up by a bundle", "rebuild of all projections", "a unit's past in the store, p50",
		"bytes an event on disk, as left", "bytes an event on disk, settled", "commit to visible at another bench, p50", "open a shop's folder",
		"narrowed: outcomes of a maker", "narrowed: outcomes of a maker, beside DuckDB", "narrowed: turnaround of a year"}
	for _, q := range projections.Questions {
		want = append(want, "answer: "+q.Name, "answer: "+q.Name+", beside DuckDB")
	}
	if !testing.Short() {
		want = append(want, "page unit, p99, asked alone", "peak memory: rebuild", "peak memory: catch-up by an exchange", "peak memory: pages, lookups and answers served")
	}
	for _, name := range want {
		if !slices.ContainsFunc(rows, func(r row) bool { return r.Figure == name }) {
			t.Errorf("no row of %q", name)
		}
	}
}

// A peer whose rows are not ours is found out before it is timed, and only the question
// that it answers otherwise fails.
func TestAPeerThatCountsOtherwiseFails(t *testing.T) {
	cache := t.TempDir()
	if _, failed := measured(t, cache, "-only", "answers"); failed {
		t.Fatal("fails before anything was changed")
	}
	lite, err := openSQLiteRows(filepath.Join(cache, "shop-200", liteFolder))
	if err != nil {
		t.Fatal(err)
	}
	_, err = lite.db.Exec("DELETE FROM part WHERE rowid = (SELECT MIN(rowid) FROM part)")
	if err := errors.Join(err, lite.db.Close()); err != nil {
		t.Fatal(err)
	}
	rows, failed := measured(t, cache, "-only", "answers")
	if !failed {
		t.Error("the command says that nothing failed")
	}
	for _, r := range rows {
		bad := r.Figure == "answer: parts" || r.Figure == "answer: year" && r.Failed != "" // a part of a late year counts there too
		if bad != strings.Contains(r.Failed, "ours and SQLite differ") {
			t.Errorf("%s failed: %q", r.Figure, r.Failed)
		}
	}
}

// Worked by hand: of three rounds one was slowed down by something else, on both sides.
// The ratios are 2, 2 and 3, the medians 4 and 2.
func TestARatioIsOfOneRound(t *testing.T) {
	f := &figure{name: "append", unit: seconds, peer: "raw", goal: ratioAtMost(2)}
	f.beside(2, 1)
	f.beside(40, 20)
	f.beside(6, 2)
	r := f.row(10)
	if r.Ours != 6 || r.Peer != 2 || r.Ratio != 2 || r.Met != "met" || r.Rounds != 3 {
		t.Errorf("row %+v", r)
	}
	for _, c := range []struct {
		g           goal
		ours, ratio float64
		want        string
	}{
		{atMost(1e-3), 1e-3, math.NaN(), "met"}, {atMost(1e-3), 1.1e-3, math.NaN(), "not met"}, {atLeast(1e6), 999_999, math.NaN(), "not met"},
		{ratioAtLeast(5), 1, 5.2, "met"}, {ratioAtLeast(5), 9, 4.9, "not met"}, {goal{}, 1, 1, ""},
	} {
		if is := c.g.met(c.ours, c.ratio); is != c.want {
			t.Errorf("%+v: %v and %v is %q, want %q", c.g, c.ours, c.ratio, is, c.want)
		}
	}
	if none := (&figure{name: "x"}).row(1); none.Failed == "" {
		t.Error("a figure without a round does not fail")
	}
}

// A turn that is left early closes what it opened and says why; the clean-up too.
func TestATurnThatIsLeft(t *testing.T) {
	a := &asked{dir: t.TempDir(), most: 5, longest: 25 * time.Millisecond}
	closed := false
	why := errors.New("the disk is gone")
	err := a.attempt(func(t *turn) {
		t.Cleanup(func() { closed = true })
		t.check(why)
		t.Fatalf("went on")
	})
	if !errors.Is(err, why) || !closed {
		t.Errorf("left with %v, closed %v", err, closed)
	}
	n := 0
	if err := a.attempt(func(t *turn) { t.rounds(func() { n++; time.Sleep(10 * time.Millisecond) }) }); err != nil || n < 1 || n > 2 {
		t.Errorf("%d rounds of 10 ms in 25 ms, %v", n, err)
	}
	if left, err := os.ReadDir(a.dir); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

// A copy that is written to leaves what it was made of alone: a shop's, whose tables
// are linked, and a database's, which is written in place.
func TestACopyIsOneOfItsOwn(t *testing.T) {
	a := &asked{dir: t.TempDir(), stock: &stock{units: 200}, progress: io.Discard}
	err := a.attempt(func(turn *turn) {
		front := turn.front()
		before := sumOf(t, front)
		s := turn.openShop(turn.copyOf(front))
		units := turn.onTheBenches(s)
		for range 50 {
			turn.appendTo(s, units[0].id)
		}
		_, err := s.Rebuild()
		turn.check(errors.Join(err, s.Close()))
		if sumOf(t, front) != before {
			t.Error("a copy was written to, and the original is another")
		}
		facts := turn.factsFolder()
		before = sumOf(t, facts)
		p := turn.factsCopy()
		turn.check(errors.Join(p.appendOne(), p.reindex(), p.db.Close()))
		if sumOf(t, facts) != before {
			t.Error("a copy of SQLite's file was written to, and the original is another")
		}
	})
	if err != nil {
		t.Error(err)
	}
}

func sumOf(t *testing.T, dir string) (sum [32]byte) {
	t.Helper()
	h := sha256.New()
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		text, err := os.ReadFile(path)
		h.Write([]byte(path))
		h.Write(text)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return [32]byte(h.Sum(nil))
}

// Lines in the form of golang.org/design/14313-benchmark-format.
func TestThePagesBenchmarkIsRead(t *testing.T) {
	b, err := readBrowsed("goos: linux\nBenchmarkPages/lookup_tag-2 \t 50\t 1200 ns/op\t 3.500 alone-p50-ms\t 9.1 alone-p99-ms\t 5 p50-ms\t 21 p99-ms\n" +
		"BenchmarkPages/lookup_tag-2 \t 50\t 1200 ns/op\t 4.5 alone-p50-ms\t 9.3 alone-p99-ms\t 5 p50-ms\t 22 p99-ms\nPASS\n")
	if err != nil || !slices.Equal(b.names, []string{"lookup tag"}) || len(b.of["lookup tag"]) != 2 {
		t.Fatalf("%+v, %v", b, err)
	}
	if m := b.of["lookup tag"][1]; m["alone-p50-ms"] != 4.5 || m["p99-ms"] != 22 {
		t.Errorf("second round %v", m)
	}
	if _, err := readBrowsed("FAIL\n"); err == nil {
		t.Error("no figures, and no error")
	}
}

// Costs whose slopes are known: one stays, one grows with the square root of the log,
// and a rebuild in step with it, which it may.
func TestWhatGrowsIsSaid(t *testing.T) {
	tab := &table{out: io.Discard}
	for _, n := range []int{10_000, 1_000_000, 100_000} {
		for name, exponent := range map[string]float64{"append": 0, "page: unit": 0.5, rebuildCost: 1} {
			r := row{Figure: growthWord + name, Events: n, Unit: seconds, Ours: 1e-4 * math.Pow(float64(n)/1e4, exponent)}
			if err := tab.put(r); err != nil {
				t.Fatal(err)
			}
		}
	}
	list := tab.costs()
	said := growthSaid(list)
	for _, want := range []string{"Of 3 costs 1 stay", "should not, with their slope: page: unit (0.50).", "may grow with it: rebuild (1.00)."} {
		if !strings.Contains(said, want) {
			t.Errorf("%q does not say %q", said, want)
		}
	}
	svg := drawGrowth(list, said)
	for _, c := range list {
		if !bytes.Contains(svg, []byte(">"+c.name+", ")) {
			t.Errorf("the picture does not name %q", c.name)
		}
	}
	for d := xml.NewDecoder(bytes.NewReader(svg)); ; {
		if _, err := d.Token(); err == io.EOF {
			break
		} else if err != nil {
			t.Fatalf("the picture: %v", err)
		}
	}
}

// A unit has about 14.7 events, counted on the invented shop; a million are to be the
// shop that the table is measured on, so that it is made once.
func TestSizesInUnits(t *testing.T) {
	for events, want := range map[int]int{10_000: 680, 100_000: 6800, 1_000_000: 68_000, 10_000_000: 680_000, 1: leastUnits} {
		if is := unitsFor(events); is != want {
			t.Errorf("%d events are of %d units, want %d", events, is, want)
		}
	}
}

// What can't be meant is refused with its word.
func TestWordsThatAreRefused(t *testing.T) {
	if a, err := read([]string{"-growth", "-only", "append,sync,catch-up"}, io.Discard); err != nil || len(a.only) != 3 {
		t.Errorf("parts that may grow: %v", err)
	}
	for word, args := range map[string][]string{"cache-up": {"-only", "append,cache-up"}, "sync": {"-only", "sync"}, "catchup": {"-growth", "-only", "catchup"}, "10k": {"-sizes", "1000,10k"}, "-rounds": {"-rounds", "0"}, "extra": {"extra"}} {
		if _, err := read(args, io.Discard); err == nil || !strings.Contains(err.Error(), word) {
			t.Errorf("%v: %v", args, err)
		}
	}
}
