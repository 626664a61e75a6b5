package roster_test

import (
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/sync/roster"

	"pgregory.net/rapid"
)

// A history is drawn from a small world, so that statements meet: few benches,
// few feeds, low numbers, names that repeat, and keys of which some are owners,
// some become owners by a chain of namings, and some never do.
var (
	signers = []events.BenchKey{founder, drawer, safe, stranger}
	likely  = append([]events.BenchKey{founder, founder, founder}, signers...)
	laptops = []bench{attic, counter, cellar}
	wraps   = drawWraps()
)

// drawWraps wraps two keys once: a wrapping drawn in a property would make a
// failure that can't be replayed.
func drawWraps() (list []events.WrappedKey) {
	for _, b := range laptops {
		list = append(list, must(events.WrapKey(shop, 1, b.id, secret)), must(events.WrapKey(shop, 1, b.id, secret)))
	}
	return list
}

func drawHeads(t *rapid.T, of bench) []events.Head {
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) events.Head {
		return of.head(byte(rapid.IntRange(1, 2).Draw(t, "run")), uint64(rapid.IntRange(1, 3).Draw(t, "seq")), byte(rapid.IntRange(0, 1).Draw(t, "branch")))
	}), 0, 4).Draw(t, "heads")
}

func drawBody(t *rapid.T) events.Body {
	by := rapid.SampledFrom(likely).Draw(t, "signer")
	of := rapid.SampledFrom(laptops).Draw(t, "bench")
	name := rapid.SampledFrom([]string{"attic", "desk"}).Draw(t, "name")
	in := rapid.SampledFrom([]events.ShopID{shop, shop, shop, otherShop}).Draw(t, "shop")
	switch rapid.IntRange(0, 8).Draw(t, "kind") {
	case 0:
		return rapid.SampledFrom([]events.ShopFounded{founding, must(stranger.Found(name, half(1)))}).Draw(t, "founding")
	case 1:
		return must(by.NameOwner(in, idOf(rapid.SampledFrom(signers[:3]).Draw(t, "owner")), name))
	case 2, 7:
		return must(by.Retire(in, of.id, drawHeads(t, of), name))
	case 3:
		return must(by.Release(in, of.id, append(drawHeads(t, of), of.head(1, 1, 0)), ""))
	case 4:
		return drawKeySet(t, by, in)
	case 5:
		return events.TermAdded{Table: "work", ID: "w", Name: "w"}
	}
	return must(by.Admit(in, of.id, name, uint32(rapid.IntRange(1, 2).Draw(t, "number"))))
}

func drawKeySet(t *rapid.T, by events.BenchKey, in events.ShopID) events.Body {
	b := events.ShopKeySet{Epoch: uint32(rapid.IntRange(1, 2).Draw(t, "epoch")), Key: events.KeyID{byte(rapid.IntRange(1, 2).Draw(t, "key"))}}
	for i := range laptops {
		if rapid.Bool().Draw(t, "reads") {
			b.Readers = append(b.Readers, wraps[2*i+rapid.IntRange(0, 1).Draw(t, "wrapping")])
		}
	}
	if len(b.Readers) == 0 {
		b.Readers = wraps[:1:1]
	}
	slices.SortFunc(b.Readers, func(x, y events.WrappedKey) int { return slices.Compare(x.Bench[:], y.Bench[:]) })
	return signedSet(by, in, b)
}

// signedSet signs a set as it is, past SetKey, which would wrap anew.
func signedSet(by events.BenchKey, in events.ShopID, b events.ShopKeySet) events.ShopKeySet {
	b.Signature = signatureOf(by, b.Statement(in))
	return b
}

// drawBodies draws statements of all kinds, and a few about one bench, or the
// rules for several retirements of one would hardly ever meet.
func drawBodies(t *rapid.T) []events.Body {
	bodies := rapid.SliceOfN(rapid.Custom(drawBody), 0, 14).Draw(t, "bodies")
	for n := range rapid.IntRange(0, 3).Draw(t, "retirements of one") {
		bodies = append(bodies, attic.admission("attic", 1), must(founder.Retire(shop, attic.id, drawHeads(t, attic), string('a'+rune(n)))))
	}
	return bodies
}

// drawHistory draws events on a few feeds. The same statement may be carried
// by several, with ids in any order.
func drawHistory(t *rapid.T) (all []events.Event) {
	bodies := drawBodies(t)
	if rapid.IntRange(0, 4).Draw(t, "founded") > 0 {
		bodies = append(bodies, founding)
	}
	for run := range byte(rapid.IntRange(1, 3).Draw(t, "feeds")) {
		picked := []events.Body{}
		for _, b := range bodies {
			if rapid.IntRange(0, 2).Draw(t, "here") > 0 {
				picked = append(picked, b)
			}
		}
		writer := rapid.SampledFrom(laptops).Draw(t, "writer")
		all = append(all, feedOf(writer, run+1, uint64(rapid.IntRange(1, 3).Draw(t, "ms")), picked...)...)
	}
	return all
}

// One question, asked in every way it can come: the whole set at once, one by
// one, in any groups, in any order, with repeats.
func TestAnyOrderGroupingAndRepeatGiveOneRoster_P12(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		set := drawHistory(t)
		want := roster.Fold(shop, set)

		told := rapid.Permutation(append(slices.Clone(set), repeats(t, set)...)).Draw(t, "order")
		book := roster.NewBook(shop)
		for done := 0; done < len(told); {
			n := rapid.IntRange(1, len(told)-done).Draw(t, "group")
			before := book.Roster()
			changed := book.Add(told[done : done+n]...)
			done += n
			now := book.Roster()
			if d := same(roster.Fold(shop, told[:done]), now); d != "" {
				t.Fatalf("after %d events (-folded +kept):\n%s", done, d)
			}
			if d := same(before, now); d != "" && !changed {
				t.Fatalf("said unchanged after %d events:\n%s", done, d)
			}
		}
		if d := same(want, book.Roster()); d != "" {
			t.Fatalf("(-folded +kept)\n%s", d)
		}
	})
}

func repeats(t *rapid.T, set []events.Event) (list []events.Event) {
	for _, e := range set {
		if rapid.IntRange(0, 3).Draw(t, "again") == 0 {
			list = append(list, e)
		}
	}
	return list
}

// Neither ids nor places weigh anything: the same statements carried by other
// events, of other times, on other feeds, say the same of everything but where
// they were found.
func TestBackDatedAndMovedEventsChangeNothing_P12_F25(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bodies := append(drawBodies(t), founding)
		moved := rapid.Permutation(bodies).Draw(t, "order")
		a := roster.Fold(shop, feedOf(attic, 1, 5000, bodies...))
		b := roster.Fold(shop, feedOf(cellar, 2, uint64(rapid.IntRange(1, 9000).Draw(t, "ms")), moved...))
		if d := withoutCarriers(a, b); d != "" {
			t.Fatalf("(-here +moved)\n%s", d)
		}
	})
}

// The strictness of P12 itself: what counts only shrinks with retirements and
// only grows with releases and admissions.
func TestARetirementNeverLetsMoreCount_P12(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bodies := append(drawBodies(t), founding)
		of := rapid.SampledFrom(laptops).Draw(t, "of")
		before := folded(bodies...)
		after := folded(append(bodies, must(founder.Retire(shop, of.id, drawHeads(t, of), "more")))...)
		released := folded(append(bodies, must(founder.Release(shop, of.id, append(drawHeads(t, of), of.head(2, 2, 0)), "more")))...)
		for run := range byte(3) {
			b, _ := before.Counted(of.feed(run))
			if a, all := after.Counted(of.feed(run)); a > b || all {
				t.Fatalf("feed %d counted up to %d, and up to %d after a retirement", run, b, a)
			}
			if a, _ := released.Counted(of.feed(run)); a < b {
				t.Fatalf("feed %d counted up to %d, and up to %d after a release", run, b, a)
			}
		}
	})
}
