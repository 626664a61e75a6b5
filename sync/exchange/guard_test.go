package exchange_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"oldhand/events/sharedtest"
	"oldhand/sync/exchange"
)

// disk says how much is free as the test wants it.
type disk struct {
	free atomic.Uint64
	err  atomic.Pointer[error]
}

func (d *disk) space(string) (uint64, error) {
	if err := d.err.Load(); err != nil {
		return 0, *err
	}
	return d.free.Load(), nil
}

func (d *disk) under(o *exchange.HostOptions, told *notes) {
	o.FreeSpace, o.LeastFree, o.LookEvery, o.Warn = d.space, 100<<20, 10*time.Millisecond, told.warn
}

// While little is free the exchange says that it is full, at once, and serves
// what it has; with room again it takes more, and nobody was cut off.
func TestAFullDiskIsSaidEarly_F07_P13(t *testing.T) {
	t.Parallel()
	var d disk
	var told notes
	o := exchange.HostOptions{Dir: t.TempDir()}
	d.under(&o, &told)
	d.free.Store(100 << 20)
	h, k, x := oneBench(t, o)
	f := feedOf(t, k, 1)
	last := fill(t, x, f, "kept", 3)

	d.free.Store(100<<20 - 1)
	told.mustSay(t, "takes nothing more")
	if why := h.Full(); !errors.Is(why, exchange.ErrFull) || !strings.Contains(why.Error(), o.Dir) || !strings.Contains(why.Error(), "99 MiB") {
		t.Errorf("why: %v", why)
	}
	if _, err := x.Publish(within(t), feedOf(t, k, 2), 0, []byte("x")); !errors.Is(err, exchange.ErrFull) {
		t.Errorf("publish on another feed: %v", err)
	}
	if _, err := x.Publish(within(t), f, last, []byte("x")); !errors.Is(err, exchange.ErrFull) {
		t.Errorf("publish: %v", err)
	}
	r := follow(t, x, exchange.Cursor{})
	r.wait(t, 3)
	admit(t, h, k, newKey(t)) // which says anew what each shop may keep
	if _, err := x.Publish(within(t), f, last, []byte("x")); !errors.Is(err, exchange.ErrFull) {
		t.Errorf("publish after a change of users: %v", err)
	}
	fault := errors.New("the disk does not say")
	d.err.Store(&fault)
	d.free.Store(100 << 20)
	d.err.Store(nil)
	told.mustSay(t, "takes more again")
	if h.Full() != nil {
		t.Errorf("still full: %v", h.Full())
	}
	publish(t, x, f, last, "room again")
	r.wait(t, 4)
	if n := x.Conn().Stats().Reconnects; n != 0 {
		t.Errorf("the bench was cut off %d times", n)
	}
}

// A host that starts on a full disk takes nothing from the start. (One that
// holds nothing yet takes one message: the server counts from there.)
func TestAHostOpensFull_F07_P13(t *testing.T) {
	t.Parallel()
	var d disk
	var told notes
	o := exchange.HostOptions{Dir: t.TempDir()}
	h, k, x := oneBench(t, o)
	f := feedOf(t, k, 1)
	last := fill(t, x, f, "kept", 1)
	x.Close()
	closeHost(t, h)
	d.under(&o, &told)
	_, _, x = oneBench(t, o)
	if h, _, err := x.Last(within(t), f); err != nil || h.Seq != last {
		t.Errorf("last is %d, %v", h.Seq, err)
	}
	if _, err := x.Publish(within(t), f, last, []byte("x")); !errors.Is(err, exchange.ErrFull) {
		t.Errorf("publish: %v", err)
	}
	d.free.Store(1 << 30)
	told.mustSay(t, "takes more again")
	publish(t, x, f, last, "room")
}

// A real disk of a few megabytes fills to the last byte under a host that was
// not told to look. Nothing acknowledged is lost, the host notices that it
// can't write, and works again by itself once there is room.
func TestARealDiskFillsUp_F07_P8_P13(t *testing.T) {
	dir := sharedtest.SmallDisk(t, "size=16m")
	photographs := filepath.Join(dir, "photographs")
	if err := os.WriteFile(photographs, make([]byte, 8<<20), 0o600); err != nil {
		t.Fatal(err)
	}
	var told notes
	unseen := func(string) (uint64, error) { return 1 << 40, nil } // the last page may just be used up
	h := openHost(t, exchange.HostOptions{Dir: filepath.Join(dir, "exchange"), FreeSpace: unseen, LookEvery: 20 * time.Millisecond, Warn: told.warn})
	k := newKey(t)
	admit(t, h, k)
	o := to(h, k)
	o.Timeout = time.Second
	x := dial(t, o)
	f := feedOf(t, k, 1)
	var last uint64
	sent := 0
	for ; ; sent++ {
		seq, err := x.Publish(within(t), f, last, make([]byte, 64<<10))
		if err != nil {
			if !errors.Is(err, exchange.ErrUnknown) && !errors.Is(err, exchange.ErrFull) && !errors.Is(err, exchange.ErrOffline) {
				t.Fatalf("on the full disk: %v", err)
			}
			break
		}
		last = seq
	}
	if sent < 20 {
		t.Fatalf("only %d messages fitted", sent)
	}
	told.mustSay(t, "anew")
	if err := os.Remove(photographs); err != nil {
		t.Fatal(err)
	}
	w := &writer{x: x, feed: f, at: last}
	eventually(t, "the exchange takes more", func() bool {
		m, ok, err := x.Last(within(t), f)
		if err != nil || !ok {
			return false
		}
		if m.Seq < last {
			t.Fatalf("the feed ends at %d, acknowledged was %d", m.Seq, last)
		}
		seq, err := x.Publish(within(t), f, m.Seq, []byte("room again"))
		w.at = seq
		return err == nil
	})
	if h.Full() != nil {
		t.Errorf("still full: %v", h.Full())
	}
	r := follow(t, x, exchange.Cursor{})
	r.wait(t, sent+1)
	if got := r.messages(); string(got[len(got)-1].Payload) != "room again" {
		t.Errorf("the last of %d is %d bytes", len(got), len(got[len(got)-1].Payload))
	}
}

// Nothing stays open after all is closed.
func TestClosingLeavesNoFilesOpen(t *testing.T) {
	open := func() int {
		all, err := os.ReadDir("/proc/self/fd")
		if errors.Is(err, os.ErrNotExist) {
			sharedtest.Skip(t, "this system does not list a process's open files")
		}
		if err != nil {
			t.Fatal(err)
		}
		return len(all)
	}
	life := func(i int) {
		h, k, x := oneBench(t, exchange.HostOptions{})
		r := follow(t, x, exchange.Cursor{})
		fill(t, x, feedOf(t, k, byte(i)), "word", 3)
		r.wait(t, 3)
		r.stop()
		<-r.end
		x.Close()
		closeHost(t, h)
	}
	life(0) // what is opened once
	before := open()
	for i := range 5 {
		life(i)
	}
	eventually(t, fmt.Sprintf("open files go back to %d", before), func() bool { return open() <= before })
}
