package invite_test

import (
	"encoding/binary"
	"errors"
	"reflect"
	"testing"
	"time"

	"oldhand/sync/roster/invite"

	"github.com/nats-io/nkeys"
	"pgregory.net/rapid"
)

// opened is a host with codes of the given secrets, made at noon.
func opened(secrets ...byte) (s invite.Invites, codes []invite.Code) {
	for _, n := range secrets {
		var c invite.Code
		var err error
		if s, c, err = s.New(host, secretOf(n), noon); err != nil {
			panic(err)
		}
		codes = append(codes, c)
	}
	return s, codes
}

func wantReply(t *testing.T, got, want invite.Reply) {
	t.Helper()
	if got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

// guess is the n-th guest who guesses.
func guess(n uint64) (g invite.Guest) {
	binary.BigEndian.PutUint64(g[:], n+1)
	return g
}

func TestACodeAdmitsOneBench(t *testing.T) {
	s, codes := opened(7)
	g := guestOf(codes[0])
	if !reflect.DeepEqual(codes[0], codeOf(7)) {
		t.Errorf("code %+v", codes[0])
	}
	s, r := s.Try(g, noon)
	wantReply(t, r, invite.Accepted)
	before := s
	s, r = s.Use(g, noon.Add(time.Minute))
	wantReply(t, r, invite.Accepted)
	_, r = s.Use(g, noon.Add(time.Minute))
	wantReply(t, r, invite.Used)
	_, r = s.Try(g, noon.Add(time.Minute))
	wantReply(t, r, invite.Used)
	if n := len(s.Open(noon)); n != 0 {
		t.Errorf("%d codes open", n)
	}
	_, r = before.Try(g, noon) // a value: using it changed another
	wantReply(t, r, invite.Accepted)
}

func TestACodeDiesAfterTenMinutes(t *testing.T) {
	s, codes := opened(7)
	g := guestOf(codes[0])
	_, r := s.Use(g, noon.Add(invite.Life-time.Millisecond))
	wantReply(t, r, invite.Accepted)
	for _, at := range []time.Duration{invite.Life, 2 * invite.Life, -invite.Life} {
		late, r := s.Use(g, noon.Add(at))
		wantReply(t, r, invite.Expired)
		_, r = late.Use(g, noon) // and stays dead when the clock is set back
		wantReply(t, r, invite.Expired)
		if len(s.Open(noon.Add(at))) != 0 || len(late.Open(noon)) != 0 {
			t.Error("an expired code is listed as open")
		}
	}
}

// A loop of guesses is stopped: of ten thousand only the first four are tries
// at a code that is open.
func TestAGuessingLoopIsStoppedAfterFiveTries_F25(t *testing.T) {
	s, codes := opened(7)
	var r invite.Reply
	for n := range uint64(10_000) {
		if live := len(s.Open(noon)) == 1; live != (n < invite.MaxTries) {
			t.Fatalf("after %d guesses the code is open: %t", n, live)
		}
		s, r = s.Try(guess(n), noon)
		wantReply(t, r, invite.Unknown)
	}
	_, r = s.Use(guestOf(codes[0]), noon)
	wantReply(t, r, invite.Burnt)
}

func TestAGuessCountsAgainstEachOpenCodeAndNoOther(t *testing.T) {
	s, codes := opened(1)
	for n := range uint64(3) {
		s, _ = s.Try(guess(n), noon)
	}
	s, later, err := s.New(host, secretOf(2), noon)
	if err != nil {
		t.Fatal(err)
	}
	for n := range uint64(2) {
		s, _ = s.Use(guess(n), noon)
	}
	_, r := s.Try(guestOf(codes[0]), noon)
	wantReply(t, r, invite.Burnt)
	_, r = s.Try(guestOf(later), noon)
	wantReply(t, r, invite.Accepted)

	s, codes = opened(1)
	s, _ = s.Use(guestOf(codes[0]), noon)
	for n := range uint64(9) {
		s, _ = s.Try(guess(n), noon)
	}
	_, r = s.Try(guestOf(codes[0]), noon)
	wantReply(t, r, invite.Used)
}

// A joiner whose network fails logs in again and again.
func TestTheRightLoginIsNoGuess(t *testing.T) {
	s, codes := opened(1, 2)
	var r invite.Reply
	for range 50 {
		s, r = s.Try(guestOf(codes[0]), noon)
		wantReply(t, r, invite.Accepted)
	}
	_, r = s.Try(guestOf(codes[1]), noon)
	wantReply(t, r, invite.Accepted)
}

func TestAHostKeepsFewCodes(t *testing.T) {
	var secrets []byte
	for n := range byte(invite.MaxCodes) {
		secrets = append(secrets, n)
	}
	s, codes := opened(secrets...)
	if _, _, err := s.New(host, secretOf(200), noon); !errors.Is(err, invite.ErrTooManyCodes) {
		t.Errorf("one more than a host keeps: %v", err)
	}
	s, _ = s.Use(guestOf(codes[5]), noon)
	s, _, err := s.New(host, secretOf(200), noon)
	if err != nil {
		t.Fatal(err)
	}
	_, r := s.Try(guestOf(codes[5]), noon)
	wantReply(t, r, invite.Unknown) // the dead made room
	if _, _, err := s.New(host, secretOf(200), noon); err == nil {
		t.Error("the same secret twice")
	}
	bad := host
	bad.Addresses = []string{"nowhere"}
	if _, _, err := (invite.Invites{}).New(bad, secretOf(1), noon); err == nil {
		t.Error("a code that can't be written was opened")
	}
}

func TestAGuestIsNamedAsAnExchangeNamesIt(t *testing.T) {
	login := must(codeOf(7).Login())
	pair := must(nkeys.FromSeed(must(login.Seed())))
	if g, err := invite.ParseGuest(must(pair.PublicKey())); err != nil || g != guestOf(codeOf(7)) {
		t.Errorf("guest %x, %v", g, err)
	}
	other := must(must(nkeys.CreateAccount()).PublicKey())
	for _, text := range []string{"", "UABC", other} {
		if _, err := invite.ParseGuest(text); err == nil {
			t.Errorf("%q was taken for a guest", text)
		}
	}
}

// Whatever happens in whatever order, a code is accepted at most while it is
// young, after fewer than five wrong tries, and before it is used, and no dead
// code lives again.
func TestNoCodeComesBackToLife(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, codes := opened(1, 2)
		wrong, used, dead := 0, [2]bool{}, [2]invite.Reply{}
		now := noon
		for range rapid.IntRange(1, 30).Draw(t, "steps") {
			now = now.Add(time.Duration(rapid.IntRange(-60, 120).Draw(t, "seconds")) * time.Second)
			i, use := rapid.IntRange(0, 1).Draw(t, "code"), rapid.Bool().Draw(t, "use")
			var r invite.Reply
			switch {
			case rapid.IntRange(0, 2).Draw(t, "guess") == 0:
				s, r = s.Try(guess(rapid.Uint64Max(1<<40).Draw(t, "guess")), now)
				wantUnknown(t, r)
				wrong++
				continue
			case use:
				s, r = s.Use(guestOf(codes[i]), now)
			default:
				s, r = s.Try(guestOf(codes[i]), now)
			}
			if r == invite.Accepted && (wrong >= invite.MaxTries || used[i] || now.Sub(noon) >= invite.Life) {
				t.Fatalf("accepted after %d wrong tries, used %t, at %s", wrong, used[i], now.Sub(noon))
			}
			if dead[i] != 0 && r != dead[i] {
				t.Fatalf("was %s, is %s", dead[i], r)
			}
			if r != invite.Accepted {
				dead[i] = r
			}
			used[i] = used[i] || use && r == invite.Accepted
		}
	})
}

func wantUnknown(t *rapid.T, r invite.Reply) {
	if r != invite.Unknown {
		t.Fatalf("a guess: %s", r)
	}
}

func TestEveryReplyHasItsWords(t *testing.T) {
	seen := map[string]bool{"": true}
	for _, r := range []invite.Reply{invite.Accepted, invite.Unknown, invite.Expired, invite.Burnt, invite.Used} {
		if seen[r.String()] {
			t.Errorf("reply %d says %q", r, r)
		}
		seen[r.String()] = true
	}
}
