package main

import (
	"flag"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"oldhand/events/sharedtest"
)

var soakFor = flag.Duration("soak", 20*time.Second, "how long three benches work")

// TestMain lets the test binary be the program.
func TestMain(m *testing.M) {
	if clock := os.Getenv(clockEnv); clock != "" {
		os.Exit(program(clock))
	}
	os.Exit(m.Run())
}

// lines is the test's log, for what the soak tells.
type lines struct{ t *testing.T }

func (l lines) Write(b []byte) (int, error) {
	l.t.Log(strings.TrimRight(string(b), "\n"))
	return len(b), nil
}

// A small soak, so that it does not rot: everything that an hour does happens in it,
// faster. What it wants of the program is said in doc.go.
func TestThreeBenchesWorkThroughAllThatHappens_P1_P2_P4_P5_P8_P13(t *testing.T) {
	p := plan{length: *soakFor, seed: 11, pause: 200 * time.Millisecond, calm: 3 * time.Second, idle: 5 * time.Second, every: time.Second, top: t.TempDir(), disk: true}
	if testing.Short() {
		p.length = min(p.length, 6*time.Second)
	}
	s, err := soakOnce(t.Context(), p, lines{t})
	if err != nil {
		t.Fatal(err)
	}
	if sum(s.did.deeds) == 0 || sum(s.did.faults) == 0 || s.end.benches != len(names) {
		t.Error("nothing was put to the test")
	}
	t.Run("full disk", func(t *testing.T) {
		if s.disk == nil {
			sharedtest.Skip(t, "a small disk can't be mounted here, so that none was full")
		}
	})
}

// What is not there, or there twice, is found in an export as the program writes it.
func TestWhatAnExportLacksIsSaid(t *testing.T) {
	line := func(id, text string) string { return `{"id":"` + id + `","data":{"text":"` + text + `"}}` + "\n" }
	h, err := readExport(strings.NewReader(line("E1", "sk-van1-000001 hums") + line("E2", "sk-van1-000002") + line("E3", "sk-van1-000002")))
	if err != nil {
		t.Fatal(err)
	}
	l := newLedger()
	l.saved("van", "E1", "E2", "E4")
	l.marked("van", "sk-van1-000001")
	l.marked("attic", "sk-attic0-000009")
	got := l.lacks(h)
	slices.Sort(got)
	want := []string{"event E4, saved at van, is not there", "what was marked sk-attic0-000009, saved at attic, is not there", "what was marked sk-van1-000002 is there 2 times"}
	if !slices.Equal(got, want) {
		t.Errorf("got %q", got)
	}
	if _, err := readExport(strings.NewReader(line("E1", "") + "half a li")); err == nil {
		t.Error("half an export is read as a whole one")
	}
}

// By hand: the slopes between (0 h, 0), (1 h, 10), (2 h, 20), (3 h, 900) are 10, 10, 300,
// 10, 445 and 880; the upper one of the middle two is 300. With (4 h, 40) the ten are 10
// six times and 300, 445, 880, -860: the middle is 10, whatever the one that lies off.
func TestOneSampleFarOffMovesTheSlopeLittle(t *testing.T) {
	var list []sample
	for i, v := range []int64{0, 10, 20, 900, 40} {
		list = append(list, sample{at: time.Duration(i) * time.Hour, live: v})
	}
	if got := slope(list, func(x sample) int64 { return x.live }); got != 10 {
		t.Errorf("slope %v an hour, want 10", got)
	}
	if got := slope(list[:1], func(x sample) int64 { return x.live }); got != 0 {
		t.Errorf("one sample has slope %v", got)
	}
}

// Goroutine profiles are told apart by where their goroutines are, not by addresses.
func TestWhereMoreGoroutinesAreIsSaid(t *testing.T) {
	was := "goroutine profile: total 3\n2 @ 0x1 0x2\n#\t0x1\ta.wait+0x1\t/a.go:1\n#\t0x2\ta.run+0x2\t/a.go:2\n\n1 @ 0x3\n#\t0x3\tb.run+0x1\t/b.go:1\n"
	is := "goroutine profile: total 6\n5 @ 0x1 0x2\n#\t0x1\ta.wait+0x1\t/a.go:1\n#\t0x2\ta.run+0x2\t/a.go:2\n\n1 @ 0x9\n#\t0x9\tb.run+0x1\t/b.go:1\n"
	if got, want := grown(was, is), "    +3  a.wait+0x1 < a.run+0x2"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}
