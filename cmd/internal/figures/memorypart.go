package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"

	"oldhand/cmd/internal/app"
)

// The most memory that the program has at one time, the cache of blocks counted:
// each command in a process of its own, the program as a shop has it. How fast it
// went stands in a row below.
func memoryPart(t *turn) {
	n, p := float64(t.count()), t.full()
	t.peak("catch-up by an exchange", n, func(t *turn) []string {
		return []string{"sync", t.code(p, p.host.Addr().String()), "--shop", t.copyOf(t.empty())}
	}, true)
	t.peak("catch-up by a bundle", n, func(t *turn) []string {
		return []string{"bundle", "read", t.bundle(), "--shop", t.copyOf(t.empty())}
	}, true)
	t.peak("rebuild", n, func(t *turn) []string { return []string{"rebuild", "--shop", t.copyOf(t.front())} }, true)
	t.peak("export", n, func(t *turn) []string {
		return []string{"export", "--out", filepath.Join(t.TempDir(), "all.jsonl"), "--shop", t.copyOf(t.front())}
	}, true)
	t.peak("import of a book", float64(t.bookRows()), func(t *turn) []string {
		dir := filepath.Join(t.TempDir(), "shop")
		s, err := app.Found(dir, "Quay Street Radio", "front", app.Options{State: t.TempDir()})
		t.check(errors.Join(err, s.Close()))
		return []string{"import", t.book(), "--shop", dir}
	}, false)
	f := &figure{name: "peak memory: pages, lookups and answers served", unit: mebibytes, goal: atMost(300)}
	t.try(f, func(t *turn) {
		t.rounds(func() { f.alone(t.launch("serve", "--shop", t.copyOf(t.front())).MiB) })
	})
}

// peak measures a command. Of is how many things it goes through; words gives its
// words, the last of them the folder, which may have to have all events afterwards. What
// a round makes is gone after it.
func (t *turn) peak(what string, of float64, words func(*turn) []string, all bool) {
	memory := &figure{name: "peak memory: " + what, unit: mebibytes, goal: atMost(300)}
	speed := &figure{name: what + ", the program itself", unit: perSecond}
	t.try(memory, func(t *turn) {
		t.rounds(func() {
			t.check(t.attempt(func(t *turn) {
				said := words(t)
				ran := t.launch(append([]string{"run"}, said...)...)
				memory.alone(ran.MiB)
				speed.alone(of / ran.Seconds)
				if all {
					t.hasAll(said[len(said)-1])
				}
			}))
		})
	})
	if len(speed.ours) > 0 {
		t.tell(speed)
	}
}

// hasAll demands that a folder has all events.
func (t *turn) hasAll(dir string) {
	s := t.openShop(dir)
	n := eventsOf(s)
	t.check(s.Close())
	if n != t.count() {
		t.Fatalf("of %d events %d are there", t.count(), n)
	}
}

// ran is what came of a process.
type ran struct {
	MiB     float64 // the most it had resident
	Seconds float64
	Failed  string
}

// launch runs the program from a small process that knows nothing else: what the
// system says of a child's memory begins with that of whoever started it.
func (t *turn) launch(words ...string) (r ran) {
	self, err := os.Executable()
	t.check(err)
	c := exec.Command(self, append([]string{aloneWord, t.programFile()}, words...)...)
	c.Env = append(os.Environ(), "OLDHAND_STATE="+t.TempDir())
	c.Stderr = os.Stderr
	out, err := c.Output()
	t.check(err)
	t.check(json.Unmarshal(out, &r))
	if r.Failed != "" {
		t.check(fmt.Errorf("oldhand %s: %s", words[0], r.Failed))
	}
	return r
}
