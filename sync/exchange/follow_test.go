package exchange_test

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/sync/exchange"
)

// lives is a host that is opened and closed, with one bench.
type lives struct {
	t    *testing.T
	dir  string
	key  events.BenchKey
	feed events.FeedID
	host *exchange.Host
	x    *exchange.Exchange
	told notes
}

func newLives(t *testing.T) *lives {
	l := &lives{t: t, dir: t.TempDir(), key: newKey(t)}
	l.feed = feedOf(t, l.key, 1)
	l.open()
	return l
}

func (l *lives) open() {
	l.t.Helper()
	l.host = openHost(l.t, exchange.HostOptions{Dir: l.dir})
	admit(l.t, l.host, l.key)
	o := to(l.host, l.key)
	o.Warn = l.told.warn
	l.x = dial(l.t, o)
}

func (l *lives) close() {
	l.t.Helper()
	l.x.Close()
	closeHost(l.t, l.host)
}

// publish adds n payloads to the feed.
func (l *lives) publish(word string, n int) (all []string) {
	l.t.Helper()
	m, _, err := l.x.Last(within(l.t), l.feed)
	if err != nil {
		l.t.Fatal(err)
	}
	for i := range n {
		all = append(all, fmt.Sprintf("%s %d", word, i))
		m.Seq = publish(l.t, l.x, l.feed, m.Seq, all[i])
	}
	return all
}

// read follows from a cursor until what is wanted was read, and gives the
// cursor behind it.
func (l *lives) read(from exchange.Cursor, want []string) exchange.Cursor {
	l.t.Helper()
	r := follow(l.t, l.x, from)
	defer r.stop()
	got := r.wait(l.t, len(want))
	if !slices.Equal(r.payloads(), want) {
		l.t.Errorf("read %q, want %q", r.payloads(), want)
	}
	return got[len(got)-1].Cursor()
}

func TestFollowingGoesOnBehindItsCursor(t *testing.T) {
	t.Parallel()
	l := newLives(t)
	first := l.publish("first", 5)
	at := l.read(exchange.Cursor{}, first)
	l.close()
	l.open()
	at = l.read(at, l.publish("second", 3))
	r := follow(t, l.x, at)
	third := l.publish("third", 2)
	r.wait(t, 2)
	if !slices.Equal(r.payloads(), third) {
		t.Errorf("read %q, want %q", r.payloads(), third)
	}
	if s := l.x.State(within(t)); s.Restarts != 0 {
		t.Errorf("it began again %d times", s.Restarts)
	}
}

// The exchange was lost and re-created empty, then written to again; a reader
// that goes on behind the number it has would wait there for ever.
func TestARecreatedExchangeIsReadFromItsFirstMessage_F19_P8(t *testing.T) {
	t.Parallel()
	l := newLives(t)
	at := l.read(exchange.Cursor{}, l.publish("lost", 8))
	l.close()
	if err := os.RemoveAll(l.dir); err != nil {
		t.Fatal(err)
	}
	l.open()
	if l.x.Epoch() == at.Epoch {
		t.Error("the re-created stream has the old epoch")
	}
	again := l.publish("again", 5)
	if next := l.read(at, again); next.Epoch != l.x.Epoch() {
		t.Errorf("cursor of epoch %s, the exchange's is %s", next.Epoch, l.x.Epoch())
	}
	l.told.mustSay(t, "another exchange")
	if s := l.x.State(within(t)); s.Restarts != 1 {
		t.Errorf("it began again %d times", s.Restarts)
	}
}

// The same while the reader is connected.
func TestAnExchangeRecreatedUnderAReaderIsReadAnew_F19_P8(t *testing.T) {
	t.Parallel()
	l := newLives(t)
	r := follow(t, l.x, exchange.Cursor{})
	before := l.publish("lost", 8)
	r.wait(t, len(before))
	if err := l.host.Remake(within(t), shop); err != nil {
		t.Fatal(err)
	}
	again := l.publish("again", 12)
	r.wait(t, len(before)+len(again))
	if got := r.payloads(); !slices.Equal(got, append(before, again...)) {
		t.Errorf("read %q", got)
	}
	l.told.mustSay(t, "another exchange")
}

// Monday's copy is put back, and other messages are written until the old
// cursor's number is passed.
func TestARolledBackExchangeIsFoundByTheHash_F20_P8_P9(t *testing.T) {
	t.Parallel()
	l := newLives(t)
	monday := l.publish("monday", 3)
	l.close()
	kept := t.TempDir()
	if err := os.CopyFS(kept, os.DirFS(l.dir)); err != nil {
		t.Fatal(err)
	}
	l.open()
	tuesday := l.publish("tuesday", 4)
	at := l.read(exchange.Cursor{}, append(slices.Clone(monday), tuesday...))
	l.close()

	if err := os.RemoveAll(l.dir); err != nil {
		t.Fatal(err)
	}
	if err := os.CopyFS(l.dir, os.DirFS(kept)); err != nil {
		t.Fatal(err)
	}
	l.open()
	if l.x.Epoch() != at.Epoch {
		t.Fatal("the copy has another epoch, so this tries nothing")
	}
	l.read(at, monday) // behind the cursor's number there is nothing yet
	l.told.mustSay(t, "has no message 7 any more")
	other := l.publish("other", 6)
	l.read(at, append(slices.Clone(monday), other...))
	l.told.mustSay(t, "message 7 is another one")
}

// What the caller's function says ends the following, and its cursor is of the
// last message that was taken.
func TestTheCallersErrorEndsFollowing(t *testing.T) {
	t.Parallel()
	l := newLives(t)
	l.publish("word", 4)
	enough := errors.New("enough")
	var at exchange.Cursor
	n := 0
	err := l.x.Follow(within(t), exchange.Cursor{}, func(m exchange.Message) error {
		if n++; n == 3 {
			return enough
		}
		at = m.Cursor()
		return nil
	})
	if err != enough || n != 3 {
		t.Errorf("ended with %v after %d", err, n)
	}
	l.read(at, []string{"word 2", "word 3"})
}

func TestClosingEndsFollowing(t *testing.T) {
	t.Parallel()
	l := newLives(t)
	r := follow(t, l.x, exchange.Cursor{})
	l.publish("word", 1)
	r.wait(t, 1)
	l.x.Close()
	if err := <-r.end; !errors.Is(err, exchange.ErrClosed) {
		t.Errorf("ended with %v", err)
	}
}

// A host that stops and starts under a reader, in the process and outside.
func TestFollowersOutliveAHostThatIsStartedAnew_F15(t *testing.T) {
	t.Parallel()
	h, k, far := oneBench(t, exchange.HostOptions{})
	near := dial(t, exchange.DialOptions{Host: h, Key: k, Tag: shop})
	f := feedOf(t, k, 1)
	readers := []*reading{follow(t, far, exchange.Cursor{}), follow(t, near, exchange.Cursor{})}
	w := &writer{x: near, feed: f}
	for life := range 3 {
		for i := range 5 {
			if err := w.write(within(t), fmt.Sprintf("life %d message %d", life, i)); err != nil {
				t.Fatal(err)
			}
		}
		if err := h.Restart(); err != nil {
			t.Fatal(err)
		}
	}
	for _, r := range readers {
		r.wait(t, len(w.sent))
		if !slices.Equal(r.payloads(), w.sent) {
			t.Errorf("read %q, want %q", r.payloads(), w.sent)
		}
	}
}

// A caller that takes longer over a message than the server waits for a sign
// of life gets every message once all the same, and no more ahead than a few.
func TestASlowCallerGetsEverythingOnce_F23_P14(t *testing.T) {
	t.Parallel()
	l := newLives(t)
	want := l.publish("word", 40)
	var got []string
	enough := errors.New("enough")
	err := l.x.Follow(within(t), exchange.Cursor{}, func(m exchange.Message) error {
		if got = append(got, string(m.Payload)); len(got) == 2 {
			time.Sleep(5 * time.Second)
		}
		if len(got) == len(want) {
			return enough
		}
		return nil
	})
	if err != enough || !slices.Equal(got, want) {
		t.Errorf("ended with %v, read %q", err, got)
	}
}
