package roster_test

import (
	"crypto/ed25519"
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/sync/roster"
)

// rosterKinds are the kinds that the roster reads.
var rosterKinds = []events.Kind{events.KindShopFounded, events.KindOwnerNamed, events.KindBenchAdmitted, events.KindBenchRetired, events.KindFeedReleased, events.KindShopKeySet}

// A body of any bytes comes as a statement among a shop's own, on a feed of any
// bench. It changes who belongs to the shop by an owner's signature only: what nobody
// signed leaves the roster as it was but for a refusal, in any order and twice (P12).
func FuzzStatement(f *testing.F) {
	for _, b := range []events.Body{
		founding, attic.admission("attic", 1), must(founder.Retire(shop, counter.id, []events.Head{counter.head(1, 3, 0)}, "lost")),
		must(stranger.Retire(shop, counter.id, nil, "")), must(stranger.Admit(shop, cellar.id, "cellar", 3)),
		must(founder.NameOwner(shop, idOf(drawer), "drawer")), must(stranger.NameOwner(shop, idOf(stranger), "mine")),
		must(founder.Release(shop, counter.id, []events.Head{counter.head(1, 3, 0)}, "")), must(stranger.Found("Quayside Wireless Repair", half(0x22))),
	} {
		f.Add(uint8(slices.Index(rosterKinds, b.Kind())), uint(1), []byte(must(events.EncodeBody(b))))
	}
	f.Add(uint8(5), uint(9), []byte{0xa0})
	known := feedOf(attic, 1, 1000, founding, attic.admission("attic", 1), counter.admission("counter", 2), must(founder.Retire(shop, counter.id, []events.Head{counter.head(1, 3, 0)}, "lost")))
	before := roster.Fold(shop, known)
	f.Fuzz(func(t *testing.T, which uint8, version uint, raw []byte) {
		env := events.Envelope{ID: events.EventID{1, 2, 3}, Kind: rosterKinds[int(which)%len(rosterKinds)], Version: version & 0xffff}
		record, err := events.EncodeRecord(env, raw)
		if err != nil {
			return
		}
		begun := feedOf(cellar, 1, 2000)
		e, err := events.Link(begun[0].Head(), record)
		if err != nil {
			return // garbage is not carried
		}
		after := roster.Fold(shop, append(slices.Clone(known), e))
		if d := same(after, roster.Fold(shop, append([]events.Event{e, e}, known...))); d != "" {
			t.Fatalf("in another order the roster is another:\n%s", d)
		}
		if signedByOwner(e) {
			return
		}
		if !slices.Equal(after.Owners(), before.Owners()) || len(after.Benches()) != len(before.Benches()) {
			t.Fatalf("%s that no owner signed: owners %v, benches %v", e.Kind, after.Owners(), after.Benches())
		}
		for _, h := range []events.Head{attic.head(1, 5, 0), counter.head(1, 3, 0), counter.head(1, 4, 0), cellar.head(1, 1, 0)} {
			if got, want := after.Counts(h), before.Counts(h); got.Standing != want.Standing {
				t.Fatalf("%s that no owner signed: event %d of %s stands %d, stood %d", e.Kind, h.Seq, h.Feed.Short(), got.Standing, want.Standing)
			}
		}
	})
}

// signedByOwner reports whether the founder signed a body, by Go's own Ed25519 past
// the code under test. The founder is the shop's only owner here.
func signedByOwner(e events.Event) bool {
	body, err := e.Body()
	if err != nil {
		return false
	}
	var sig []byte
	switch b := body.(type) {
	case events.BenchAdmitted:
		sig = b.Signature
	case events.BenchRetired:
		sig = b.Signature
	case events.OwnerNamed:
		sig = b.Signature
	case events.FeedReleased:
		sig = b.Signature
	case events.ShopKeySet:
		sig = b.Signature
	}
	says, ok := body.(interface{ Statement(events.ShopID) []byte })
	owner := idOf(founder)
	return ok && ed25519.Verify(owner[:], says.Statement(shop), sig)
}
