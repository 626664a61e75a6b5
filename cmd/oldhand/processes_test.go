package main

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

var killingFor = flag.Duration("killing", 12*time.Second, "how long benches are killed and started again")

// laptop is one bench: its folder, the process that meets the others beside it,
// and what it was told is saved.
type laptop struct {
	t    *testing.T
	env  []string
	dir  string
	argv []string // of the process beside

	mu     sync.Mutex
	beside *exec.Cmd
	ended  chan struct{} // closed when it ended
	said   *bytes.Buffer

	acked []string // ids of events
}

// run runs a command of the bench. Killed says whether it is killed before it is
// through, if it takes so long.
func (l *laptop) run(killAfter time.Duration, args ...string) (out []byte, err error) {
	var stderr bytes.Buffer
	ctx := context.Background()
	if killAfter > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, killAfter)
		defer cancel()
	}
	c := exec.CommandContext(ctx, "oldhand", append(args, "--shop", l.dir)...) // the end of its context kills it
	c.Env, c.Stderr = l.env, &stderr
	out, err = c.Output()
	if err != nil {
		err = fmt.Errorf("%s: %w: %s", strings.Join(args, " "), err, stderr.String())
	}
	return out, err
}

func (l *laptop) must(args ...string) []byte {
	l.t.Helper()
	out, err := l.run(0, args...)
	if err != nil {
		l.t.Fatal(err)
	}
	return out
}

// start starts the process beside the bench.
func (l *laptop) start() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.said = &bytes.Buffer{}
	c := exec.Command("oldhand", append(l.argv, "--shop", l.dir)...)
	c.Env, c.Stdout, c.Stderr = l.env, l.said, l.said
	if err := c.Start(); err != nil {
		l.t.Error(err)
		return
	}
	ended := make(chan struct{})
	l.beside, l.ended = c, ended
	go func() {
		defer close(ended)
		_ = c.Wait() // how it ended is asked of ProcessState
	}()
}

// stop ends the process beside with a signal. One that ended before it was asked
// to is a fault.
func (l *laptop) stop(sig os.Signal) {
	l.mu.Lock()
	defer l.mu.Unlock()
	select {
	case <-l.ended:
		l.t.Errorf("%s of %s ended by itself: %v: %s", l.argv[0], l.dir, l.beside.ProcessState, l.said)
		return
	default:
	}
	if err := l.beside.Process.Signal(sig); err != nil {
		l.t.Error(err)
	}
	<-l.ended
}

// act records something, and keeps the ids of what the program said is saved.
func (l *laptop) act(r *rand.Rand, n int, tags *[]string) {
	args := []string{"receive", "--json", "--maker", "Ostrel", "--model", "R-950", "--serial", fmt.Sprintf("%s-%d", filepath.Base(l.dir), n)}
	if len(*tags) > 0 && r.IntN(3) > 0 {
		args = []string{"note", (*tags)[r.IntN(len(*tags))], "--json", fmt.Sprintf("note %d", n)}
	}
	killAfter := time.Duration(0)
	if r.IntN(8) == 0 {
		killAfter = time.Millisecond + time.Duration(r.IntN(40))*time.Millisecond
	}
	out, err := l.run(killAfter, args...)
	if err != nil {
		if killAfter == 0 {
			l.t.Errorf("%s: %v", l.dir, err)
		}
		return
	}
	var saved struct {
		Tag    string `json:"tag"`
		Events []struct {
			ID string `json:"id"`
		} `json:"events"`
	}
	if err := json.Unmarshal(out, &saved); err != nil || len(saved.Events) == 0 {
		l.t.Errorf("%s: %v: %s", args[0], err, out)
		return
	}
	for _, e := range saved.Events {
		l.acked = append(l.acked, e.ID)
	}
	*tags = append(*tags, saved.Tag)
}

// digest is what the folder holds; empty where that can't be told now.
func (l *laptop) digest() string {
	out, err := l.run(0, "verify", "--json")
	var v struct{ Digest string }
	if err != nil || json.Unmarshal(out, &v) != nil {
		return ""
	}
	return v.Digest
}

// Three benches are processes of their own, on one machine. While each records,
// any of them, the host too, and any command, is killed at any moment and
// started again. Then all meet: they hold the same, and all that was ever said to
// be saved.
func TestBenchesThatAreKilledLoseNothing_P1_P2_P4_P5_P8(t *testing.T) {
	if testing.Short() {
		*killingFor = min(*killingFor, 3*time.Second)
	}
	shop := threeLaptops(t)
	seed := rand.Uint64()
	t.Logf("seed %d; what happens when depends on the machine as well", seed)
	kills := shake(t, shop, seed, *killingFor)

	for _, l := range shop[1:] {
		l.stop(os.Interrupt)
	}
	if !poll(func() bool {
		for _, l := range shop[1:] {
			if _, err := l.run(0, "sync"); err != nil {
				return false // the host may be about to start
			}
		}
		return sameDigest(shop)
	}) {
		t.Fatal("the benches do not come to hold the same")
	}
	shop[0].stop(os.Interrupt)
	acked := 0
	for _, l := range shop {
		acked += len(l.acked)
	}
	t.Logf("%d kills, %d events acknowledged", kills, acked)
	if kills == 0 || acked == 0 {
		t.Error("nothing was put to the test")
	}
	for _, l := range shop {
		l.holds(shop)
	}
}

func sameDigest(shop []*laptop) bool {
	first := shop[0].digest()
	return first != "" && !slices.ContainsFunc(shop[1:], func(l *laptop) bool { return l.digest() != first })
}

// holds wants all events that were said to be saved anywhere.
func (l *laptop) holds(shop []*laptop) {
	l.t.Helper()
	all := string(l.must("export"))
	for _, from := range shop {
		for _, id := range from.acked {
			if !strings.Contains(all, id) {
				l.t.Errorf("%s: event %s, saved at %s, is not here", l.dir, id, from.dir)
			}
		}
	}
}

// threeLaptops founds a shop, and lets two more benches in. The first one hosts.
func threeLaptops(t *testing.T) []*laptop {
	top := t.TempDir()
	env := append(os.Environ(), "OLDHAND_STATE="+filepath.Join(top, "state"), "HOME="+top)
	var shop []*laptop
	for _, name := range []string{"a", "b", "c"} {
		shop = append(shop, &laptop{t: t, env: env, dir: filepath.Join(top, name), argv: []string{"sync", "--watch"}})
	}
	host := shop[0]
	host.must("new", "Quarry Lane Radio", "--bench", "front")
	host.argv = []string{"host", "--listen", "127.0.0.1:" + freePort(t.Fatalf)}
	host.start()
	t.Cleanup(func() {
		for _, l := range shop {
			if l.beside != nil {
				_ = l.beside.Process.Kill() // most have ended
				<-l.ended
			}
		}
	})
	if !poll(func() bool { _, err := os.Stat(filepath.Join(host.dir, "exchange", "host.json")); return err == nil }) {
		t.Fatal("the host does not come up")
	}
	for i, l := range shop[1:] {
		var in struct{ Code string }
		if err := json.Unmarshal(host.must("invite", "--json"), &in); err != nil {
			t.Fatal(err)
		}
		l.must("join", in.Code, "--bench", []string{"attic", "van"}[i])
		l.start()
	}
	return shop
}

// shake lets all benches record and kills what runs beside them, for a while. It
// gives how often.
func shake(t *testing.T, shop []*laptop, seed uint64, d time.Duration) int64 {
	var all sync.WaitGroup
	var kills atomic.Int64
	end := time.Now().Add(d)
	for i, l := range shop {
		all.Go(func() {
			r, tags := rand.New(rand.NewPCG(seed, uint64(i))), []string{}
			for n := 0; time.Now().Before(end); n++ {
				l.act(r, n, &tags)
				time.Sleep(time.Duration(r.IntN(60)) * time.Millisecond)
			}
		})
	}
	all.Go(func() {
		r := rand.New(rand.NewPCG(seed, 99))
		for time.Now().Before(end) && !t.Failed() {
			time.Sleep(time.Duration(r.IntN(900)) * time.Millisecond)
			l := shop[r.IntN(len(shop))]
			l.stop(os.Kill)
			kills.Add(1)
			time.Sleep(time.Duration(r.IntN(200)) * time.Millisecond)
			l.start()
		}
	})
	all.Wait()
	return kills.Load()
}
