package invite_test

import (
	"time"

	"oldhand/events"
	"oldhand/sync/roster/invite"
)

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func fill(n byte) (b [32]byte) {
	for i := range b {
		b[i] = n
	}
	return b
}

func half(n byte) [16]byte { f := fill(n); return [16]byte(f[:16]) }

func secretOf(n byte) invite.Secret { f := fill(n); return invite.Secret(f[:10]) }

func idOf(k events.BenchKey) events.BenchID { return must(k.Public()) }

var (
	owner, drawer, stranger = must(events.OwnerKeyOf(fill(1))), must(events.OwnerKeyOf(fill(2))), must(events.OwnerKeyOf(fill(3)))
	joiner, otherBench      = must(events.BenchKeyOf(fill(11))), must(events.BenchKeyOf(fill(12)))
	founding                = must(owner.Found("Quayside Wireless Repair", half(0x21)))
	shop                    = founding.Shop()
	host                    = invite.Code{Pin: invite.PinOf([]byte("a public key")), Owner: invite.TagOf(founding)}
	noon                    = time.Date(2026, 4, 7, 12, 0, 0, 0, time.UTC)
)

// codeOf is a code of the shop's host with a secret and addresses.
func codeOf(secret byte, addresses ...string) invite.Code {
	c := host
	c.Secret, c.Addresses = secretOf(secret), addresses
	return c
}

func guestOf(c invite.Code) invite.Guest { return must(invite.GuestOf(must(c.Login()))) }
