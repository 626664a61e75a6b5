package meet_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"flag"
	"fmt"
	"strconv"
	"strings"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/sync/benchtest"
	"oldhand/sync/exchange"
	"oldhand/sync/replicate"
	"oldhand/sync/segment"

	"pgregory.net/rapid"
)

var scripts = flag.Int("model.scripts", 30, "how many scripts are run on the model of an exchange and on a host")

// The simulator's exchange is a model. Here is why it may be believed: one script
// of operations is run on it and on a host in this process, and every reply of
// the one must be the other's.
func TestTheModelAnswersAsAHostDoes_F16_F19_F20_F21(t *testing.T) {
	if err := flag.Set("rapid.checks", strconv.Itoa(*scripts)); err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		p := newPair(t)
		defer p.host.stop()
		t.Repeat(map[string]func(*rapid.T){
			"publish":      p.publish,
			"publish more": p.publishSome,
			"race":         p.race,
			"last":         p.last,
			"read":         p.read,
			"survey":       p.survey,
			"fail":         p.fail,
			"":             func(t *rapid.T) { p.sameState(t) },
		})
	})
}

const (
	benches = 3
	feeds   = 3 // and one for marks
)

// pair is a model and a host that were told the same.
type pair struct {
	model  *benchtest.Model
	host   *hosted
	feeds  []events.FeedID
	at     [benches]replicate.Cursor // how far each bench read, by the host's epochs
	copies []aside
	epochs map[string]string // the host's by the model's
	said   int               // payloads made, so that no two are the same
}

// aside is both exchanges as they were.
type aside struct {
	nth    int // of the model's copies
	folder string
}

func newPair(t *rapid.T) *pair {
	p := &pair{model: benchtest.NewModel("A"), host: newHosted(t), epochs: map[string]string{}}
	for i := range feeds + 1 {
		p.feeds = append(p.feeds, events.FeedID{Bench: p.host.ids[i%benches], Incarnation: events.Incarnation{byte(i)}})
	}
	return p
}

func (p *pair) mark() events.FeedID { return p.feeds[feeds] }

func anyBench(t *rapid.T) int { return rapid.IntRange(0, benches-1).Draw(t, "bench") }

func (p *pair) anyFeed(t *rapid.T) events.FeedID {
	return p.feeds[rapid.IntRange(0, feeds-1).Draw(t, "feed")]
}

func (p *pair) payload() []byte {
	p.said++
	return fmt.Appendf(nil, "payload number %d ends here", p.said)
}

// same says that two replies must be one.
func same[R comparable](t *rapid.T, what string, model, host R) {
	t.Helper()
	if model != host {
		t.Fatalf("%s: the model says %+v, the host %+v", what, model, host)
	}
}

// sameEpoch holds the names of epochs together: the host draws its own.
func (p *pair) sameEpoch(t *rapid.T, model, host string) {
	t.Helper()
	for m, h := range p.epochs {
		if (m == model) != (h == host) {
			t.Fatalf("the model's epoch is %q and the host's %q, where %q was %q before", model, host, m, h)
		}
	}
	p.epochs[model] = host
}

func (p *pair) sameState(t *rapid.T) {
	m, h := p.model.State(), p.host.state(t)
	p.sameEpoch(t, m.Epoch, h.Epoch)
	m.Epoch, h.Epoch = "", ""
	same(t, "state", m, h)
}

// stored is the answer to a publish.
type stored struct {
	number uint64
	why    replicate.Failure
}

func (p *pair) publishOn(t *rapid.T, bench int, f events.FeedID, expect uint64, payload []byte) stored {
	var m, h stored
	m.number, m.why = p.model.Publish(f, expect, payload)
	h.number, h.why = p.host.benches[bench].Publish(f, expect, payload)
	same(t, fmt.Sprintf("publish of %d bytes on %s behind %d", len(payload), f.Short(), expect), m, h)
	return m
}

func (p *pair) publish(t *rapid.T) {
	f := p.anyFeed(t)
	last, _ := p.model.Last(f)
	expect := last.Number
	switch rapid.SampledFrom([]string{"right", "right", "stale", "future", "none", "another feed's"}).Draw(t, "expectation") {
	case "stale":
		expect = rapid.Uint64Range(0, expect).Draw(t, "behind")
	case "future":
		expect += rapid.Uint64Range(1, 5).Draw(t, "behind")
	case "none":
		expect = 0
	case "another feed's":
		other, _ := p.model.Last(p.anyFeed(t))
		expect = other.Number
	}
	payload := p.payload()
	switch rapid.SampledFrom([]string{"small", "small", "small", "small", "empty", "largest", "too large"}).Draw(t, "size") {
	case "empty":
		payload = nil
	case "largest":
		payload = append(payload, make([]byte, segment.MaxSealed-len(payload))...)
	case "too large":
		payload = make([]byte, segment.MaxSealed+rapid.SampledFrom([]int{1, 200 << 10}).Draw(t, "beyond"))
	}
	p.publishOn(t, anyBench(t), f, expect, payload)
}

func (p *pair) publishSome(t *rapid.T) {
	bench := anyBench(t)
	for range rapid.IntRange(1, 6).Draw(t, "messages") {
		f := p.anyFeed(t)
		last, _ := p.model.Last(f)
		p.publishOn(t, bench, f, last.Number, p.payload())
	}
}

// race has two benches publish for one place at once.
func (p *pair) race(t *rapid.T) {
	f, first := p.anyFeed(t), anyBench(t)
	last, _ := p.model.Last(f)
	two := [2]int{first, (first + 1) % benches}
	payloads := [2][]byte{p.payload(), p.payload()}
	var replies [2]stored
	done := make(chan bool)
	for i, bench := range two {
		go func() {
			replies[i].number, replies[i].why = p.host.benches[bench].Publish(f, last.Number, payloads[i])
			done <- true
		}()
	}
	<-done
	<-done
	won := 0
	if replies[0].why != 0 {
		won = 1
	}
	for _, i := range []int{won, 1 - won} {
		var m stored
		m.number, m.why = p.model.Publish(f, last.Number, payloads[i])
		same(t, fmt.Sprintf("two publish on %s behind %d", f.Short(), last.Number), m, replies[i])
	}
}

func (p *pair) last(t *rapid.T) { p.lastOf(t, anyBench(t), p.anyFeed(t)) }

func (p *pair) lastOf(t *rapid.T, bench int, f events.FeedID) replicate.Message {
	m, why := p.model.Last(f)
	h, hostWhy := p.host.benches[bench].Last(f)
	same(t, "last: failure", why, hostWhy)
	p.sameMessage(t, "last of "+f.Short(), m, h)
	return m
}

func (p *pair) sameMessage(t *rapid.T, what string, m, h replicate.Message) {
	t.Helper()
	same(t, what+": number", m.Number, h.Number)
	same(t, what+": feed", m.Feed, h.Feed)
	if m.Number != 0 {
		p.sameEpoch(t, m.Epoch, h.Epoch)
	}
	if !bytes.Equal(m.Payload, h.Payload) {
		t.Fatalf("%s: the model has %.40q, the host %.40q", what, m.Payload, h.Payload)
	}
}

// survey goes through the numbers.
func (p *pair) survey(t *rapid.T) {
	var m exchange.Lacking
	m.Count, m.Sum = p.model.Lacking()
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	h, err := p.host.conns[anyBench(t)].Survey(ctx)
	must(t, err)
	same(t, "what is lacking", m, h)
}

// read follows from where a bench stands, or from somewhere else. A mark goes in
// first, so that there is an end to wait for.
func (p *pair) read(t *rapid.T) {
	bench := anyBench(t)
	from := p.from(t, bench)
	before := p.lastOf(t, bench, p.mark())
	mark := p.publishOn(t, bench, p.mark(), before.Number, p.payload())
	want, restarted := p.modelReads(from, mark.number)
	got, hostRestarted := p.host.reads(t, bench, from, mark.number)
	same(t, fmt.Sprintf("read from message %d: begun anew", from.Message), restarted, hostRestarted)
	same(t, fmt.Sprintf("read from message %d: messages", from.Message), numbers(want), numbers(got))
	for i := range want {
		p.sameMessage(t, "read", want[i], got[i])
	}
	end := got[len(got)-1]
	p.at[bench] = replicate.Cursor{Epoch: end.Epoch, Message: end.Number, Hash: sha256.Sum256(end.Payload)}
}

// from is a cursor to read from.
func (p *pair) from(t *rapid.T, bench int) replicate.Cursor {
	c := p.at[bench]
	switch rapid.SampledFrom([]string{"on", "on", "on", "fresh", "another hash", "beyond", "another epoch", "any message"}).Draw(t, "cursor") {
	case "fresh":
		return replicate.Cursor{}
	case "another hash":
		c.Hash[3] ^= 1
	case "beyond":
		c.Message += rapid.Uint64Range(1, 30).Draw(t, "beyond")
	case "another epoch":
		c.Epoch += "x"
	case "any message":
		if msgs := p.model.Messages; len(msgs) > 0 {
			m := rapid.SampledFrom(msgs).Draw(t, "message")
			return replicate.Cursor{Epoch: p.epochs[m.Epoch], Message: m.Number, Hash: sha256.Sum256(m.Payload)}
		}
	}
	return c
}

// modelReads is what a bench reads that stands at a cursor.
func (p *pair) modelReads(at replicate.Cursor, upTo uint64) (all []replicate.Message, restarted bool) {
	next := at.Message + 1
	for m, h := range p.epochs {
		if h == at.Epoch {
			at.Epoch = m
			break
		}
	}
	if at.Message > 0 && !p.model.Holds(at) {
		next, restarted = 1, true
	}
	for {
		m, ok := p.model.From(next)
		if !ok || m.Number > upTo {
			return all, restarted
		}
		all, next = append(all, m), m.Number+1
	}
}

func numbers(all []replicate.Message) string {
	var b strings.Builder
	for _, m := range all {
		fmt.Fprint(&b, m.Number, " ")
	}
	return b.String()
}

// fail stops the host, does something to its folder and to the model, and opens
// it again.
func (p *pair) fail(t *rapid.T) {
	n := len(p.model.Messages)
	kinds := []string{"opened again", "made anew", "copied", "put back"}
	if n > 0 {
		kinds = append(kinds, "spoiled", "taken out", "cut")
	}
	kind := rapid.SampledFrom(kinds).Draw(t, "failure")
	p.host.stop()
	switch kind {
	case "made anew":
		p.model.Reset()
		p.host.empty(t)
	case "copied":
		p.model.Copy()
		p.copies = append(p.copies, aside{len(p.copies), p.host.copyAside(t)})
	case "put back":
		if len(p.copies) > 0 {
			c := rapid.SampledFrom(p.copies).Draw(t, "copy")
			p.model.PutBack(c.nth)
			p.host.putBack(t, c.folder)
		}
	case "spoiled", "taken out", "cut":
		p.lose(t, kind, rapid.IntRange(0, n-1).Draw(t, "message"))
	}
	p.host.start(t)
}

// lose has both lose a message.
func (p *pair) lose(t *rapid.T, kind string, i int) {
	m := p.model.Messages[i]
	switch kind {
	case "spoiled":
		p.host.spoil(t, m.Payload)
		p.model.Spoil(i)
	case "taken out":
		if !p.allReadable() {
			return // beside what it can't read the server takes out what it should not
		}
		p.host.takeOut(t, m.Number)
		p.model.Lose(i)
	case "cut":
		p.host.spoil(t, m.Payload)
		p.host.forgetIndex(t)
		p.model.Cut(i)
	}
}

func (p *pair) allReadable() bool {
	for _, m := range p.model.Messages {
		if there, _ := p.model.From(m.Number); there.Number != m.Number {
			return false
		}
	}
	return true
}
