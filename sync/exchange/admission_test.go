package exchange_test

import (
	"crypto/tls"
	"errors"
	"testing"

	"oldhand/events"
	"oldhand/sync/exchange"

	"github.com/nats-io/nats.go"
)

// login logs in by the server's own library, with a signature made as given.
func login(t *testing.T, h *exchange.Host, name string, sign nats.SignatureHandler) (*nats.Conn, error) {
	t.Helper()
	c, err := nats.Connect("tls://"+h.Addr().String(), nats.Secure(&tls.Config{InsecureSkipVerify: true}), nats.Nkey(name, sign), nats.NoReconnect())
	if err == nil {
		t.Cleanup(c.Close)
	}
	return c, err
}

// in logs a key in that is let in.
func in(t *testing.T, h *exchange.Host, k events.BenchKey) *nats.Conn {
	t.Helper()
	c, err := login(t, h, public(t, k).LoginName(), k.SignLogin)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// To name a bench's key is not to have it.
func TestALoginMustBeSignedWithItsOwnKey(t *testing.T) {
	t.Parallel()
	h, k, _ := oneBench(t, exchange.HostOptions{})
	name, other := public(t, k).LoginName(), newKey(t)
	for what, sign := range map[string]nats.SignatureHandler{
		"another key":       other.SignLogin,
		"another challenge": func(c []byte) ([]byte, error) { return k.SignLogin(c[1:]) },
		"nothing":           func([]byte) ([]byte, error) { return nil, nil },
	} {
		if _, err := login(t, h, name, sign); !errors.Is(err, nats.ErrAuthorization) {
			t.Errorf("signed with %s: %v", what, err)
		}
	}
	if _, err := login(t, h, name, k.SignLogin); err != nil {
		t.Errorf("signed as it must be: %v", err)
	}
}

// Whose rights change is cut off, since a connection keeps the rights that it began with.
func TestWhoeverIsLetInToSomethingElseIsCutOff(t *testing.T) {
	t.Parallel()
	elsewhere := exchange.Tag{9}
	for what, change := range map[string]func(h *exchange.Host, id, stays events.BenchID) error{
		"a guest now": func(h *exchange.Host, id, stays events.BenchID) error {
			return h.SetUsers(shop, []events.BenchID{stays}, []exchange.Guest{exchange.Guest(id)})
		},
		"in another shop now": func(h *exchange.Host, id, stays events.BenchID) error {
			if err := h.SetUsers(shop, []events.BenchID{stays}, nil); err != nil {
				return err
			}
			return h.SetUsers(elsewhere, []events.BenchID{id}, nil)
		},
	} {
		t.Run(what, func(t *testing.T) {
			t.Parallel()
			h, k, s := openHost(t, exchange.HostOptions{}), newKey(t), newKey(t)
			admit(t, h, k, s)
			goes, stays := in(t, h, k), in(t, h, s)
			if err := change(h, public(t, k), public(t, s)); err != nil {
				t.Fatal(err)
			}
			eventually(t, "it is cut off", goes.IsClosed)
			if err := stays.FlushWithContext(within(t)); err != nil {
				t.Errorf("the other bench: %v", err)
			}
			in(t, h, k) // as what it is now
		})
	}
}

// A change that could not be made leaves everybody let in as before.
func TestUsersThatAreRefusedChangeNothing(t *testing.T) {
	t.Parallel()
	h, k, x := oneBench(t, exchange.HostOptions{})
	s := newKey(t)
	if err := h.SetUsers(shop, ids(t, s, s), nil); err == nil {
		t.Fatal("one key twice is taken")
	}
	publish(t, x, feedOf(t, k, 1), 0, "after")
	if _, err := login(t, h, public(t, s).LoginName(), s.SignLogin); !errors.Is(err, nats.ErrAuthorization) {
		t.Errorf("let in by a change that was refused: %v", err)
	}
	dial(t, to(h, k))
}

// Whoever was retired is out, also where the shop's place can't be looked after just then.
func TestARetiredBenchIsOutThoughItsPlaceIsIll_P12(t *testing.T) {
	t.Parallel()
	h, k, s := openHost(t, exchange.HostOptions{}), newKey(t), newKey(t)
	admit(t, h, k, s)
	goes := in(t, h, k)
	if err := h.Server().DisableJetStream(); err != nil {
		t.Fatal(err)
	}
	if err := h.SetUsers(shop, ids(t, s), nil); err == nil {
		t.Error("nobody says that the place is ill")
	}
	eventually(t, "it is cut off", goes.IsClosed)
	if _, err := login(t, h, public(t, k).LoginName(), k.SignLogin); !errors.Is(err, nats.ErrAuthorization) {
		t.Errorf("the retired bench comes again: %v", err)
	}
	if err := h.Restart(); err != nil {
		t.Fatal(err)
	}
	if _, err := login(t, h, public(t, k).LoginName(), k.SignLogin); !errors.Is(err, nats.ErrAuthorization) {
		t.Errorf("after the server was started anew the retired bench comes again: %v", err)
	}
	dial(t, to(h, s))
}
