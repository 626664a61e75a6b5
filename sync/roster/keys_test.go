package roster_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/sync/roster"
)

func secretOf(n byte) events.ShopKey { return events.ShopKey(fill(n)) }

// atWork is a shop with two benches and an owner's second key.
func atWork(more ...events.Body) []events.Body {
	return append([]events.Body{founding, must(founder.NameOwner(shop, idOf(drawer), "")),
		attic.admission("attic", 1), counter.admission("counter", 2)}, more...)
}

func wantSeal(t *testing.T, r roster.Roster, k events.BenchKey, epoch uint32, want events.ShopKey) {
	t.Helper()
	ring, err := r.Keys(k)
	got, ok := ring.Sealing()
	if err != nil || !ok || got.Epoch != epoch || got.Secret != want || got.ID != want.ID(shop, epoch) {
		t.Errorf("seals with key %d (%t), %v; want key %d", got.Epoch, ok, err, epoch)
	}
}

func TestTheKeyOfTheLastEpochSealsAndAllOpen(t *testing.T) {
	one := must(founder.SetKey(shop, 1, secretOf(1), attic.id, counter.id))
	three := must(drawer.SetKey(shop, 3, secretOf(3), attic.id))
	r := folded(atWork(three, one)...)
	wantSeal(t, r, attic.key, 3, secretOf(3))
	ring, _ := r.Keys(attic.key)
	if !slices.Equal(ring.Epochs(), []uint32{1, 3}) || len(ring.Of(1)) != 1 || ring.Of(1)[0].Secret != secretOf(1) || len(ring.Of(2)) != 0 {
		t.Errorf("epochs %v", ring.Epochs())
	}
}

// What is sealed with yesterday's key is what a retired laptop can read, so a
// bench without today's key seals nothing.
func TestABenchWithoutTheLastKeySealsNothingAndReadsOn(t *testing.T) {
	one := must(founder.SetKey(shop, 1, secretOf(1), attic.id, counter.id))
	two := must(founder.SetKey(shop, 2, secretOf(2), attic.id))
	r := folded(atWork(one, two)...)
	ring, err := r.Keys(counter.key)
	if _, ok := ring.Sealing(); ok || !errors.Is(err, roster.ErrNoSealingKey) || !strings.Contains(err.Error(), "key 2") {
		t.Errorf("seals: %t, %v", ok, err)
	}
	if len(ring.Of(1)) != 1 {
		t.Error("does not read what the first key sealed")
	}
	if got := matters(r); !slices.Equal(got, []roster.Matter{roster.KeyMissing}) {
		t.Errorf("matters %v", got)
	}
	ring, err = folded(atWork()...).Keys(counter.key)
	if _, ok := ring.Sealing(); ok || !errors.Is(err, roster.ErrNoSealingKey) {
		t.Errorf("without any key: %v", err)
	}
	if _, err := r.Keys(events.BenchKey{}); err == nil {
		t.Error("opened keys with no key")
	}
}

func TestTwoKeysOfOneEpochBothOpenAndOneRulePicksTheOneThatSeals_P12(t *testing.T) {
	for _, lower := range []bool{true, false} {
		a := must(founder.SetKey(shop, 1, secretOf(1), attic.id, counter.id))
		b := must(drawer.SetKey(shop, 1, secretOf(2), attic.id, counter.id))
		want := secretOf(1)
		if slices.Compare(b.Key[:], a.Key[:]) < 0 {
			want = secretOf(2)
		}
		order := atWork(a, b)
		if lower {
			slices.Reverse(order)
		}
		r := folded(order...)
		wantSeal(t, r, attic.key, 1, want)
		wantSeal(t, r, counter.key, 1, want)
		ring, _ := r.Keys(attic.key)
		if len(ring.Of(1)) != 2 || !slices.Equal(ring.Epochs(), []uint32{1}) {
			t.Errorf("%d keys of epoch 1, epochs %v", len(ring.Of(1)), ring.Epochs())
		}
		if got := matters(r); !slices.Equal(got, []roster.Matter{roster.KeysOfEpoch}) {
			t.Errorf("matters %v", got)
		}
	}
}

// One owner knew of the theft and one did not: the key that the thief has not
// seals, whichever comes first by name.
func TestTheKeyThatNoRetiredBenchCanOpenSeals_F25(t *testing.T) {
	retired := must(founder.Retire(shop, cellar.id, nil, "stolen"))
	for n := byte(1); n < 9; n++ {
		knowing := must(founder.SetKey(shop, 2, secretOf(n), attic.id, counter.id))
		unknowing := must(drawer.SetKey(shop, 2, secretOf(n+100), attic.id, counter.id, cellar.id))
		r := folded(atWork(unknowing, knowing, retired, cellar.admission("cellar", 3))...)
		wantSeal(t, r, attic.key, 2, secretOf(n))
		if ring, err := r.Keys(cellar.key); !errors.Is(err, roster.ErrNoSealingKey) || len(ring.Of(2)) != 1 {
			t.Errorf("the stolen laptop: %v", err)
		}
	}
	r := folded(atWork(must(founder.SetKey(shop, 1, secretOf(1), attic.id, counter.id, cellar.id)), retired, cellar.admission("cellar", 3))...)
	wantSeal(t, r, attic.key, 1, secretOf(1))
	if got := matters(r); !slices.Equal(got, []roster.Matter{roster.KeyKnown}) {
		t.Errorf("matters %v, want that a retired bench knows the key", got)
	}
}

func TestRekeyLeavesOutTheRetiredAndNobodyElse_F25(t *testing.T) {
	retired := must(founder.Retire(shop, cellar.id, nil, "stolen"))
	bodies := atWork(cellar.admission("cellar", 3), must(founder.SetKey(shop, 4, secretOf(4), attic.id, counter.id, cellar.id)), retired)
	set, err := folded(bodies...).Rekey(drawer, secretOf(5))
	if err != nil || set.Epoch != 5 {
		t.Fatalf("epoch %d, %v", set.Epoch, err)
	}
	r := folded(append(bodies, set)...)
	for _, k := range []events.BenchKey{attic.key, counter.key, founder, drawer} {
		wantSeal(t, r, k, 5, secretOf(5))
	}
	if ring, err := r.Keys(cellar.key); err == nil || !slices.Equal(ring.Epochs(), []uint32{4}) {
		t.Errorf("the retired bench opens %v, %v", ring.Epochs(), err)
	}
	if len(r.Conflicts()) != 0 {
		t.Errorf("conflicts %v", r.Conflicts())
	}
	if _, err := r.Rekey(stranger, secretOf(6)); !errors.Is(err, roster.ErrNotAnOwner) {
		t.Errorf("a stranger set a key: %v", err)
	}
	if first := must(folded(atWork()...).Rekey(founder, secretOf(1))); first.Epoch != 1 {
		t.Errorf("the first epoch is %d", first.Epoch)
	}
}

func TestAJoiningBenchIsGivenTheKeysOfThePast(t *testing.T) {
	bodies := atWork(must(founder.SetKey(shop, 1, secretOf(1), attic.id)), must(founder.SetKey(shop, 2, secretOf(2), attic.id, counter.id)))
	r := folded(bodies...)
	ring := must(r.Keys(attic.key))
	sets, err := r.Share(founder, ring, cellar.id)
	if err != nil || len(sets) != 2 {
		t.Fatalf("%d sets, %v", len(sets), err)
	}
	bodies = append(bodies, sets[0], sets[1], cellar.admission("cellar", 3))
	r = folded(bodies...)
	wantSeal(t, r, cellar.key, 2, secretOf(2))
	wantSeal(t, r, attic.key, 2, secretOf(2))
	if got := must(r.Keys(cellar.key)); len(got.Of(1)) != 1 {
		t.Error("the past stays shut")
	}
	if len(r.Conflicts()) != 0 {
		t.Errorf("further readers of a key are no conflict: %v", r.Conflicts())
	}
	if _, err := r.Share(stranger, ring, cellar.id); !errors.Is(err, roster.ErrNotAnOwner) {
		t.Errorf("a stranger shared keys: %v", err)
	}
	if _, err := r.Share(founder, ring); err == nil {
		t.Error("shared with nobody")
	}
}

// A slip of an owner's program, or its malice: a wrapping of another key than
// the set names, and bytes that do not open. Neither is taken for the key, and
// a second wrapping that opens is enough.
func TestAWrappingOfAnotherKeyIsNotTakenForTheKey(t *testing.T) {
	other := must(events.WrapKey(shop, 1, attic.id, secretOf(7)))
	garbage := events.WrappedKey{Bench: attic.id, Wrapped: make([]byte, len(other.Wrapped))}
	id := secretOf(1).ID(shop, 1)
	for name, c := range map[string]struct {
		w    events.WrappedKey
		want error
	}{"another key": {other, roster.ErrOtherKey}, "garbage": {garbage, events.ErrWrapped}} {
		bad := signedSet(founder, shop, events.ShopKeySet{Epoch: 1, Key: id, Readers: []events.WrappedKey{c.w}})
		ring, err := folded(atWork(bad)...).Keys(attic.key)
		if _, ok := ring.Sealing(); ok || !errors.Is(err, c.want) || !errors.Is(err, roster.ErrNoSealingKey) || len(ring.Epochs()) != 0 {
			t.Errorf("%s: %v", name, err)
		}
		good := must(founder.SetKey(shop, 1, secretOf(1), attic.id))
		wantSeal(t, folded(atWork(bad, good)...), attic.key, 1, secretOf(1))
	}
}

func TestStepsOfAnOwnerThatCantBeTakenAreRefused(t *testing.T) {
	r := folded(atWork(must(founder.SetKey(shop, events.MaxEpoch, secretOf(1), attic.id)))...)
	if _, err := r.Rekey(founder, secretOf(2)); err == nil {
		t.Error("began an epoch past the last")
	}
	if _, err := r.Rekey(events.BenchKey{}, secretOf(2)); err == nil {
		t.Error("set a key without a key")
	}
	noKey := events.BenchAdmitted{Bench: events.BenchID{2}, Name: "no point of the curve", Number: 9}
	noKey.Signature = signatureOf(founder, noKey.Statement(shop))
	if _, err := folded(atWork(noKey)...).Rekey(founder, secretOf(2)); err == nil || !strings.Contains(err.Error(), "point") {
		t.Errorf("wrapped for what is no key: %v", err)
	}
	ring := must(r.Keys(attic.key))
	if _, err := r.Share(founder, ring, events.BenchID{2}); err == nil {
		t.Error("shared with what is no key")
	}
}
