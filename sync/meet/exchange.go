package meet

import (
	"context"
	"errors"
	"fmt"
	"time"

	"oldhand/events"
	"oldhand/sync/exchange"
	"oldhand/sync/replicate"
	"oldhand/sync/segment"
)

// Options say how long a meeting lasts and who hears of it.
type Options struct {
	// Once ends the meeting when nothing more is to come or to give.
	Once bool
	// Told is called on the meeting's goroutine after each thing that happened; what
	// it is told was taken may wait to be written for a moment, but not at the end. It
	// may ask the bench how it stands: that goes through all that is due, too much
	// for each message, so that Standing is not set yet.
	Told func(Progress)
	// Changed gives a channel that is closed when the log grows; see eventlog.
	Changed func() <-chan struct{}
	// Survey is after what time it is looked at anew which messages the exchange can
	// give; zero is a day.
	Survey time.Duration
	// Patience is how long Once waits for an exchange that does not answer; zero
	// is a minute.
	Patience time.Duration
}

// Progress is what a meeting came to so far.
type Progress struct {
	Took int // events taken in
	Gave int // messages given to the exchange

	GaveEvents int // events in them

	Keys     int                // of customers, taken or given; package meet leaves that to who calls Keys
	Aside    int                // segments kept aside
	Standing replicate.Standing // at the meeting's end; not what Told hears
	Up       bool               // the exchange answers
}

// meeting is one run of Exchange, on one goroutine.
type meeting struct {
	o        Options
	b        *replicate.Bench
	x        *exchange.Exchange
	began    time.Time
	at       Progress
	read     uint64
	epoch    string
	changed  <-chan struct{}  // closed when the log grew since it was looked at
	survey   <-chan time.Time // when the next survey is due
	follower *follower
}

// lookAgain is the pause between looks at an exchange that does not answer.
const lookAgain = 500 * time.Millisecond

// Exchange meets an exchange until the context ends, or with Once until all is
// exchanged. The bench is the meeting's alone meanwhile.
func Exchange(ctx context.Context, b *replicate.Bench, x *exchange.Exchange, o Options) (Progress, error) {
	if o.Patience == 0 {
		o.Patience = time.Minute
	}
	if o.Survey == 0 {
		o.Survey = 24 * time.Hour
	}
	m := &meeting{o: o, b: b, x: x, began: time.Now()}
	defer func() { m.follower.stop() }()
	err := m.run(ctx)
	if unsaved := b.Hold(false, m.now()); unsaved != nil {
		err = errors.Join(err, unsaved)
	}
	m.at.Standing = b.Standing()
	return m.at, err
}

// now is a clock that nobody sets, in milliseconds.
func (m *meeting) now() int64 { return time.Since(m.began).Milliseconds() + 1 }

func (m *meeting) run(ctx context.Context) error {
	if err := m.grew(); err != nil {
		return err
	}
	for {
		if !m.at.Up {
			if err := m.meet(ctx); err != nil {
				return err
			}
		}
		if err := m.turn(ctx); err != nil {
			return err
		}
		if m.o.Told != nil {
			m.o.Told(m.at)
		}
		if m.o.Once && m.at.Up && m.b.Resting() {
			return nil
		}
	}
}

// meet waits until the exchange answers and begins with it.
func (m *meeting) meet(ctx context.Context) error {
	if err := m.b.Hold(false, m.now()); err != nil { // nobody knows when the exchange answers
		return err
	}
	for begun := time.Now(); ; {
		s := m.x.State(ctx)
		if s.Connected && s.Epoch != "" && s.Answers {
			if began, err := m.begin(ctx, s); began || err != nil {
				return err
			}
		}
		if m.o.Once && time.Since(begun) > m.o.Patience {
			return fmt.Errorf("meet the exchange: %w", errors.Join(exchange.ErrOffline, s.Problem))
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(lookAgain):
		}
	}
}

// begin meets an exchange that answers, unless it stops answering meanwhile.
// Whether it still has the message that was read last is asked before anything is
// believed of it (F20).
func (m *meeting) begin(ctx context.Context, s exchange.State) (began bool, err error) {
	if err := m.surveyed(ctx, s.Epoch); err != nil {
		return false, err
	}
	at, err := m.b.Cursor(s.Epoch)
	if err != nil {
		return false, err
	}
	holds, err := m.x.Holds(ctx, exchange.Cursor{Epoch: at.Epoch, Seq: at.Message, Hash: at.Hash})
	if err != nil {
		return false, nil // the next look says what is wrong
	}
	cursor, err := m.b.Meet(replicate.State{Epoch: s.Epoch, Last: s.LastSeq, Holes: s.Holes, Lost: !holds}, m.now())
	if err != nil {
		return false, err
	}
	m.at.Up = true
	if m.follower == nil || cursor.Message != m.read || s.Epoch != m.epoch {
		m.follower.stop()
		m.read, m.epoch = cursor.Message, s.Epoch
		m.follower = follow(ctx, m.b, m.x, exchange.Cursor{Epoch: cursor.Epoch, Seq: cursor.Message, Hash: cursor.Hash})
	}
	return true, nil
}

// turn does one thing: what is to be done before what is to be waited for, but a
// message that lies ready before both, so that reading and giving take turns.
func (m *meeting) turn(ctx context.Context) error {
	if m.b.Busy() {
		if err := m.ready(ctx); err != nil {
			return err
		}
		return m.do()
	}
	if m.o.Once && m.b.Resting() {
		return nil
	}
	wake, stop := m.alarm()
	defer stop()
	select {
	case msg := <-m.follower.messages:
		return m.take(ctx, msg)
	case <-m.changed:
		return m.grew()
	case <-wake:
		return m.b.Tick(m.now())
	case <-m.survey:
		m.at.Up = false // it is met anew, with a survey
		return nil
	case <-m.settling():
		return m.b.Hold(false, m.now())
	case err := <-m.follower.ended:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// ready deals with what has come already, without waiting.
func (m *meeting) ready(ctx context.Context) error {
	select {
	case msg := <-m.follower.messages:
		return m.take(ctx, msg)
	case <-m.changed:
		return m.grew()
	default:
		return nil
	}
}

// grew asks for the next change before it looks, so that none is missed.
func (m *meeting) grew() error {
	m.changed = m.o.Changed()
	return m.b.Grew(m.now())
}

// alarm is when the bench wants to be woken.
func (m *meeting) alarm() (<-chan time.Time, func()) {
	at := m.b.WakeAt()
	if at == 0 {
		return nil, func() {}
	}
	t := time.NewTimer(time.Duration(max(0, at-m.now())) * time.Millisecond)
	return t.C, func() { t.Stop() }
}

// settleAfter is how long what was taken waits for more that was to come.
const settleAfter = 100 * time.Millisecond

// settling is when what is held has waited long enough.
func (m *meeting) settling() <-chan time.Time {
	if !m.b.Holds() {
		return nil
	}
	return time.After(settleAfter)
}

func (m *meeting) take(ctx context.Context, msg arrived) error {
	if err := m.b.Hold(msg.Behind > 0, m.now()); err != nil { // more lie ready
		return err
	}
	if msg.Payload == nil && msg.Seq <= m.read && msg.Epoch == m.epoch {
		m.b.Last(msg.Seq) // nothing lies behind it
		return nil
	}
	if msg.Seq <= m.read || msg.Epoch != m.epoch { // it was made anew or put back
		s := m.x.State(ctx)
		m.b.Last(s.LastSeq)
	}
	m.read, m.epoch = msg.Seq, msg.Epoch
	came, err := m.b.Message(replicate.Message{Epoch: msg.Epoch, Number: msg.Seq, Feed: msg.Feed, Payload: msg.Payload, Ahead: msg.ahead}, m.now())
	if err != nil {
		return err
	}
	if msg.Behind == 0 {
		m.b.Last(msg.Seq)
	}
	m.at.Took += came.Took
	if came.Aside != 0 {
		m.at.Aside++
	}
	return nil
}

func (m *meeting) do() error {
	out := outlet{m, context.Background()}
	return m.b.Do(out, m.now)
}

// outlet is the exchange as package replicate asks it.
type outlet struct {
	m   *meeting
	ctx context.Context // a message that is on its way is waited for, also while the meeting ends
}

func (o outlet) Publish(f events.FeedID, expect uint64, payload []byte) (uint64, replicate.Failure) {
	n, err := o.m.x.Publish(o.ctx, f, expect, payload)
	if err == nil {
		o.m.at.Gave++
		if p, err := segment.ReadPlace(payload); err == nil {
			o.m.at.GaveEvents += p.Len()
		}
	}
	return n, o.failure(err)
}

func (o outlet) Last(f events.FeedID) (replicate.Message, replicate.Failure) {
	msg, ok, err := o.m.x.Last(o.ctx, f)
	if err != nil || !ok {
		return replicate.Message{}, o.failure(err)
	}
	return replicate.Message{Epoch: msg.Epoch, Number: msg.Seq, Feed: msg.Feed, Payload: msg.Payload}, 0
}

// failure sorts an exchange's error. Without a connection the bench must meet it
// again.
func (o outlet) failure(err error) replicate.Failure {
	switch {
	case err == nil:
		return 0
	case errors.Is(err, exchange.ErrBehind):
		return replicate.Behind
	case errors.Is(err, exchange.ErrBusy):
		return replicate.Busy
	case errors.Is(err, exchange.ErrFull):
		return replicate.Full
	case errors.Is(err, exchange.ErrTooLarge):
		return replicate.TooLarge
	}
	o.m.at.Up = false
	if errors.Is(err, exchange.ErrUnknown) {
		return replicate.Unclear
	}
	return replicate.Offline
}

// arrived is a message whose segment is being opened.
type arrived struct {
	exchange.Message
	ahead *replicate.Opening
}

// mostAhead is how many messages are opened at most before their turn comes. Each
// is half a megabyte at most, and its events several times that.
const mostAhead = 16

// follower reads an exchange on a goroutine of its own.
type follower struct {
	messages chan arrived
	ended    chan error
	cancel   context.CancelFunc
	done     chan struct{}
}

func follow(ctx context.Context, b *replicate.Bench, x *exchange.Exchange, from exchange.Cursor) *follower {
	ctx, cancel := context.WithCancel(ctx)
	f := &follower{make(chan arrived, mostAhead), make(chan error, 1), cancel, make(chan struct{})}
	go func() {
		defer close(f.done)
		f.ended <- x.Follow(ctx, from, func(m exchange.Message) error {
			select {
			case f.messages <- arrived{m, b.Ahead(m.Payload)}:
				return nil
			case <-ctx.Done():
				return ctx.Err()
			}
		})
	}()
	return f
}

func (f *follower) stop() {
	if f == nil {
		return
	}
	f.cancel()
	<-f.done
}
