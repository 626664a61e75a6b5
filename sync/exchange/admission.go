package exchange

import (
	"encoding/base64"
	"slices"
	"strings"
	"sync"

	"oldhand/events"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nkeys"
)

// admission says who is let in, and to what. The server asks it at each login, in
// place of a list of its own: when such a list is changed the server forgets
// everybody for some milliseconds, and reads what a login under way has said so far
// while that is still being written.
type admission struct {
	refused chan<- events.BenchID // told of refused logins, but never waited for

	// mu is held for reading over a whole login: once it was held for writing, every
	// login goes by the users of then and can be found among the server's connections.
	mu    sync.RWMutex
	users map[events.BenchID]*server.User
}

// Check lets a login in that names the key of a user and has signed the server's
// challenge with it. It is called by the server, on the connection's own goroutine.
func (a *admission) Check(c server.ClientAuthentication) bool {
	a.mu.RLock()
	defer a.mu.RUnlock()
	said := c.GetOpts()
	login, ok := readLogin(said.Nkey)
	if !ok || a.users == nil { // the server did not come up
		return false
	}
	if u := a.users[login]; u != nil && signed(said, c.GetNonce()) {
		c.RegisterUser(u)
		return true
	}
	select {
	case a.refused <- login:
	default: // of very many at once some are told
	}
	return false
}

// readLogin reads a login's key; false for one that was tried without.
func readLogin(name string) (id events.BenchID, ok bool) {
	raw, err := nkeys.Decode(nkeys.PrefixByteUser, []byte(name))
	if err != nil || len(raw) != len(id) {
		return id, false
	}
	return events.BenchID(raw), true
}

// signed says whether a login signed the challenge that was made for its connection.
func signed(said *server.ClientOpts, challenge []byte) bool {
	sig, err := base64.RawURLEncoding.DecodeString(said.Sig)
	if err != nil || len(challenge) == 0 {
		return false
	}
	key, err := nkeys.FromPublicKey(said.Nkey)
	return err == nil && key.Verify(challenge, sig) == nil
}

// lets says whether a key is let in.
func (a *admission) lets(key events.BenchID) bool {
	a.mu.RLock()
	defer a.mu.RUnlock()
	return a.users[key] != nil
}

// replace takes other users in place of those before, and gives the keys that must
// not stay connected: whoever is not let in any more, or to something else. (Rights
// name their shop.)
func (a *admission) replace(users map[events.BenchID]*server.User) (gone map[events.BenchID]bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	gone = map[events.BenchID]bool{}
	for key, had := range a.users {
		if has := users[key]; has == nil || !slices.Equal(may(has), may(had)) {
			gone[key] = true
		}
	}
	a.users = users
	return gone
}

// may is what a user may publish; nil is all of it.
func may(u *server.User) []string {
	if u.Permissions == nil {
		return nil
	}
	return u.Permissions.Publish.Allow
}

// usersOf is who may come in on a server. h.mu is held.
func (h *Host) usersOf(srv *server.Server) (map[events.BenchID]*server.User, error) {
	users := map[events.BenchID]*server.User{}
	for _, s := range h.sorted() {
		acc, _ := srv.LookupOrRegisterAccount(s.account())
		if err := s.name(acc, users); err != nil {
			return nil, err
		}
	}
	return users, nil
}

func (h *Host) sorted() (all []*hosted) {
	for _, s := range h.shops {
		all = append(all, s)
	}
	slices.SortFunc(all, func(a, b *hosted) int { return strings.Compare(a.shop.String(), b.shop.String()) })
	return all
}
