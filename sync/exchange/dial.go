package exchange

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"strings"
	"sync"
	"time"

	"oldhand/events"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// DialOptions say which exchange is meant and who comes.
type DialOptions struct {
	Addrs []string // host:port, tried in turn
	Pins  []Pin    // by which the exchange is known; any of them will do
	Start []byte   // of a pin, at least 16 bytes, as a join code has it; does as well

	Key events.BenchKey // logs in
	Tag Tag             // the shop

	Host    *Host    // an exchange in this process; Addrs and Pins are not looked at
	Foreign *Foreign // an exchange on somebody's cluster

	Timeout time.Duration     // for one answer; zero is DefaultTimeout
	Warn    func(text string) // what a person may want to know; nil to drop it
}

// Foreign is what a cluster that this program does not host needs besides.
type Foreign struct {
	Roots       *x509.CertPool // who vouches for its names, where there are no pins
	Credentials string         // path of a credentials file that logs in; Key then only names the inbox
	Replicas    int            // on how many servers the stream is made; zero is 3
}

const defaultReplicas = 3

// Exchange is a connection to an exchange. Its methods may be called from
// several goroutines. When the connection is cut it comes back by itself.
type Exchange struct {
	opt     DialOptions
	own     events.BenchID
	conn    *nats.Conn
	js      jetstream.JetStream
	link    *link
	gone    chan struct{} // closed when the connection is
	flights flights

	mu         sync.Mutex
	epoch      string
	warnings   []string
	restarts   int
	problem    error // the last one with the connection
	keysTold   int   // how much was told of the stream of keys,
	piecesTold int   // and of that of photos
}

// Dial connects to an exchange and looks at the shop's stream, which is made
// where that is a bench's business: on a cluster.
func Dial(ctx context.Context, o DialOptions) (*Exchange, error) {
	x, err := connect(ctx, o)
	for _, pause := range whileUsersChange {
		if !errors.Is(err, ErrNotAdmitted) || sleep(ctx, pause) != nil {
			break
		}
		x, err = connect(ctx, o)
	}
	if err != nil {
		return nil, fmt.Errorf("dial an exchange: %w", err)
	}
	if err := x.firstLook(ctx); err != nil {
		x.Close()
		return nil, fmt.Errorf("dial an exchange: %w", err)
	}
	return x, nil
}

// whileUsersChange are the pauses after which a bench that was turned away comes
// again before it believes that: a server of a cluster forgets all users for some
// milliseconds whenever it reads its list of them anew.
var whileUsersChange = []time.Duration{50 * time.Millisecond, 150 * time.Millisecond, 400 * time.Millisecond}

// firstLook looks at the shop's stream. While a server reads its list of users anew,
// nobody answers there for a moment; that is waited for.
func (x *Exchange) firstLook(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, x.opt.Timeout)
	defer cancel()
	for {
		_, err := x.look(ctx)
		if !errors.Is(err, nats.ErrNoResponders) || sleep(ctx, 50*time.Millisecond) != nil {
			return err
		}
	}
}

// connect logs in, and no more.
func connect(ctx context.Context, o DialOptions) (*Exchange, error) {
	o.setDefaults()
	own, err := o.Key.Public()
	if err != nil {
		return nil, err
	}
	x := &Exchange{opt: o, own: own, link: newLink(), gone: make(chan struct{})}
	opts, err := x.options(ctx)
	if err != nil {
		return nil, err
	}
	if x.conn, err = dialWithin(ctx, opts); err != nil {
		return nil, plainly(err)
	}
	if err := x.link.wait(ctx); err != nil { // the handlers run on a goroutine of their own
		x.Close()
		return nil, err
	}
	if x.js, err = jetstream.New(x.conn, jetstream.WithDefaultTimeout(o.Timeout)); err != nil {
		x.Close()
		return nil, err
	}
	return x, nil
}

// dialWithin connects, or leaves it when the context ends: the library tries
// every address for as long as that takes.
func dialWithin(ctx context.Context, opts []nats.Option) (*nats.Conn, error) {
	type end struct {
		conn *nats.Conn
		err  error
	}
	ended := make(chan end, 1)
	go func() {
		conn, err := nats.Connect("", opts...)
		ended <- end{conn, err}
	}()
	select {
	case e := <-ended:
		return e.conn, e.err
	case <-ctx.Done():
		go func() {
			if e := <-ended; e.err == nil {
				e.conn.Close()
			}
		}()
		return nil, ctx.Err()
	}
}

func (o *DialOptions) setDefaults() {
	if o.Timeout == 0 {
		o.Timeout = DefaultTimeout
	}
	if o.Warn == nil {
		o.Warn = func(string) {}
	}
}

// options are those of every connection, and of this one where it leads.
func (x *Exchange) options(ctx context.Context) ([]nats.Option, error) {
	opts := append(connection(x.opt.Key, x.own),
		nats.Timeout(until(ctx, x.opt.Timeout)),
		nats.ConnectHandler(func(*nats.Conn) { x.connected() }),
		nats.ReconnectHandler(func(*nats.Conn) { x.connected() }),
		nats.DisconnectErrHandler(func(_ *nats.Conn, err error) { x.note(err); x.link.lost() }),
		nats.ReconnectErrHandler(func(_ *nats.Conn, err error) { x.failed(err) }),
		nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) { x.note(err) }),
		nats.ClosedHandler(func(c *nats.Conn) { x.closed(c.LastError()) }),
	)
	if x.opt.Host != nil {
		return append(opts, nats.InProcessServer(door{x.opt.Host, x.own})), nil
	}
	secure, err := x.opt.secure()
	if err != nil {
		return nil, err
	}
	opts = append(opts, nats.Secure(secure), servers(x.opt.Addrs))
	if f := x.opt.Foreign; f == nil {
		opts = append(opts, nats.IgnoreDiscoveredServers()) // the pin is of the addresses given
	} else if f.Credentials != "" {
		opts = append(opts, withoutKey, nats.UserCredentials(f.Credentials))
	}
	return opts, nil
}

// secure refuses to take whatever answers for the exchange.
func (o *DialOptions) secure() (*tls.Config, error) {
	if len(o.Addrs) == 0 {
		return nil, errors.New("no address")
	}
	if len(o.Pins) > 0 || len(o.Start) >= leastStart {
		return pinned(o.Pins, o.Start), nil
	}
	if o.Foreign != nil && o.Foreign.Roots != nil {
		return &tls.Config{MinVersion: tls.VersionTLS13, RootCAs: o.Foreign.Roots}, nil
	}
	return nil, fmt.Errorf("%s: %w", o.Addrs[0], ErrNoPin)
}

// withoutKey takes the key out of what logs in; the library refuses both.
func withoutKey(o *nats.Options) error {
	o.Nkey, o.SignatureCB = "", nil
	return nil
}

func servers(addrs []string) nats.Option {
	return func(o *nats.Options) error {
		for _, a := range addrs {
			if _, _, err := net.SplitHostPort(a); err != nil {
				return fmt.Errorf("address %q: %w", a, err)
			}
			// In an address of a server a zone stands behind an escape (RFC 6874).
			o.Servers = append(o.Servers, "tls://"+strings.ReplaceAll(a, "%", "%25"))
		}
		return nil
	}
}

// connection is what all our connections have in common.
func connection(key events.BenchKey, own events.BenchID) []nats.Option {
	return []nats.Option{
		nats.Nkey(own.LoginName(), key.SignLogin),
		nats.CustomInboxPrefix(inbox(own)),
		nats.MaxReconnects(-1),
		nats.CustomReconnectDelay(pause),
		nats.ReconnectBufSize(-1), // what could not be sent is not sent later, behind our back
		nats.PingInterval(10 * time.Second),
		nats.MaxPingsOutstanding(2),
	}
}

// pause is how long to wait before all addresses are tried again: longer each
// time, and never the same for two benches that were cut off together.
func pause(tries int) time.Duration {
	const least, most = 50 * time.Millisecond, 10 * time.Second
	d := most
	if tries < 8 {
		d = min(most, least<<max(tries, 0))
	}
	return d/2 + rand.N(d)
}

// until is the time left of a context, but at most d.
func until(ctx context.Context, d time.Duration) time.Duration {
	if end, ok := ctx.Deadline(); ok {
		return max(time.Millisecond, min(d, time.Until(end)))
	}
	return d
}

// connected is told of each connection that was made.
func (x *Exchange) connected() {
	x.mu.Lock()
	x.problem = nil
	x.mu.Unlock()
	x.link.connected()
}

// note keeps the connection's last problem, for a page.
func (x *Exchange) note(err error) {
	if err == nil {
		return
	}
	x.mu.Lock()
	defer x.mu.Unlock()
	x.problem = plainly(err)
}

// failed is told of a connection that could not be made anew. A host in this
// process says itself that it does not let the key in; over the network the
// library reads it from the server's answer, and ends the connection.
func (x *Exchange) failed(err error) {
	x.note(err)
	if errors.Is(err, ErrNotAdmitted) {
		x.link.end(fmt.Errorf("%w: %w", ErrClosed, err))
		x.conn.Close()
	}
}

// closed is told once the connection will not come back: by Close, or because
// the exchange turned the key away twice.
func (x *Exchange) closed(last error) {
	why := ErrClosed
	if last != nil {
		why = fmt.Errorf("%w: %w", ErrClosed, plainly(last))
	}
	x.link.end(why)
	close(x.gone)
}

// plainly puts the library's reasons into ours.
func plainly(err error) error {
	switch {
	case errors.Is(err, nats.ErrAuthorization), errors.Is(err, nats.ErrAuthExpired), errors.Is(err, nats.ErrAccountAuthExpired):
		return fmt.Errorf("%w: %w", ErrNotAdmitted, err)
	case errors.Is(err, nats.ErrNoServers), errors.Is(err, nats.ErrTimeout), errors.Is(err, nats.ErrReconnectBufExceeded), errors.Is(err, nats.ErrDisconnected), errors.Is(err, nats.ErrNoResponders):
		return fmt.Errorf("%w: %w", ErrOffline, err)
	case errors.Is(err, nats.ErrConnectionClosed):
		return fmt.Errorf("%w: %w", ErrClosed, err)
	}
	return err
}

// request gives a context for one request: it ends with the connection, and
// when the answer takes too long.
func (x *Exchange) request(ctx context.Context) (context.Context, context.CancelFunc, error) {
	return x.requestWithin(ctx, x.opt.Timeout)
}

// requestWithin is request with another time for the answer.
func (x *Exchange) requestWithin(ctx context.Context, d time.Duration) (context.Context, context.CancelFunc, error) {
	here, leave, err := x.link.during(ctx)
	if err != nil {
		return nil, nil, err
	}
	timed, cancel := context.WithTimeout(here, d)
	return timed, func() { cancel(); leave() }, nil
}

// reason prefers why a request's context ended to what the library made of it.
func (x *Exchange) reason(ctx context.Context, err error) error {
	if cause := context.Cause(ctx); cause != nil && (errors.Is(cause, ErrOffline) || errors.Is(cause, ErrClosed)) {
		return cause
	}
	return plainly(err)
}

// Close ends the connection. What is under way ends with ErrClosed.
func (x *Exchange) Close() {
	x.link.end(ErrClosed)
	x.conn.Close()
	<-x.gone
}
