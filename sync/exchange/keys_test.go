package exchange_test

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/sync/exchange"

	"github.com/nats-io/nats.go/jetstream"
)

var customer = events.PersonID{1, 15: 1}

func putKey(t testing.TB, x *exchange.Exchange, p events.PersonID, expect uint64, text string) uint64 {
	t.Helper()
	seq, err := x.PutKey(within(t), p, expect, []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return seq
}

// keysSince lists keys as person's first byte and text.
func keysSince(t testing.TB, x *exchange.Exchange, since uint64) string {
	t.Helper()
	var all []string
	err := x.Keys(within(t), since, func(m exchange.KeyMessage) error {
		all = append(all, fmt.Sprintf("%d:%d %s", m.Seq, m.Person[0], m.Payload))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return strings.Join(all, ", ")
}

func TestKeysAreReadFromWhereReadingStopped(t *testing.T) {
	t.Parallel()
	h := openHost(t, exchange.HostOptions{})
	a, b := newKey(t), newKey(t)
	admit(t, h, a, b)
	near, far := dial(t, exchange.DialOptions{Host: h, Key: a, Tag: shop}), dial(t, to(h, b))
	for i := range byte(3) {
		putKey(t, near, events.PersonID{i + 1}, 0, fmt.Sprint("k", i+1))
	}
	if got := keysSince(t, far, 0); got != "1:1 k1, 2:2 k2, 3:3 k3" {
		t.Errorf("all: %s", got)
	}
	if got := keysSince(t, far, 2); got != "3:3 k3" {
		t.Errorf("since 2: %s", got)
	}
	if got := keysSince(t, far, 3); got != "" {
		t.Errorf("since the last: %s", got)
	}
	s, err := far.KeyState(within(t))
	if err != nil || s.LastSeq != 3 || s.Persons != 3 || s.Epoch == "" || s.Epoch == far.Epoch() {
		t.Errorf("%+v, %v", s, err)
	}
	if st := far.State(within(t)); st.Messages != 0 || len(st.Warnings) > 0 {
		t.Errorf("the events' stream: %+v", st)
	}
}

// Of each person the exchange has one message: the one before is gone from the
// stream, for everybody.
func TestALaterKeyTakesTheFormerOut_P15(t *testing.T) {
	t.Parallel()
	_, _, x := oneBench(t, exchange.HostOptions{})
	first := putKey(t, x, customer, 0, "key")
	other := putKey(t, x, events.PersonID{2}, 0, "other")
	for _, expect := range []uint64{0, other, other + 9} {
		if _, err := x.PutKey(within(t), customer, expect, []byte("x")); !errors.Is(err, exchange.ErrBehind) {
			t.Errorf("in place of %d: %v", expect, err)
		}
	}
	last := putKey(t, x, customer, first, "forgotten")
	if _, ok, err := x.KeyAt(within(t), first); ok || err != nil {
		t.Errorf("the former is still there (%v)", err)
	}
	m, ok, err := x.Key(within(t), customer)
	if err != nil || !ok || m.Seq != last || string(m.Payload) != "forgotten" || m.Person != customer {
		t.Errorf("%+v, %v, %v", m, ok, err)
	}
	if got := keysSince(t, x, 0); got != "2:2 other, 3:1 forgotten" {
		t.Errorf("read %s", got)
	}
	if s, err := x.KeyState(within(t)); err != nil || s.Persons != 2 {
		t.Errorf("%+v, %v", s, err)
	}
}

func TestAKeysSizeIsLimited_F24(t *testing.T) {
	t.Parallel()
	_, _, x := oneBench(t, exchange.HostOptions{})
	largest := bytes.Repeat([]byte{7}, exchange.MaxKey)
	if _, err := x.PutKey(within(t), customer, 0, largest); err != nil {
		t.Error(err)
	}
	for _, bad := range [][]byte{nil, append(largest, 7)} {
		if _, err := x.PutKey(within(t), events.PersonID{2}, 0, bad); !errors.Is(err, exchange.ErrTooLarge) {
			t.Errorf("%d bytes: %v", len(bad), err)
		}
	}
}

// What is no person's, or too large, comes without person and payload, so that
// it is known how far was read.
func TestWhatIsNoKeyIsPassedOver(t *testing.T) {
	t.Parallel()
	var said notes
	h := openHost(t, exchange.HostOptions{})
	k := newKey(t)
	admit(t, h, k)
	o := to(h, k)
	o.Warn = said.warn
	x := dial(t, o)
	for subject, n := range map[string]int{"nobody": 3, strings.ToUpper(customer.String()): 3, events.PersonID{9}.String(): exchange.MaxKey + 1} {
		if _, err := x.Conn().Request(shop.Persons()+subject, make([]byte, n), 5*time.Second); err != nil {
			t.Fatal(err)
		}
	}
	n := 0
	err := x.Keys(within(t), 0, func(m exchange.KeyMessage) error {
		if n++; m.Payload != nil || !m.Person.IsZero() || m.Seq != uint64(n) {
			t.Errorf("%+v", m)
		}
		return nil
	})
	if err != nil || n != 3 {
		t.Errorf("%d, %v", n, err)
	}
	said.mu.Lock()
	defer said.mu.Unlock()
	if len(said.all) != 3 {
		t.Errorf("said %q", said.all)
	}
}

// The rights over keys: a bench may put and read them and take none away but by
// a later one; a guest may neither put nor read.
func TestRightsOverKeys_P15(t *testing.T) {
	t.Parallel()
	h := openHost(t, exchange.HostOptions{})
	k, g := newKey(t), newKey(t)
	if err := h.SetUsers(shop, ids(t, k), []exchange.Guest{exchange.Guest(public(t, g))}); err != nil {
		t.Fatal(err)
	}
	x := dial(t, to(h, k))
	putKey(t, x, customer, 0, "key")
	s := shop.KeyStream()
	for subject, ask := range map[string]any{
		"$JS.API.STREAM.DELETE." + s:     nil,
		"$JS.API.STREAM.PURGE." + s:      nil,
		"$JS.API.STREAM.MSG.DELETE." + s: map[string]any{"seq": 1},
		"$JS.API.STREAM.UPDATE." + s:     exchange.KeyConfig(shop, 1),
	} {
		if a, err := raw(t, x, subject, ask); err == nil {
			t.Errorf("a bench: %s was answered: %+v", subject, a.Error)
		}
	}
	if got := keysSince(t, x, 0); got != "1:1 key" {
		t.Errorf("left is %s", got)
	}
	guest, _ := guestConn(t, h, g)
	for subject, ask := range map[string]any{
		"$JS.API.STREAM.INFO." + s:                   nil,
		"$JS.API.STREAM.MSG.GET." + s:                map[string]any{"seq": 1},
		"$JS.API.CONSUMER.CREATE." + s + ".x":        map[string]any{},
		shop.Persons() + customer.String():           "a guest's",
		shop.Persons() + events.PersonID{3}.String(): "a guest's",
	} {
		if m, err := guest.Request(subject, []byte(fmt.Sprint(ask)), 300*time.Millisecond); err == nil {
			t.Errorf("a guest: %s was answered: %s", subject, m.Data)
		}
	}
	if got := keysSince(t, x, 0); got != "1:1 key" {
		t.Errorf("after a guest: %s", got)
	}
}

func TestARetiredBenchGetsNoKeys_P12_P15(t *testing.T) {
	t.Parallel()
	h := openHost(t, exchange.HostOptions{})
	a, b := newKey(t), newKey(t)
	admit(t, h, a, b)
	stays, goes := dial(t, to(h, a)), dial(t, to(h, b))
	putKey(t, stays, customer, 0, "key")
	if got := keysSince(t, goes, 0); got != "1:1 key" {
		t.Errorf("before: %s", got)
	}
	admit(t, h, a)
	eventually(t, "the retired bench is cut off", func() bool {
		return goes.Keys(within(t), 0, func(exchange.KeyMessage) error { return nil }) != nil
	})
	if _, err := goes.PutKey(within(t), events.PersonID{2}, 0, []byte("x")); err == nil {
		t.Error("a retired bench put a key")
	}
	if got := keysSince(t, stays, 0); got != "1:1 key" {
		t.Errorf("after: %s", got)
	}
}

func TestKeysOutliveTheServerAndNotTheirStream_F19(t *testing.T) {
	t.Parallel()
	h, k, x := oneBench(t, exchange.HostOptions{})
	putKey(t, x, customer, 0, "key")
	before, err := x.KeyState(within(t))
	if err != nil {
		t.Fatal(err)
	}
	if err := h.Restart(); err != nil {
		t.Fatal(err)
	}
	x = dial(t, to(h, k))
	if s, err := x.KeyState(within(t)); err != nil || s != before {
		t.Errorf("after a restart %+v (%v), before %+v", s, err, before)
	}
	if err := h.RemakeKeys(within(t), shop); err != nil {
		t.Fatal(err)
	}
	if s, err := x.KeyState(within(t)); err != nil || s.Epoch == before.Epoch || s.Persons != 0 {
		t.Errorf("made anew %+v (%v), before %+v", s, err, before)
	}
}

// A message that is said to be on its way and was taken out meanwhile is not
// waited for, for ever.
func TestReadingKeysEndsWithoutAnAnswer_F15(t *testing.T) {
	t.Parallel()
	h := openHost(t, exchange.HostOptions{})
	k := newKey(t)
	admit(t, h, k)
	o := to(h, k)
	o.Timeout = time.Second
	x := dial(t, o)
	const all, asked = 300, 256 // the reader asks for so many at once
	for i := range all {
		putKey(t, x, events.PersonID{byte(i), byte(i >> 8), 1}, 0, "key")
	}
	ended := make(chan error, 1)
	go func() {
		ended <- x.Keys(within(t), 0, func(m exchange.KeyMessage) (err error) {
			for seq := uint64(asked + 1); m.Seq == 1 && seq <= all && err == nil; seq++ {
				err = h.LoseKey(within(t), shop, seq)
			}
			return err
		})
	}()
	select {
	case err := <-ended:
		if !errors.Is(err, exchange.ErrOffline) {
			t.Errorf("ended with %v", err)
		}
	case <-time.After(20 * time.Second):
		t.Fatal("still waits")
	}
}

func TestTheKeysStreamIsAsItShouldBe(t *testing.T) {
	good := exchange.KeyConfig(shop, 1)
	if odd := exchange.KeysLoosened(good, shop, 1); len(odd) > 0 {
		t.Errorf("as it is made: %q", odd)
	}
	if good.DenyPurge || good.DenyDelete || good.MaxMsgsPerSubject != 1 || good.Discard != jetstream.DiscardOld || good.Storage != jetstream.FileStorage {
		t.Errorf("%+v", good)
	}
	for want, change := range map[string]func(*jetstream.StreamConfig){
		"stays in it":    func(c *jetstream.StreamConfig) { c.MaxMsgsPerSubject = 2 },
		"drops keys":     func(c *jetstream.StreamConfig) { c.MaxMsgs = 5 },
		"keys need":      func(c *jetstream.StreamConfig) { c.MaxMsgSize = 10 },
		"does not keep":  func(c *jetstream.StreamConfig) { c.Subjects = []string{"x"} },
		"in memory":      func(c *jetstream.StreamConfig) { c.Storage = jetstream.MemoryStorage },
		"older than":     func(c *jetstream.StreamConfig) { c.MaxAge = time.Hour },
		"marked as of":   func(c *jetstream.StreamConfig) { c.Metadata = map[string]string{} },
		"another stream": func(c *jetstream.StreamConfig) { c.Mirror = &jetstream.StreamSource{Name: "x"} },
	} {
		c := exchange.KeyConfig(shop, 1)
		change(&c)
		if odd := strings.Join(exchange.KeysLoosened(c, shop, 1), "; "); !strings.Contains(odd, want) {
			t.Errorf("%s: said %q", want, odd)
		}
	}
}

// A full exchange takes no key and keeps those it has (F7).
func TestAFullExchangeTakesNoKey_F7(t *testing.T) {
	t.Parallel()
	var d disk
	var told notes
	o := exchange.HostOptions{Dir: t.TempDir()}
	d.under(&o, &told)
	d.free.Store(1 << 40)
	h, _, x := oneBench(t, o)
	putKey(t, x, customer, 0, "key")
	d.free.Store(1)
	eventually(t, "the host is full", func() bool { return h.Full() != nil })
	eventually(t, "a key is refused", func() bool {
		_, err := x.PutKey(within(t), events.PersonID{2}, 0, []byte("x"))
		return errors.Is(err, exchange.ErrFull)
	})
	if got := keysSince(t, x, 0); got != "1:1 key" {
		t.Errorf("kept is %s", got)
	}
	d.free.Store(1 << 40)
	eventually(t, "a key is taken again", func() bool {
		_, err := x.PutKey(within(t), events.PersonID{2}, 0, []byte("x"))
		return err == nil || errors.Is(err, exchange.ErrBehind)
	})
}
