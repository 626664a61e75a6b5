package exchange

import (
	"time"

	"oldhand/events"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nkeys"
)

// Who guesses at a join code logs in with keys that nobody let in. The server
// turns them away by itself and keeps a short list of connections that ended,
// with the reason: there the host finds them. Its callback for logins is not
// used, since that would take the place of its own check of them.

const (
	// mostClosed is how many ended connections the server remembers. Between
	// two looks there can be more; that somebody guesses is seen by fewer.
	mostClosed = 256

	// refusedSoon is from a refusal to the look for it, which also bounds how
	// often a loop of guesses makes the host look.
	refusedSoon = 50 * time.Millisecond
)

// lookForRefused tells of refused logins until the host is closed. The server
// says on its log that there may be one, a moment before it is on the list;
// what was said there is not read.
func (h *Host) lookForRefused() {
	defer close(h.refusedDone)
	seen := refusals{}
	for {
		select {
		case <-h.quit:
			return
		case <-h.troubled:
		}
		select {
		case <-h.quit:
			return
		case <-time.After(refusedSoon):
		}
		for _, login := range seen.look(h.srv.Load()) {
			h.opt.OnRefused(login)
		}
	}
}

// refusals are the connections of one server that were seen on its list.
type refusals struct {
	of   *server.Server
	seen map[uint64]bool
}

// look gives the keys of logins that were refused since the last look.
func (r *refusals) look(srv *server.Server) (logins []events.BenchID) {
	if srv == nil {
		return nil
	}
	if r.of != srv {
		*r = refusals{of: srv}
	}
	list, err := srv.Connz(&server.ConnzOptions{State: server.ConnClosed, Username: true, Sort: server.ByStop, Limit: mostClosed})
	if err != nil {
		return nil // the server is going away
	}
	listed := map[uint64]bool{}
	for _, c := range list.Conns {
		if c.Reason != server.AuthenticationViolation.String() {
			continue
		}
		listed[c.Cid] = true
		if login, ok := readLogin(c.AuthorizedUser); ok && !r.seen[c.Cid] {
			logins = append(logins, login)
		}
	}
	r.seen = listed
	return logins
}

// readLogin reads a login's key; false for one that was tried without.
func readLogin(name string) (id events.BenchID, ok bool) {
	raw, err := nkeys.Decode(nkeys.PrefixByteUser, []byte(name))
	if err != nil || len(raw) != len(id) {
		return id, false
	}
	return events.BenchID(raw), true
}
