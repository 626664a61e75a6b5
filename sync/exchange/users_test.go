package exchange_test

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/sync/exchange"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

func TestTwoBenchesMeet_P4(t *testing.T) {
	t.Parallel()
	h := openHost(t, exchange.HostOptions{})
	a, b := newKey(t), newKey(t)
	admit(t, h, a, b)
	near := dial(t, exchange.DialOptions{Host: h, Key: a, Tag: shop}) // in the process
	far := dial(t, to(h, b))
	if near.Epoch() != far.Epoch() {
		t.Errorf("epochs %s and %s", near.Epoch(), far.Epoch())
	}
	fill(t, near, feedOf(t, a, 1), "near", 3)
	fill(t, far, feedOf(t, b, 1), "far", 3)
	fill(t, far, feedOf(t, a, 2), "carried", 3) // a bench carries what others wrote
	want := "near 0,near 1,near 2,far 0,far 1,far 2,carried 0,carried 1,carried 2"
	for _, x := range []*exchange.Exchange{near, far} {
		r := follow(t, x, exchange.Cursor{})
		r.wait(t, 9)
		if got := strings.Join(r.payloads(), ","); got != want {
			t.Errorf("read %s, want %s", got, want)
		}
	}
	feeds, err := near.Feeds(within(t))
	if err != nil {
		t.Fatal(err)
	}
	for f, seq := range map[events.FeedID]uint64{feedOf(t, a, 1): 3, feedOf(t, b, 1): 6, feedOf(t, a, 2): 9} {
		if feeds[f] != seq {
			t.Errorf("feed %s ends at %d, want %d", f.Short(), feeds[f], seq)
		}
	}
	if s := near.State(within(t)); !s.Connected || s.Messages != 9 || s.LastSeq != 9 || s.Bytes == 0 || s.Problem != nil || len(s.Warnings) > 0 {
		t.Errorf("state: %+v", s)
	}
}

// A bench that comes while others are let in or retired is neither told that it was
// retired nor cut off.
func TestABenchThatStaysIsLetInWhileOthersChange(t *testing.T) {
	t.Parallel()
	h, stays := openHost(t, exchange.HostOptions{}), newKey(t)
	admit(t, h, stays)
	over, changed := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(changed)
		for {
			select {
			case <-over:
				return
			default:
				if err := h.SetUsers(shop, ids(t, stays, newKey(t)), nil); err != nil {
					t.Error(err)
				}
				time.Sleep(10 * time.Millisecond)
			}
		}
	}()
	for range 150 {
		x, err := exchange.Dial(within(t), to(h, stays))
		if err != nil {
			t.Errorf("turned away: %v", err)
			break
		}
		x.Close()
	}
	close(over)
	<-changed
}

func TestAWrongPinIsRefused(t *testing.T) {
	t.Parallel()
	h, k, _ := oneBench(t, exchange.HostOptions{})
	o := to(h, k)
	o.Pins = []exchange.Pin{{1}}
	if _, err := exchange.Dial(within(t), o); !errors.Is(err, exchange.ErrWrongPin) || !strings.Contains(err.Error(), h.Pin().String()) {
		t.Errorf("another pin: %v", err)
	}
	o.Pins = nil
	if _, err := exchange.Dial(within(t), o); !errors.Is(err, exchange.ErrNoPin) {
		t.Errorf("no pin: %v", err)
	}
	o.Pins = []exchange.Pin{{1}, h.Pin()}
	dial(t, o)
}

func TestAnUnlistedKeyIsRefused(t *testing.T) {
	t.Parallel()
	h, _, _ := oneBench(t, exchange.HostOptions{})
	for name, o := range map[string]exchange.DialOptions{
		"over the network": to(h, newKey(t)),
		"in the process":   {Host: h, Key: newKey(t), Tag: shop},
	} {
		if _, err := exchange.Dial(within(t), o); !errors.Is(err, exchange.ErrNotAdmitted) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := exchange.Dial(within(t), exchange.DialOptions{Host: h, Tag: shop}); err == nil {
		t.Error("no key was let in")
	}
}

// A host without any shop must not be one that lets everybody in.
func TestAHostWithoutUsersLetsNobodyIn(t *testing.T) {
	t.Parallel()
	h := openHost(t, exchange.HostOptions{})
	c, err := nats.Connect("tls://"+h.Addr().String(), nats.Secure(&tls.Config{InsecureSkipVerify: true}))
	if !errors.Is(err, nats.ErrAuthorization) {
		c.Close()
		t.Errorf("got %v", err)
	}
}

// A retired bench is cut off while it is connected; the others notice nothing.
func TestARetiredBenchIsCutOffAtOnce_P12(t *testing.T) {
	t.Parallel()
	h := openHost(t, exchange.HostOptions{})
	a, b := newKey(t), newKey(t)
	admit(t, h, a, b)
	for name, o := range map[string]exchange.DialOptions{
		"over the network": to(h, b),
		"in the process":   {Host: h, Key: b, Tag: shop},
	} {
		t.Run(name, func(t *testing.T) {
			admit(t, h, a, b)
			cutOff(t, h, a, dial(t, to(h, a)), dial(t, o), feedOf(t, b, 1))
		})
	}
	if err := h.SetUsers(exchange.Tag{9}, ids(t, a), nil); err == nil || !strings.Contains(err.Error(), "twice") {
		t.Errorf("one key in two shops: %v", err)
	}
	admit(t, h, a, b)
	dial(t, to(h, b))
}

// cutOff retires whoever goes, while it follows.
func cutOff(t *testing.T, h *exchange.Host, stay events.BenchKey, stays, goes *exchange.Exchange, f events.FeedID) {
	r := follow(t, goes, exchange.Cursor{})
	m, _, err := stays.Last(within(t), f)
	if err != nil {
		t.Fatal(err)
	}
	last := publish(t, stays, f, m.Seq, "before")
	r.wait(t, 1)
	before := stays.Conn().Stats().Reconnects
	admit(t, h, stay)
	select {
	case err := <-r.end:
		if !errors.Is(err, exchange.ErrNotAdmitted) {
			t.Errorf("following ended with %v", err)
		}
	case <-time.After(20 * time.Second):
		t.Fatal("the retired bench still follows")
	}
	if _, err := goes.Publish(within(t), f, last, []byte("after")); !errors.Is(err, exchange.ErrNotAdmitted) {
		t.Errorf("publish: %v", err)
	}
	publish(t, stays, f, last, "after")
	if stays.Conn().Stats().Reconnects != before {
		t.Error("the other bench was cut too")
	}
}

// raw asks the server in its own words, as a bench that means ill would.
func raw(t testing.TB, x *exchange.Exchange, subject string, ask any) (answer struct {
	Error *jetstream.APIError `json:"error"`
}, err error) {
	t.Helper()
	var b []byte // of nothing asked: nothing
	if ask != nil {
		if b, err = json.Marshal(ask); err != nil {
			t.Fatal(err)
		}
	}
	ctx, cancel := context.WithTimeout(context.Background(), 300*time.Millisecond)
	defer cancel()
	m, err := x.Conn().RequestWithContext(ctx, subject, b)
	if err == nil {
		err = json.Unmarshal(m.Data, &answer)
	}
	return answer, err
}

func TestABenchCannotTakeHistoryAway_P8(t *testing.T) {
	t.Parallel()
	_, k, x := oneBench(t, exchange.HostOptions{})
	f := feedOf(t, k, 1)
	fill(t, x, f, "kept", 3)
	s := shop.Stream()
	loose := exchange.StreamConfig(shop, 1)
	loose.DenyDelete, loose.DenyPurge, loose.MaxMsgs = false, false, 1
	other := loose
	other.Name, other.Subjects = "OTHER", []string{"other"}
	for subject, ask := range map[string]any{
		"$JS.API.STREAM.DELETE." + s:     nil,
		"$JS.API.STREAM.PURGE." + s:      nil,
		"$JS.API.STREAM.MSG.DELETE." + s: map[string]any{"seq": 1},
		"$JS.API.STREAM.UPDATE." + s:     loose,
		"$JS.API.STREAM.CREATE.OTHER":    other,
		"$JS.API.STREAM.RESTORE.OTHER":   map[string]any{},
		"$JS.API.STREAM.SNAPSHOT." + s:   map[string]any{"deliver_subject": "x"},
		"$JS.API.ACCOUNT.PURGE.x":        nil,
		"$SYS.REQ.SERVER.PING":           nil,
	} {
		if a, err := raw(t, x, subject, ask); err == nil {
			t.Errorf("%s was answered: %+v", subject, a.Error)
		}
	}
	if err := x.Conn().Publish("anything.else", []byte("x")); err != nil {
		t.Fatal(err)
	}
	eventually(t, "the server refuses another subject", func() bool {
		p := x.State(within(t)).Problem
		return p != nil && strings.Contains(p.Error(), "anything.else")
	})
	if st := x.State(within(t)); st.Messages != 3 || len(st.Warnings) > 0 {
		t.Errorf("state: %+v", st)
	}
}

// A reader that has messages sent to a subject of the server's own interface
// would have the server itself ask for what a bench may not: to delete takes
// no more than an empty message.
func TestAReadersDeliveryIsNoWayAroundTheRights_P8(t *testing.T) {
	t.Parallel()
	_, k, x := oneBench(t, exchange.HostOptions{})
	fill(t, x, feedOf(t, k, 1), "kept", 3)
	for i, subject := range []string{
		"$JS.API.STREAM.DELETE." + shop.Stream(),
		"$JS.API.STREAM.PURGE." + shop.Stream(),
		shop.Feeds() + feedOf(t, k, 9).String(),
	} {
		deliverTo(t, x, fmt.Sprintf("r%d", i), subject)
	}
	time.Sleep(200 * time.Millisecond) // for what should not happen
	if st := x.State(within(t)); st.Messages != 3 || st.Problem != nil {
		t.Errorf("state: %+v", st)
	}
}

// deliverTo has the stream's messages sent, without their payload, to a
// subject, as far as the server does that.
func deliverTo(t testing.TB, x *exchange.Exchange, name, subject string) {
	t.Helper()
	_, err := raw(t, x, "$JS.API.CONSUMER.CREATE."+shop.Stream()+"."+name, map[string]any{
		"stream_name": shop.Stream(),
		"config": map[string]any{
			"name": name, "deliver_subject": subject, "ack_policy": "none", "deliver_policy": "all", "headers_only": true,
		},
	})
	if err != nil {
		t.Errorf("make a reader that delivers to %s: %v", subject, err)
	}
}

func TestTwoShopsOnOneExchangeDoNotMeet_F26(t *testing.T) {
	t.Parallel()
	h, a, x := oneBench(t, exchange.HostOptions{})
	other, b := exchange.Tag{7}, newKey(t)
	if err := h.SetUsers(other, ids(t, b), nil); err != nil {
		t.Fatal(err)
	}
	o := to(h, b)
	o.Tag = other
	y := dial(t, o)
	fill(t, x, feedOf(t, a, 1), "ours", 2)
	fill(t, y, feedOf(t, b, 1), "theirs", 1)
	if x.Epoch() == y.Epoch() {
		t.Error("two shops have one epoch")
	}
	// Each asks for the other's.
	for _, c := range []struct {
		x   *exchange.Exchange
		tag exchange.Tag
		f   events.FeedID
	}{{x, other, feedOf(t, b, 1)}, {y, shop, feedOf(t, a, 1)}} {
		for subject, ask := range map[string]any{
			"$JS.API.STREAM.INFO." + c.tag.Stream():    nil,
			"$JS.API.STREAM.MSG.GET." + c.tag.Stream(): map[string]any{"seq": 1},
			c.tag.Feeds() + c.f.String():               "forged",
		} {
			if a, err := raw(t, c.x, subject, ask); err == nil {
				t.Errorf("%s was answered: %+v", subject, a.Error)
			}
		}
	}
	// A key of one shop that claims to be of the other finds nothing.
	o = to(h, a)
	o.Tag, o.Timeout = other, 300*time.Millisecond
	if _, err := exchange.Dial(within(t), o); err == nil {
		t.Error("a bench of one shop was let into another")
	}
	if s := x.State(within(t)); s.Messages != 2 {
		t.Errorf("ours: %+v", s)
	}
	if s := y.State(within(t)); s.Messages != 1 {
		t.Errorf("theirs: %+v", s)
	}
	mine := follow(t, y, exchange.Cursor{})
	mine.wait(t, 1)
	if got := mine.payloads(); len(got) != 1 || got[0] != "theirs 0" {
		t.Errorf("read %q", got)
	}
}
