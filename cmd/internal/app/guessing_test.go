package app_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/sync/exchange"
	"oldhand/sync/roster/invite"
)

// guarded is a host of a shop whose words are heard.
type guarded struct {
	*house
	address string
	says    chan string
}

func newGuarded(t *testing.T) *guarded {
	g := &guarded{house: newHouse(t), says: make(chan string, 100)}
	g.found(t, "front")
	h, err := app.OpenHosting(t.Context(), g.at("front"), "127.0.0.1:0", g.options(), func(s string) { g.says <- s })
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- h.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := errors.Join(<-done, h.Close()); err != nil {
			t.Error(err)
		}
	})
	g.address = h.Hosted.Addresses[0]
	return g
}

// wants waits until the host says something, and fails where it says another
// thing about codes first.
func (g *guarded) wants(t *testing.T, text string) {
	t.Helper()
	for {
		select {
		case s := <-g.says:
			if strings.Contains(s, text) {
				return
			}
			if strings.Contains(s, "code") {
				t.Fatalf("the host says %q, want %q", s, text)
			}
		case <-time.After(2 * time.Minute): // patience only: the machine may be busy
			t.Fatalf("the host does not say %q", text)
		}
	}
}

// guess tries a code: the right one with another secret, as whoever guesses
// would, some times over.
func (g *guarded) guess(t *testing.T, code string, secret byte, times int) {
	t.Helper()
	c, err := invite.Read(code)
	if err != nil {
		t.Fatal(err)
	}
	c.Secret = invite.Secret{secret}
	login, err := c.Login()
	if err != nil {
		t.Fatal(err)
	}
	for tries := 0; times > 0; tries++ {
		_, err = exchange.Ask(t.Context(), exchange.DialOptions{Addrs: []string{g.address}, Start: c.Pin[:], Key: login}, nil)
		switch {
		case errors.Is(err, exchange.ErrNotAdmitted):
			times--
		case err == nil || tries > 50: // a busy machine may cut a connection before the host answers
			t.Fatalf("a guess gives %v", err)
		}
	}
}

// tries has a bench join with a code; empty is that it did.
func (g *guarded) tries(t *testing.T, name, code string) string {
	t.Helper()
	_, err := app.Join(t.Context(), g.at(name), []string{code}, name, g.options())
	if err != nil {
		return err.Error()
	}
	return ""
}

// Four wrong codes leave the right one good, however often each is tried, and a
// retired bench that comes again is no guess; the fifth wrong one
// burns it, in the host's folder too.
func TestF25_TheFifthWrongJoinCodeBurnsTheRightOne(t *testing.T) {
	g := newGuarded(t)
	if said := g.tries(t, "attic", g.invite(t, "front")); said != "" {
		t.Fatal(said)
	}
	s, err := app.Open(g.at("front"), g.options())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Retire("attic", "sold"); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	code := g.invite(t, "front")
	for i := range byte(invite.MaxTries - 1) {
		g.guess(t, code, i+1, 3)
		g.wants(t, "somebody tried a wrong join code")
	}
	for refused, begun := 0, time.Now(); refused < 1; { // the host hears of it by and by
		if _, err := g.sync(t, "attic", g.options()); err != nil {
			refused++
		} else if time.Since(begun) > 20*time.Second {
			t.Fatal("a retired bench is let in")
		}
	}
	if said := g.tries(t, "cellar", code); said != "" {
		t.Fatalf("after four wrong tries: %s", said)
	}

	code = g.invite(t, "front")
	for i := range byte(invite.MaxTries) {
		g.guess(t, code, 100+i, 3) // a busy host may end one before it looks at the code
	}
	for range invite.MaxTries - 1 {
		g.wants(t, "somebody tried a wrong join code")
	}
	g.wants(t, "the open code is given up")
	said := g.tries(t, "yard", code)
	for tries := 0; strings.Contains(said, "nobody answers") && tries < 50; tries++ { // a busy machine may cut a connection before the host answers
		said = g.tries(t, "yard", code)
	}
	if !strings.Contains(said, "given up after wrong tries") {
		t.Errorf("joining with the burnt code: %q", said)
	}
	if left, err := os.ReadDir(filepath.Join(g.at("front"), "exchange", "codes")); err != nil || len(left) > 0 {
		t.Errorf("left of the codes: %v (%v)", left, err)
	}
	if said := g.tries(t, "yard", g.invite(t, "front")); said != "" {
		t.Errorf("with another code: %s", said)
	}
}

// A loop of guesses ends the code within moments.
func TestF25_ALoopOfGuessesEndsTheCode(t *testing.T) {
	g := newGuarded(t)
	code := g.invite(t, "front")
	c, err := invite.Read(code)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan struct{})
	defer func() { stop(); <-ended }()
	go func() {
		defer close(ended)
		for ctx.Err() == nil {
			if key, err := events.NewBenchKey(); err == nil {
				_, _ = exchange.Ask(ctx, exchange.DialOptions{Addrs: []string{g.address}, Start: c.Pin[:], Key: key}, nil)
			}
		}
	}()
	for said := ""; !strings.Contains(said, "given up"); {
		select {
		case said = <-g.says:
		case <-time.After(20 * time.Second):
			t.Fatal("the code outlives the loop")
		}
	}
	stop()
	<-ended
	if said := g.tries(t, "attic", code); !strings.Contains(said, "given up after wrong tries") {
		t.Errorf("joining with the burnt code: %q", said)
	}
}
