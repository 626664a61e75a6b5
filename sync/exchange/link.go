package exchange

import (
	"context"
	"sync"
)

// link is whether there is a connection. The client library lets a request
// whose connection was cut wait for its own time limit, though its answer can
// never come; a link ends it at once.
type link struct {
	mu    sync.Mutex
	here  context.Context // of the connection there is; ended when it is cut
	cut   context.CancelCauseFunc
	up    chan struct{} // closed while there is a connection
	over  chan struct{} // closed for good
	why   error         // why for good
	first sync.Once
}

func newLink() *link {
	l := &link{up: make(chan struct{}), over: make(chan struct{})}
	l.here, l.cut = context.WithCancelCause(context.Background())
	l.cut(ErrOffline)
	return l
}

// connected tells that there is a connection, another than before if there was
// one.
func (l *link) connected() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.cut(ErrOffline)
	if l.isOver() {
		return
	}
	l.here, l.cut = context.WithCancelCause(context.Background())
	if !isClosed(l.up) {
		close(l.up)
	}
}

// lost tells that the connection is cut.
func (l *link) lost() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.cut(ErrOffline)
	if isClosed(l.up) {
		l.up = make(chan struct{})
	}
}

// end tells that there will be none any more.
func (l *link) end(why error) {
	l.first.Do(func() {
		l.mu.Lock()
		defer l.mu.Unlock()
		l.why = why
		l.cut(why)
		close(l.over)
	})
}

// during gives a context that ends with the connection there is, too.
func (l *link) during(ctx context.Context) (context.Context, context.CancelFunc, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.isOver() {
		return nil, nil, l.why
	}
	if l.here.Err() != nil {
		return nil, nil, ErrOffline
	}
	both, cancel := context.WithCancelCause(ctx)
	here := l.here
	stop := context.AfterFunc(here, func() { cancel(context.Cause(here)) })
	return both, func() { stop(); cancel(context.Canceled) }, nil
}

// wait waits for a connection.
func (l *link) wait(ctx context.Context) error {
	l.mu.Lock()
	up := l.up
	l.mu.Unlock()
	select {
	case <-up:
		return nil
	case <-l.over:
		return l.why
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (l *link) isUp() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return isClosed(l.up) && !l.isOver()
}

func (l *link) isOver() bool { return isClosed(l.over) }

func isClosed(c chan struct{}) bool {
	select {
	case <-c:
		return true
	default:
		return false
	}
}
