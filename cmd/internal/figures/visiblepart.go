package main

// oneEvent is the size of a segment of one event, padded as it is.
const oneEvent = 1024

// From when one bench's commit is on its disk until another bench has it on its own
// disk, with its history, and can be asked. Both have all events of the shop and meet
// all the while: the writer at an exchange in its own process, the other over TLS.
// Beside it, one after each, is a bare server without TLS: from the beginning of a
// publish of as many bytes until another connection has them.
func visiblePart(t *turn) {
	deliver, stop := t.bareDelivery()
	defer stop()
	half := &figure{name: "commit to visible at another bench, p50", unit: seconds, peer: "bare JetStream", goal: atMost(2e-3)}
	worst := &figure{name: "commit to visible at another bench, p99", unit: seconds, peer: "bare JetStream"}
	p := t.livePair()
	defer p.stop()
	t.rounds(func() {
		var theirs []float64
		ours := t.oneByOne(p.writer.log, p.reader.log, p.unit.id, t.each/2, func() { theirs = append(theirs, t.timed(deliver)) })
		half.beside(percentile(ours, 50), percentile(theirs, 50))
		worst.beside(percentile(ours, 99), percentile(theirs, 99))
	})
	t.tell(half, worst)
}

func (t *turn) bareDelivery() (deliver func() error, stop func()) {
	n, err := openBare(t.TempDir())
	t.check(err)
	t.Cleanup(n.close)
	deliver, stop, err = n.deliveries(oneEvent)
	t.check(err)
	return deliver, stop
}

// pair are two benches of the shop that have all events and meet all the while.
type pair struct {
	writer, reader side
	out, in        *wire // their ways to the exchange; nil for a writer that hosts
	unit           standing
	stop           func()
}

// livePair begins with both at rest.
func (t *turn) livePair() *pair { return t.pairOf(false) }

// countedPair is a pair that both reach the exchange over lines that count.
func (t *turn) countedPair() *pair { return t.pairOf(true) }

func (t *turn) pairOf(counted bool) *pair {
	host, front, far := t.full(), t.openCopy(t.front()), t.openCopy(t.far())
	p := &pair{unit: t.onTheBenches(front)[0]}
	shop, mine, other := t.story().Shop(), t.keyOf(front.Dir), t.keyOf(far.Dir)
	x, y := t.near(host, mine), host.host.Addr().String()
	if counted {
		p.out, p.in = t.countTo(y), t.countTo(y)
		x, y = t.away(host, mine, p.out.addr()), p.in.addr()
	}
	p.writer = t.sideOf(front.Log, shop, mine, x)
	p.reader = t.sideOf(far.Log, shop, other, t.away(host, other, y))
	t.meets(p.writer)
	t.meets(p.reader)
	stop, end := t.live(p.writer), t.live(p.reader)
	p.stop = func() { end(); stop() }
	t.oneByOne(front.Log, far.Log, p.unit.id, warm, nil)
	return p
}
