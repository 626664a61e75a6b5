package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/cli"
)

// clockEnv names a file that says by how much the program's clock is wrong. Where it
// is set this binary is the program and nothing else.
const clockEnv = "OLDHAND_SOAK_CLOCK"

// program is the program as its users have it, but for the clock and for looking
// around on the local network, where other benches than ours may be.
func program(clock string) int {
	c := &wrongClock{path: clock}
	return cli.Run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr, app.Options{Wait: 10 * time.Second, Ballast: true, Now: c.now})
}

// wrongClock is the machine's clock and what its file says. The file is looked at
// once a second.
type wrongClock struct {
	path   string
	looked atomic.Int64 // when, in nanoseconds
	wrong  atomic.Int64 // by how much
}

func (c *wrongClock) now() time.Time {
	t := time.Now()
	if last := c.looked.Load(); t.UnixNano()-last > int64(time.Second) && c.looked.CompareAndSwap(last, t.UnixNano()) {
		if text, err := os.ReadFile(c.path); err == nil {
			if d, err := time.ParseDuration(strings.TrimSpace(string(text))); err == nil {
				c.wrong.Store(int64(d))
			}
		}
	}
	return t.Add(time.Duration(c.wrong.Load()))
}

// setClock says by how much a bench's clock is wrong. Its readers see the file whole.
func setClock(path string, wrong time.Duration) error {
	beside := filepath.Join(filepath.Dir(path), "clock.new")
	if err := os.WriteFile(beside, []byte(wrong.String()), 0o600); err != nil {
		return fmt.Errorf("set a bench's clock: %w", err)
	}
	return os.Rename(beside, path)
}
