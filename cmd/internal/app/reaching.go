package app

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"oldhand/events/eventlog"
	"oldhand/sync/exchange"
	"oldhand/sync/roster/invite"
)

// Reached is a connection to an exchange.
type Reached struct {
	With    string // where it is, for a person
	cluster bool   // on servers that somebody runs for several shops
	x       *exchange.Exchange

	again func(context.Context) (*exchange.Exchange, error) // connects once more
}

// Close ends the connection.
func (r *Reached) Close() { r.x.Close() }

// broke says that a meeting ended early, by the exchange's fault or by ours.
func (r *Reached) broke(err error) error {
	for _, theirs := range []error{exchange.ErrOffline, exchange.ErrClosed, exchange.ErrNotAdmitted, exchange.ErrNoStream} {
		if errors.Is(err, theirs) {
			return Unmet{{r.With, err, r.cluster}}
		}
	}
	return fmt.Errorf("meet the exchange at %s: %w", r.With, err)
}

// Reach connects to the first exchange that answers, of those that the folder
// knows or of the one that a typed code names, and remembers it as the first to
// try. Typed are addresses, which say where it is now, and pieces of a code. The
// folder is not opened for it: what is far away may take long to answer, and
// the bench's other commands need the folder meanwhile.
func Reach(ctx context.Context, dir string, typed []string) (*Reached, error) {
	card, err := readCard(dir)
	if err != nil {
		return nil, err
	}
	lo, err := logOptions(dir, card, Options{})
	if err != nil {
		return nil, err
	}
	known, err := toTry(dir, typed)
	if err != nil {
		return nil, err
	}
	var tried Unmet
	for _, k := range known {
		x, err := dial(ctx, lo, k)
		if ctx.Err() != nil {
			return nil, ErrStopped
		}
		if err != nil {
			tried = append(tried, untold{strings.Join(k.Addresses, " or "), err, k.isCluster()})
			continue
		}
		if err := rememberExchange(dir, k); err != nil {
			x.Close()
			return nil, err
		}
		return reached(strings.Join(k.Addresses, " or "), x, lo, k), nil
	}
	if len(typed) == 0 && hostsNow(dir) {
		return nil, &NoExchange{Hosts: true}
	}
	return nil, tried
}

// reached is a connection that can be made once more.
func reached(with string, x *exchange.Exchange, lo eventlog.Options, k KnownExchange) *Reached {
	return &Reached{with, k.isCluster(), x, func(ctx context.Context) (*exchange.Exchange, error) { return dial(ctx, lo, k) }}
}

// hostsNow reports whether an exchange is hosted from the folder.
func hostsNow(dir string) bool {
	var h Hosted
	return readJSON(filepath.Join(dir, exchangeDir, hostFile), &h) == nil && answers(h) == nil
}

func dial(ctx context.Context, lo eventlog.Options, k KnownExchange) (*exchange.Exchange, error) {
	o, err := k.options(lo)
	if err != nil {
		return nil, err
	}
	x, err := exchange.Dial(ctx, o)
	for tries := 0; tries < mostTries && passing(err); tries++ {
		pauseFor(ctx, 2*lookEvery)
		x, err = exchange.Dial(ctx, o)
	}
	return x, err
}

// mostTries is how often an exchange is tried again that answers and then does
// not: a host of an older program cuts off who is at the door while it takes its users
// over, and so does a cluster.
const mostTries = 5

// passing reports whether an error is none of those that stay.
func passing(err error) bool {
	for _, stays := range []error{exchange.ErrOffline, exchange.ErrWrongPin, exchange.ErrNotAdmitted, exchange.ErrNoStream,
		exchange.ErrRefused, exchange.ErrTooLarge, context.Canceled} {
		if errors.Is(err, stays) {
			return false
		}
	}
	return err != nil && !nobodyAnswers(err)
}

// nobodyAnswers reports whether that is what went wrong: the line is refused, or the time for an
// answer ran out, in the connection, in TLS or in a request.
func nobodyAnswers(err error) bool {
	var timed net.Error
	return errors.Is(err, exchange.ErrOffline) || errors.Is(err, context.DeadlineExceeded) || errors.As(err, &timed) && timed.Timeout()
}

func pauseFor(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}

// toTry are the exchanges that are meant.
func toTry(dir string, typed []string) ([]KnownExchange, error) {
	code, addresses, err := codeAndAddresses(typed)
	if err != nil {
		return nil, err
	}
	known, err := exchanges(dir)
	if err != nil && code == "" {
		return nil, err
	}
	if code != "" {
		place, err := invite.ReadPlace(code)
		if err != nil {
			return nil, wrongCode(err)
		}
		known = []KnownExchange{{Addresses: place.Addresses, Pin: pinText.EncodeToString(place.Pin[:])}}
	}
	if len(known) == 0 {
		return nil, &NoExchange{Hosts: hostsNow(dir)}
	}
	for i := range known {
		if len(addresses) > 0 {
			known[i].Addresses = addresses
		}
	}
	return known, nil
}

// codeAndAddresses tells the pieces of a code from addresses, which have a
// colon.
func codeAndAddresses(typed []string) (code string, addresses []string, err error) {
	for _, t := range typed {
		switch {
		case !strings.ContainsAny(t, ":."):
			code += t
		case invite.CheckAddress(t) != nil:
			return "", nil, &Wrong{"address " + t, invite.CheckAddress(t).Error() + ", such as 192.168.1.20:4747"}
		default:
			addresses = append(addresses, t)
		}
	}
	return code, addresses, nil
}

// wrongCode says what is wrong with a code that was typed, and which code is
// wanted where it is of the other sort.
func wrongCode(err error) error {
	switch {
	case errors.Is(err, invite.ErrPlaceCode):
		return &Wrong{"the code", "says where the benches meet, and lets no new one in; a join code comes from: oldhand invite"}
	case errors.Is(err, invite.ErrJoinCode):
		return &Wrong{"the code", "lets a new machine in, with: oldhand join CODE --bench NAME; the code for sync is shown by: oldhand host"}
	case errors.Is(err, invite.ErrNotCode):
		return &Wrong{"the code", "is well spelt, and not one that this version knows"}
	}
	return &Wrong{"the code", strings.TrimPrefix(err.Error(), "code: ")}
}

// ErrStopped is returned when a person ended a command before it was through.
var ErrStopped = errors.New("stopped before all was exchanged; nothing is lost, and oldhand sync goes on from there")

// Unmet is returned when no exchange could be met. It says of each why.
type Unmet []untold

// untold is an exchange that was not met.
type untold struct {
	at      string
	why     error
	cluster bool
}

func (u Unmet) Error() string {
	words := make([]string, len(u))
	for i, t := range u {
		words[i] = t.words()
	}
	return strings.Join(words, "; ")
}

// words say why the exchange was not met.
func (t untold) words() string {
	var unvouched *tls.CertificateVerificationError
	switch {
	case t.cluster && errors.Is(t.why, exchange.ErrNotAdmitted):
		return fmt.Sprintf("the servers at %s do not let this bench in: its key is not on the list that they have of this shop", t.at)
	case t.cluster && errors.As(t.why, &unvouched):
		return fmt.Sprintf("what answers at %s is not vouched for by the signer that this bench was given: %v", t.at, unvouched.Err)
	}
	return notMet(t.at, t.why)
}

// notMet says in words why an exchange was not met.
func notMet(at string, why error) string {
	switch {
	case errors.Is(why, exchange.ErrWrongPin):
		return fmt.Sprintf("what answers at %s is not the exchange that this bench knows", at)
	case errors.Is(why, exchange.ErrNotAdmitted):
		return fmt.Sprintf("the exchange at %s does not let this bench in: it was retired, or the bench that hosts has not heard of it yet", at)
	case errors.Is(why, exchange.ErrNoStream):
		return fmt.Sprintf("the exchange at %s has nothing of this shop", at)
	case nobodyAnswers(why):
		return fmt.Sprintf("nobody answers at %s", at)
	}
	return fmt.Sprintf("the exchange at %s: %v", at, why)
}

// Unwrap gives the reasons.
func (u Unmet) Unwrap() (whys []error) {
	for _, t := range u {
		whys = append(whys, t.why)
	}
	return whys
}

// Next is what a person can do.
func (u Unmet) Next() string {
	because := func(why error) bool {
		return slices.ContainsFunc(u, func(t untold) bool { return errors.Is(t.why, why) })
	}
	switch {
	case slices.ContainsFunc(u, func(t untold) bool { return t.cluster && errors.Is(t.why, exchange.ErrNotAdmitted) }):
		return "nothing is lost; give who runs the servers the list anew, from a bench that knows all the others: oldhand cluster keys"
	case because(exchange.ErrWrongPin):
		return "if it was set up anew, or another bench hosts: type here the code that oldhand host shows there, with: oldhand sync CODE"
	case because(exchange.ErrNotAdmitted):
		return "nothing is lost; carry a file to the bench that hosts: oldhand bundle write FILE here, oldhand bundle read FILE there"
	}
	return "nothing is lost; sync again when the bench that hosts is on, or carry a file: oldhand bundle write FILE"
}
