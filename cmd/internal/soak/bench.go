package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/http/cookiejar"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"
)

// How long the program may take to come up, to end when it is asked to, and to answer.
const (
	upWithin     = 90 * time.Second
	endWithin    = 30 * time.Second
	answerWithin = 2 * time.Minute
)

// bench is one laptop: a folder, the process that serves its page, and what is done
// to it.
type bench struct {
	name  string
	top   string // what belongs to it beside the folder: clock, errors, files that it gets
	dir   string // the shop's folder
	self  string // the binary
	env   []string
	died  func(b *bench, how string) // told when it ended by itself
	grave atomic.Bool                // its disk is full: it may end by itself

	ill     atomic.Int32 // faults that go on
	changes atomic.Int64 // how often one began or ended
	lately  atomic.Int64 // when the last one ended, in nanoseconds

	hit     sync.Mutex // held by a fault that is about its process; taken before turning
	turning sync.Mutex // held by who starts or ends the process

	mu     sync.Mutex // over what follows
	proc   *exec.Cmd
	ended  chan struct{} // closed once it has ended
	wanted bool          // it was told to end
	page   string
	client *http.Client
	lives  int // how often it was started
}

func newBench(name, top, dir, self string) (*bench, error) {
	b := &bench{name: name, top: top, dir: dir, self: self}
	b.env = append(os.Environ(), clockEnv+"="+b.clock(), "OLDHAND_STATE="+filepath.Join(top, "state"), "HOME="+top)
	if err := os.MkdirAll(b.files(), 0o700); err != nil {
		return nil, err
	}
	return b, setClock(b.clock(), 0)
}

func (b *bench) clock() string { return filepath.Join(b.top, "clock") }
func (b *bench) files() string { return filepath.Join(b.top, "files") }
func (b *bench) said() string  { return filepath.Join(b.top, "said.log") }

// disturb begins a fault and gives what ends it.
func (b *bench) disturb() (end func()) {
	b.ill.Add(1)
	b.changes.Add(1)
	return func() {
		b.lately.Store(time.Now().UnixNano())
		b.changes.Add(1)
		b.ill.Add(-1)
	}
}

// mood is what is compared to see whether a fault came between.
type mood struct {
	changes int64
	ill     bool
}

func (b *bench) mood() mood { return mood{b.changes.Load(), b.ill.Load() > 0} }

// excused reports whether a fault goes on, or did since.
func (b *bench) excused(since mood) bool { return since.ill || b.mood() != since }

// start starts the page's process and comes in as a browser.
func (b *bench) start(more ...string) error {
	b.turning.Lock()
	defer b.turning.Unlock()
	said, err := os.OpenFile(b.said(), os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer said.Close()
	args := append([]string{"serve", "--quiet", "--json", "--log", "--addr", "127.0.0.1:0", "--shop", b.dir}, more...)
	c := exec.Command(b.self, args...)
	c.Env, c.Stderr = b.env, said
	out, err := c.StdoutPipe()
	if err != nil {
		return err
	}
	if err := c.Start(); err != nil {
		return err
	}
	ended := make(chan struct{})
	b.mu.Lock()
	b.proc, b.ended, b.wanted = c, ended, false
	b.lives++
	b.mu.Unlock()
	var at struct{ Page, Start string }
	told := make(chan error, 1)
	go func() { told <- json.NewDecoder(out).Decode(&at) }()
	select {
	case err = <-told:
	case <-time.After(upWithin):
		err = errors.New("it says nothing")
	}
	go b.wait(c, ended)
	if err == nil {
		err = b.comeIn(at.Page, at.Start)
	}
	if err != nil {
		return fmt.Errorf("start bench %s: %w", b.name, err)
	}
	return nil
}

// wait tells of an end that nobody asked for.
func (b *bench) wait(c *exec.Cmd, ended chan struct{}) {
	_ = c.Wait() // how it ended is in ProcessState
	b.mu.Lock()
	wanted := b.wanted
	b.mu.Unlock()
	close(ended)
	if !wanted {
		b.died(b, c.ProcessState.String())
	}
}

// comeIn is a browser that is let in.
func (b *bench) comeIn(page, start string) error {
	jar, err := cookiejar.New(nil)
	if err != nil {
		return err
	}
	client := &http.Client{Jar: jar, Timeout: answerWithin, Transport: &http.Transport{MaxIdleConnsPerHost: 8}}
	res, err := client.Get(start)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	if res.StatusCode != http.StatusOK {
		return fmt.Errorf("the start address is answered with %s", res.Status)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.page, b.client = page, client
	return nil
}

// end ends the process with a signal and waits. It is begun by nobody else meanwhile.
func (b *bench) end(sig os.Signal) (how *os.ProcessState, err error) {
	b.turning.Lock()
	defer b.turning.Unlock()
	b.mu.Lock()
	c, ended := b.proc, b.ended
	b.wanted = true
	client := b.client
	b.mu.Unlock()
	if err := c.Process.Signal(sig); err != nil && !errors.Is(err, os.ErrProcessDone) {
		return nil, err
	}
	select {
	case <-ended:
	case <-time.After(endWithin):
		err = fmt.Errorf("bench %s does not end within %v of %v", b.name, endWithin, sig)
		_ = c.Process.Signal(sayWhere) // where it hangs is then in what it said
		<-ended
	}
	if client != nil {
		client.CloseIdleConnections()
	}
	return c.ProcessState, err
}

// pid is the process's number; 0 where it has ended.
func (b *bench) pid() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.proc == nil {
		return 0
	}
	select {
	case <-b.ended:
		return 0
	default:
		return b.proc.Process.Pid
	}
}

func (b *bench) life() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.lives
}

// exited is how a command ended that did not end well.
type exited struct {
	code        int // -1 where it was killed
	args, words string
}

func (e *exited) Error() string {
	return fmt.Sprintf("oldhand %s: exit %d: %s", e.args, e.code, e.words)
}

// run runs a command of the bench.
func (b *bench) run(ctx context.Context, args ...string) ([]byte, error) {
	ctx, stop := context.WithTimeout(ctx, answerWithin)
	defer stop()
	c := exec.CommandContext(ctx, b.self, append(args, "--shop", b.dir)...)
	c.Env, c.Dir = b.env, b.files()
	out, err := c.Output()
	var ended *exec.ExitError
	if errors.As(err, &ended) {
		err = &exited{ended.ExitCode(), fmt.Sprint(args), string(ended.Stderr)}
	}
	return out, err
}
