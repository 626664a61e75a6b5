package roster_test

import (
	"crypto/ed25519"
	"testing"

	"oldhand/events"
	"oldhand/events/hlc"
	"oldhand/sync/roster"

	"github.com/google/go-cmp/cmp"
	"github.com/nats-io/nkeys"
)

// The shop of these tests: an owner with a second key in a drawer, three
// benches, and a stranger who has keys and no word in the shop.
var (
	founder, drawer, safe, stranger = ownerKey(1), ownerKey(2), ownerKey(3), ownerKey(9)
	attic, counter, cellar          = benchOf(11), benchOf(12), benchOf(13)

	founding  = must(founder.Found("Quayside Wireless Repair", half(0x21)))
	shop      = founding.Shop()
	otherShop = must(stranger.Found("Quayside Wireless Repair", half(0x22))).Shop()
	secret    = events.ShopKey(fill(0x51))
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

func ownerKey(n byte) events.BenchKey { return must(events.OwnerKeyOf(fill(n))) }

func idOf(k events.BenchKey) events.BenchID { return must(k.Public()) }

// bench is a laptop that writes feeds.
type bench struct {
	key events.BenchKey
	id  events.BenchID
}

func benchOf(n byte) bench {
	k := must(events.BenchKeyOf(fill(n)))
	return bench{k, idOf(k)}
}

// feed is the bench's n-th run.
func (b bench) feed(n byte) events.FeedID {
	return events.FeedID{Bench: b.id, Incarnation: half(n)}
}

// head is a head of a run with a hash that is the branch's and the number's.
func (b bench) head(run byte, seq uint64, branch byte) events.Head {
	h := fill(branch)
	h[0] = byte(seq)
	return events.Head{Feed: b.feed(run), Seq: seq, Hash: h}
}

// admission is the founder's, under a number.
func (b bench) admission(name string, number uint32) events.BenchAdmitted {
	return must(founder.Admit(shop, b.id, name, number))
}

// feedOf writes bodies as one whole feed of a bench, linked as any feed is.
// Ids begin at a time.
func feedOf(b bench, run byte, ms uint64, bodies ...events.Body) []events.Event {
	head := events.Head{Feed: b.feed(run)}
	var list []events.Event
	for i, body := range append([]events.Body{events.FeedBegun{Shop: shop}}, bodies...) {
		id := events.NewEventID(hlc.Join(ms, uint16(i)), [8]byte{run, b.id[0]})
		env, raw, err := events.Draft{Body: body}.Make(id)
		if err != nil {
			panic(err)
		}
		e := must(events.Link(head, must(events.EncodeRecord(env, raw))))
		head, list = e.Head(), append(list, e)
	}
	return list
}

// folded is the roster of bodies written on one feed of the attic's bench.
func folded(bodies ...events.Body) roster.Roster {
	return roster.Fold(shop, feedOf(attic, 1, 1000, bodies...))
}

func wantStanding(t *testing.T, r roster.Roster, h events.Head, want roster.Standing) {
	t.Helper()
	v := r.Counts(h)
	if v.Standing != want || v.Counts() != (want == roster.Counted) || v.Words == "" {
		t.Errorf("head %d of %s: standing %d (%s), want %d", h.Seq, h.Feed.Short(), v.Standing, v.Words, want)
	}
}

// same compares rosters deeply, unexported parts too.
func same(a, b roster.Roster) string { return cmp.Diff(a, b, cmp.Exporter(everything)) }

func matters(r roster.Roster) (list []roster.Matter) {
	for _, c := range r.Conflicts() {
		list = append(list, c.Matter)
	}
	return list
}

// withoutCarriers compares rosters but for where things were found.
func withoutCarriers(a, b roster.Roster) string {
	return cmp.Diff(a, b, cmp.Exporter(everything), cmp.Comparer(func(roster.Carrier, roster.Carrier) bool { return true }),
		cmp.Comparer(func(a, b []roster.Refusal) bool { return len(a) == len(b) }))
}

// signatureOf signs with Go's own Ed25519, past the code under test.
func signatureOf(k events.BenchKey, statement []byte) []byte {
	_, seed, err := nkeys.DecodeSeed(must(k.Seed()))
	if err != nil {
		panic(err)
	}
	return ed25519.Sign(ed25519.NewKeyFromSeed(seed), statement)
}
