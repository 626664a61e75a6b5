package cluster_test

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/sync/exchange"

	"github.com/nats-io/nats.go"
)

// names of what a shop has, as package exchange documents them.
func streams(f *shop) []string {
	tag := f.tag.String()
	return []string{"OLDHAND-" + tag, "OLDHAND-KEYS-" + tag, "OLDHAND-PIECES-" + tag}
}

// intruder is a connection with a key of one shop that tries what it should not.
type intruder struct {
	conn *nats.Conn
	mu   sync.Mutex
	said []string // what the server refused
	came int      // messages that it was sent
}

func newIntruder(t testing.TB, s *site, k events.BenchKey) *intruder {
	t.Helper()
	i := &intruder{}
	i.conn = s.raw(t, k, nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) {
		i.mu.Lock()
		defer i.mu.Unlock()
		i.said = append(i.said, err.Error())
	}))
	return i
}

func (i *intruder) refused(subject string) bool {
	i.mu.Lock()
	defer i.mu.Unlock()
	for _, said := range i.said {
		if strings.Contains(strings.ToLower(said), "permissions violation") && strings.Contains(strings.ToLower(said), strings.ToLower(`"`+subject+`"`)) {
			return true
		}
	}
	return false
}

// listens tries to listen and says whether that was refused.
func (i *intruder) listens(t testing.TB, subject string) (refused bool) {
	t.Helper()
	_, err := i.conn.Subscribe(subject, func(*nats.Msg) {
		i.mu.Lock()
		defer i.mu.Unlock()
		i.came++
	})
	check(t, err)
	return i.settled(t, subject)
}

// says tries to publish, with its own inbox for an answer.
func (i *intruder) says(t testing.TB, subject string, data string) (refused bool) {
	t.Helper()
	check(t, i.conn.PublishRequest(subject, i.conn.NewInbox(), []byte(data)))
	return i.settled(t, subject)
}

// settled waits for a round trip to the server, which answers what it refuses
// before that, and until the client has told it.
func (i *intruder) settled(t testing.TB, subject string) bool {
	t.Helper()
	check(t, i.conn.FlushTimeout(20*time.Second))
	for range 50 {
		if i.refused(subject) {
			return true
		}
		time.Sleep(2 * time.Millisecond)
	}
	return false
}

// apiOf is all that could be asked about a shop's streams.
func apiOf(stream string) []string {
	var all []string
	for _, do := range []string{
		"STREAM.INFO.%s", "STREAM.CREATE.%s", "STREAM.UPDATE.%s", "STREAM.DELETE.%s", "STREAM.PURGE.%s", "STREAM.MSG.GET.%s",
		"STREAM.MSG.DELETE.%s", "STREAM.SNAPSHOT.%s", "STREAM.RESTORE.%s", "STREAM.PEER.REMOVE.%s", "STREAM.LEADER.STEPDOWN.%s",
		"DIRECT.GET.%s", "CONSUMER.CREATE.%s.thief", "CONSUMER.DURABLE.CREATE.%s.thief", "CONSUMER.LIST.%s", "CONSUMER.NAMES.%s",
		"CONSUMER.INFO.%s.thief", "CONSUMER.DELETE.%s.thief", "CONSUMER.MSG.NEXT.%s.thief",
	} {
		all = append(all, "$JS.API."+fmt.Sprintf(do, stream))
	}
	return all
}

// tries has a key of one shop try everything on another, and counts what was
// tried. Each must be refused, and nothing may come.
func tries(t testing.TB, s *site, from, on *shop) (count int) {
	t.Helper()
	i := newIntruder(t, s, from.keys[0])
	defer i.conn.Close()
	must := func(refused bool, what string) {
		t.Helper()
		count++
		if !refused {
			t.Errorf("shop %d may %s of shop %d", from.n, what, on.n)
		}
	}
	for _, stream := range streams(on) {
		for _, subject := range apiOf(stream) {
			must(i.says(t, subject, "{}"), "ask "+subject)
		}
	}
	for _, subject := range []string{"$JS.API.STREAM.LIST", "$JS.API.STREAM.NAMES", "$JS.API.INFO", "$JS.API.ACCOUNT.PURGE.X", "$JS.API.META.LEADER.STEPDOWN", "$SYS.REQ.SERVER.PING", "$SYS.REQ.ACCOUNT.PING"} {
		must(i.says(t, subject, "{}"), "ask "+subject)
	}
	tag, other := on.tag.String(), on.ids[0].String()
	for _, subject := range []string{"oldhand." + tag + ".feed." + other + "-1", "oldhand." + tag + ".probe", "oldhand." + tag + ".person.x", "_IN." + other + ".x", "oldhand.join." + other} {
		must(i.says(t, subject, "forged"), "say "+subject)
	}
	for _, subject := range []string{">", "oldhand.>", "oldhand." + tag + ".>", "$JS.>", "$SYS.>", "_IN.>", "_IN." + other + ".>"} {
		must(i.listens(t, subject), "listen to "+subject)
	}
	i.mu.Lock()
	defer i.mu.Unlock()
	if i.came > 0 {
		t.Errorf("shop %d was sent %d messages of shop %d", from.n, i.came, on.n)
	}
	return count
}

// oversteps has a bench try in its own shop what takes history away or more than
// the shop's three streams.
func oversteps(t testing.TB, s *site, f *shop) (count int) {
	t.Helper()
	i := newIntruder(t, s, f.keys[0])
	defer i.conn.Close()
	id := f.ids[0].String()
	var asked []string
	for _, stream := range streams(f) {
		for _, do := range []string{"DELETE", "PURGE", "UPDATE", "MSG.DELETE", "SNAPSHOT", "RESTORE", "PEER.REMOVE", "LEADER.STEPDOWN"} {
			asked = append(asked, "$JS.API.STREAM."+do+"."+stream)
		}
	}
	asked = append(asked, "$JS.API.STREAM.CREATE.OTHER", "$JS.API.STREAM.LIST", "$JS.API.STREAM.NAMES", "$JS.API.CONSUMER.DURABLE.CREATE."+streams(f)[0]+".x",
		"oldhand."+f.tag.String()+".probe", "_IN."+f.ids[1].String()+".x")
	for _, subject := range asked {
		count++
		if !i.says(t, subject, "{}") {
			t.Errorf("a bench of shop %d may %s", f.n, subject)
		}
	}
	for _, subject := range []string{">", "_IN." + f.ids[1].String() + ".>", "oldhand.>"} {
		count++
		if !i.listens(t, subject) {
			t.Errorf("a bench of shop %d may listen to %s", f.n, subject)
		}
	}
	if i.listens(t, "_IN."+id+".>") {
		t.Error("a bench may not listen to its own inbox: what is refused here shows nothing")
	}
	return count
}

// outsider is an account beside the shops' whose user may do anything in it: what
// keeps it out of the others' is that it is another account, and no permission.
func outsider(t testing.TB) (key events.BenchKey, account string) {
	t.Helper()
	key, err := events.BenchKeyOf([32]byte{66})
	check(t, err)
	id, err := key.Public()
	check(t, err)
	return key, fmt.Sprintf("OUTSIDER { jetstream: enabled, users: [ { nkey: %s } ] }\n", id.LoginName())
}

// overhears has the outsider ask for a shop's streams by their names, list all
// that there are, and listen to everything while the shop is at work.
func overhears(t testing.TB, s *site, key events.BenchKey, on *shop, atWork func()) (count int) {
	t.Helper()
	conn := s.raw(t, key)
	defer conn.Close()
	var mu sync.Mutex
	var heard []string
	_, err := conn.Subscribe(">", func(m *nats.Msg) {
		mu.Lock()
		defer mu.Unlock()
		if !strings.HasPrefix(m.Subject, "_IN.") && !strings.HasPrefix(m.Subject, "$JS.") { // its own questions and answers
			heard = append(heard, m.Subject)
		}
	})
	check(t, err)
	check(t, conn.Flush())
	js, err := conn.JetStream(nats.MaxWait(20 * time.Second))
	check(t, err)
	for _, stream := range streams(on) {
		count += 2
		if _, err := js.StreamInfo(stream); err == nil {
			t.Errorf("an outsider reads about stream %s", stream)
		}
		if err := js.DeleteStream(stream); err == nil {
			t.Errorf("an outsider deletes stream %s", stream)
		}
	}
	answer, err := conn.Request("$JS.API.STREAM.NAMES", []byte("{}"), 20*time.Second)
	check(t, err)
	var names struct {
		Streams []string `json:"streams"`
	}
	check(t, json.Unmarshal(answer.Data, &names))
	if count++; len(names.Streams) > 0 {
		t.Errorf("an outsider is told of %q", names.Streams)
	}
	check(t, conn.Publish("oldhand."+on.tag.String()+".feed.x", []byte("forged")))
	check(t, conn.Flush())
	atWork()
	count++
	mu.Lock()
	defer mu.Unlock()
	for _, subject := range heard {
		if subject != "oldhand."+on.tag.String()+".feed.x" {
			t.Errorf("an outsider heard %s", subject)
		}
	}
	return count
}

// One shop's keys open nothing of another's, and its own no wider than a bench
// needs; a shop's list that changes lets in and shuts out at once.
func TestAShopSeesItsOwnOnly_F26(t *testing.T) {
	a, b := newShop(t, 1, 2), newShop(t, 2, 2)
	key, account := outsider(t)
	s := newSite(t, []*shop{a, b}, 64<<20, account)
	s.awaitReady(t)
	for _, f := range []*shop{a, b} {
		f.open(t)
		for i := range f.benches {
			f.dial(t, s, i)
		}
		f.live(t)
	}
	defer a.stop()
	defer b.stop()
	count := tries(t, s, a, b) + tries(t, s, b, a) + oversteps(t, s, a)
	count += overhears(t, s, key, a, func() {
		check(t, a.benches[0].note(40, 4))
		check(t, a.benches[1].note(40, 4))
		eventually(t, "the shop is equal", func() bool { return a.equal() && a.events() > 80 })
	})
	t.Logf("%d tries", count)
	for _, f := range []*shop{a, b} {
		st := f.benches[0].x.State(t.Context())
		if st.Replicas != 3 || len(st.Warnings) > 0 || !st.Answers {
			t.Errorf("shop %d: %+v", f.n, st)
		}
		if f.met().Aside > 0 {
			t.Errorf("shop %d kept %d segments aside", f.n, f.met().Aside)
		}
	}
}

// Who dials with the right key and another shop's tag is told no.
func TestAnotherShopsTagIsNoWayIn_F26(t *testing.T) {
	a, b := newShop(t, 1, 1), newShop(t, 2, 1)
	s := newSite(t, []*shop{a, b}, 64<<20, "")
	s.awaitReady(t)
	b.open(t)
	b.dial(t, s, 0)
	defer b.stop()
	o := s.to(a.keys[0], b.tag)
	o.Timeout = time.Second
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
	defer cancel()
	if x, err := exchange.Dial(ctx, o); err == nil {
		x.Close()
		t.Error("a key of one shop was let into another")
	}
}
