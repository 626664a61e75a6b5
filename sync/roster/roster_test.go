package roster_test

import (
	"errors"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/sync/roster"
)

func everything(reflect.Type) bool { return true }

func TestABenchCountsOnceAnOwnerAdmittedIt_P12(t *testing.T) {
	r := folded(founding, attic.admission("attic", 1), counter.admission("counter", 2))
	wantStanding(t, r, attic.head(1, 5, 0), roster.Counted)
	wantStanding(t, r, counter.head(7, 900, 0), roster.Counted)
	wantStanding(t, r, cellar.head(1, 1, 0), roster.NotAdmitted)
	if upTo, all := r.Counted(attic.feed(9)); !all || upTo != math.MaxUint64 {
		t.Errorf("counted up to %d, all %t", upTo, all)
	}
	if upTo, all := r.Counted(cellar.feed(9)); all || upTo != 0 {
		t.Errorf("of a stranger's feed up to %d, all %t", upTo, all)
	}
	if name, ok := r.Founded(); !ok || name != "Quayside Wireless Repair" || r.Shop() != shop {
		t.Errorf("founded %q, %t", name, ok)
	}
	b, ok := r.Bench(counter.id)
	if !ok || b.Name != "counter" || b.Number != 2 || b.Retired || b.Admitted.Place.Seq != 4 || b.Admitted.Place.Feed != attic.feed(1) {
		t.Errorf("bench %+v", b)
	}
	if n := len(r.Benches()); n != 2 || len(r.Conflicts()) != 0 {
		t.Errorf("%d benches, conflicts %v", n, r.Conflicts())
	}
}

func TestNobodyBelongsToAShopWhoseFoundingIsNotHere_P12(t *testing.T) {
	r := folded(attic.admission("attic", 1))
	wantStanding(t, r, attic.head(1, 1, 0), roster.NotAdmitted)
	if _, ok := r.Founded(); ok || len(r.Owners()) != 0 || !strings.Contains(r.Counts(attic.head(1, 1, 0)).Words, "founding") {
		t.Errorf("owners %v, %s", r.Owners(), r.Counts(attic.head(1, 1, 0)).Words)
	}
}

// A bench that wrote for a week before its admission came through loses
// nothing of that week, on whichever feed the admission lies.
func TestWhatABenchWroteBeforeItsAdmissionCounts_P12(t *testing.T) {
	early := feedOf(counter, 1, 1000, events.TermAdded{Table: "work", ID: "w", Name: "w"})
	home := feedOf(attic, 1, 9000, founding, attic.admission("attic", 1))
	b := roster.NewBook(shop)
	b.Add(slices.Concat(early, home)...)
	wantStanding(t, b.Roster(), early[1].Head(), roster.NotAdmitted)
	b.Add(feedOf(attic, 2, 9900, counter.admission("counter", 2))...)
	wantStanding(t, b.Roster(), early[1].Head(), roster.Counted)
}

func TestWhatANamedOwnerSignsCountsAsTheFounders_P12(t *testing.T) {
	named := must(founder.NameOwner(shop, idOf(drawer), "in the drawer"))
	byDrawer := must(drawer.Admit(shop, counter.id, "counter", 2))
	further := must(drawer.NameOwner(shop, idOf(safe), "in the safe"))
	bySafe := must(safe.Retire(shop, counter.id, nil, ""))

	r := folded(founding, byDrawer)
	wantStanding(t, r, counter.head(1, 1, 0), roster.NotAdmitted)
	r = folded(bySafe, further, byDrawer, named, founding)
	if n := len(r.Owners()); n != 3 {
		t.Errorf("%d owners, want 3", n)
	}
	if b, _ := r.Bench(counter.id); b.Name != "counter" || !b.Retired {
		t.Errorf("bench %+v", b)
	}
	if _, n := r.Refused(); n != 0 {
		t.Errorf("%d refused", n)
	}
	statement := events.ForgetStatement(shop, half(3))
	sig := func(k events.BenchKey) []byte { return signatureOf(k, statement) }
	for _, k := range []events.BenchKey{founder, drawer, safe} {
		if err := r.OwnerSigned(statement, sig(k)); err != nil {
			t.Errorf("an owner's signature: %v", err)
		}
	}
	for name, sig := range map[string][]byte{"a stranger's": sig(stranger), "another statement's": byDrawer.Signature, "none": nil} {
		if err := r.OwnerSigned(statement, sig); !errors.Is(err, roster.ErrNotOwner) {
			t.Errorf("%s signature: %v", name, err)
		}
	}
}

func TestOfARetiredBenchOnlyWhatItsHeadsCoverCounts_P12(t *testing.T) {
	retired := must(founder.Retire(shop, counter.id, []events.Head{counter.head(1, 9, 0), counter.head(2, 4, 0)}, "stolen"))
	r := folded(founding, counter.admission("counter", 2), retired)
	for _, c := range []struct {
		h    events.Head
		want roster.Standing
	}{
		{counter.head(1, 1, 0), roster.Counted},
		{counter.head(1, 8, 0), roster.Counted},
		{counter.head(1, 9, 0), roster.Counted},
		{counter.head(1, 9, 1), roster.OtherBranch},
		{counter.head(1, 10, 0), roster.Beyond},
		{counter.head(2, 4, 0), roster.Counted},
		{counter.head(2, 5, 0), roster.Beyond},
		{counter.head(3, 1, 0), roster.Beyond},
	} {
		wantStanding(t, r, c.h, c.want)
	}
	for run, want := range map[byte]uint64{1: 9, 2: 4, 3: 0} {
		if upTo, all := r.Counted(counter.feed(run)); upTo != want || all {
			t.Errorf("feed %d counts up to %d, all %t; want %d", run, upTo, all, want)
		}
	}
	if b, _ := r.Bench(counter.id); !b.Retired || b.Why != "stolen" || len(b.Counted) != 2 {
		t.Errorf("bench %+v", b)
	}
	if w := r.Counts(counter.head(1, 12, 0)).Words; !strings.Contains(w, "up to 9") || !strings.Contains(w, "12") {
		t.Errorf("words %q", w)
	}
}

// There is no "again" in a set: an admission and a retirement of one key are
// the same two statements whichever came first.
func TestARetiredKeyNeverComesBack_P12(t *testing.T) {
	retired := must(founder.Retire(shop, counter.id, nil, ""))
	for _, again := range []events.BenchAdmitted{counter.admission("counter", 2), counter.admission("counter again", 3)} {
		r := folded(founding, counter.admission("counter", 2), retired, again)
		wantStanding(t, r, counter.head(1, 1, 0), roster.Beyond)
	}
	r := folded(founding, counter.admission("counter", 2), retired, cellar.admission("counter", 3))
	wantStanding(t, r, cellar.head(1, 1, 0), roster.Counted)
	if len(r.Conflicts()) != 0 {
		t.Errorf("a laptop with its name and another key: %v", r.Conflicts())
	}
}

func TestTheStricterOfTwoRetirementsHolds_P12(t *testing.T) {
	type heads []events.Head
	h := counter.head
	for name, c := range map[string]struct{ one, other, left heads }{
		"equal":                       {heads{h(1, 9, 0)}, heads{h(1, 9, 0)}, heads{h(1, 9, 0)}},
		"lower number":                {heads{h(1, 9, 0), h(2, 3, 0)}, heads{h(1, 7, 0), h(2, 5, 0)}, heads{h(1, 7, 0), h(2, 3, 0)}},
		"left out":                    {heads{h(1, 9, 0), h(2, 3, 0)}, heads{h(1, 9, 0)}, heads{h(1, 9, 0)}},
		"nothing":                     {heads{h(1, 9, 0)}, nil, nil},
		"two branches":                {heads{h(1, 9, 0)}, heads{h(1, 9, 1)}, nil},
		"twice in one list":           {heads{h(1, 9, 0), h(1, 5, 0)}, heads{h(1, 8, 0)}, heads{h(1, 5, 0)}},
		"twice in one, not in other":  {heads{h(1, 9, 0), h(1, 5, 0)}, heads{h(2, 8, 0)}, nil},
		"branches above a lower head": {heads{h(1, 9, 0), h(1, 9, 1)}, heads{h(1, 3, 0)}, nil},
	} {
		one, other := must(founder.Retire(shop, counter.id, c.one, "a")), must(founder.Retire(shop, counter.id, c.other, "b"))
		for _, order := range [][]events.Body{{one, other}, {other, one}} {
			r := folded(append(order, founding, counter.admission("counter", 2))...)
			b, _ := r.Bench(counter.id)
			if !slices.Equal(b.Counted, []events.Head(c.left)) || b.Why != "a; b" {
				t.Errorf("%s: counted %v, why %q; want %v", name, b.Counted, b.Why, c.left)
			}
			if shown := slices.Contains(matters(r), roster.RetiredTwice); shown == (name == "equal") {
				t.Errorf("%s: conflict shown: %t", name, shown)
			}
		}
	}
}

func TestReleasedEventsCountAfterAll_P12(t *testing.T) {
	retired := must(founder.Retire(shop, counter.id, []events.Head{counter.head(1, 5, 0)}, ""))
	stricter := must(drawer.Retire(shop, counter.id, nil, ""))
	released := must(founder.Release(shop, counter.id, []events.Head{counter.head(1, 8, 0), counter.head(2, 3, 0)}, "honest work"))
	branch := must(founder.Release(shop, counter.id, []events.Head{counter.head(1, 8, 1)}, ""))
	base := []events.Body{founding, must(founder.NameOwner(shop, idOf(drawer), "")), counter.admission("counter", 2), retired}

	wantStanding(t, folded(base...), counter.head(2, 3, 0), roster.Beyond)
	for _, more := range [][]events.Body{{released}, {released, stricter}} {
		r := folded(append(base, more...)...)
		wantStanding(t, r, counter.head(1, 8, 0), roster.Counted)
		wantStanding(t, r, counter.head(1, 8, 1), roster.OtherBranch)
		wantStanding(t, r, counter.head(1, 9, 0), roster.Beyond)
		wantStanding(t, r, counter.head(2, 3, 0), roster.Counted)
	}
	r := folded(append(base, released, branch)...)
	wantStanding(t, r, counter.head(1, 8, 1), roster.Counted)
	if n := len(r.Heads(counter.feed(1))); n != 3 {
		t.Errorf("%d heads of the feed, want the retirement's and both branches", n)
	}
	r = folded(founding, counter.admission("counter", 2), released)
	wantStanding(t, r, counter.head(5, 99, 0), roster.Counted) // not retired at all
}

func TestNamesAndNumbersThatDifferAreShown_P12(t *testing.T) {
	r := folded(founding, counter.admission("till", 3), counter.admission("counter", 2), counter.admission("desk", 2),
		attic.admission("attic", 2), cellar.admission("attic", 4))
	b, _ := r.Bench(counter.id)
	if b.Name != "counter" || b.Number != 2 {
		t.Errorf("stands as %s with number %d", b.Name, b.Number)
	}
	want := []roster.Matter{roster.AdmittedTwice, roster.AdmittedTwice, roster.NumberShared, roster.NameShared}
	if got := matters(r); !slices.Equal(got, want) {
		t.Errorf("matters %v, want %v", got, want)
	}
	for _, c := range r.Conflicts() {
		if c.Words == "" || len(c.Benches) == 0 || c.Matter == roster.NumberShared && len(c.Benches) != 2 {
			t.Errorf("conflict %+v", c)
		}
	}
	// A retired bench's number stays taken, its name does not.
	r = folded(founding, counter.admission("counter", 2), must(founder.Retire(shop, counter.id, nil, "")), attic.admission("counter", 2))
	if got := matters(r); !slices.Equal(got, []roster.Matter{roster.NumberShared}) {
		t.Errorf("matters %v", got)
	}
}

// Two pages of one shop show the same list in the same order.
func TestMattersAreListedInOneOrder_P12(t *testing.T) {
	bodies := []events.Body{founding}
	for n := range byte(12) {
		bodies = append(bodies, benchOf(50+n).admission(string('a'+rune(n/2)), uint32(n/2)+1))
	}
	first := folded(bodies...)
	if n := len(first.Conflicts()); n != 12 {
		t.Fatalf("%d matters, want six numbers and six names", n)
	}
	for range 20 {
		if d := same(first, folded(bodies...)); d != "" {
			t.Fatalf("(-once +again)\n%s", d)
		}
	}
}

// A roster is a value: what a caller does to a list it was given changes none.
func TestARosterIsAValue(t *testing.T) {
	retired := must(founder.Retire(shop, counter.id, []events.Head{counter.head(1, 5, 0)}, ""))
	bodies := []events.Body{founding, counter.admission("counter", 2), retired, must(stranger.Admit(shop, cellar.id, "x", 3)),
		must(founder.Retire(shop, counter.id, []events.Head{counter.head(1, 6, 0)}, ""))}
	r, fresh := folded(bodies...), folded(bodies...)
	r.Owners()[0] = events.BenchID{}
	r.Benches()[0].Counted[0].Seq = 99
	b, _ := r.Bench(counter.id)
	b.Counted[0].Seq = 99
	r.Heads(counter.feed(1))[0].Seq = 99
	r.Conflicts()[0].Benches[0] = events.BenchID{}
	list, _ := r.Refused()
	list[0].Why = ""
	if d := same(fresh, r); d != "" {
		t.Errorf("changed (-was +is):\n%s", d)
	}
}

func TestAnOwnerRetiresABenchOfManyFeeds_P12(t *testing.T) {
	var heads []events.Head
	for i := range 2*events.MaxList + 10 {
		h := counter.head(1, 7, 0)
		h.Feed.Incarnation[0], h.Feed.Incarnation[1] = byte(i), byte(i>>8)
		heads = append(heads, h)
	}
	list, err := roster.End(founder, shop, counter.id, heads, "sold")
	if err != nil || len(list) != 3 {
		t.Fatalf("%d events, %v", len(list), err)
	}
	r := folded(append(list, founding, counter.admission("counter", 2))...)
	for _, h := range heads {
		wantStanding(t, r, h, roster.Counted)
	}
	wantStanding(t, r, counter.head(2, 1, 0), roster.Beyond)
	forked := []events.Head{counter.head(1, 9, 0), counter.head(1, 7, 1), counter.head(1, 9, 1), counter.head(2, 3, 0)}
	r = folded(append(must(roster.End(founder, shop, counter.id, forked, "")), founding, counter.admission("counter", 2))...)
	for _, h := range forked {
		wantStanding(t, r, h, roster.Counted)
	}
	wantStanding(t, r, counter.head(1, 9, 2), roster.OtherBranch)
	if _, err := roster.End(founder, shop, attic.id, heads, ""); err == nil {
		t.Error("retired a bench with heads of another")
	}
	if list, err := roster.End(founder, shop, attic.id, nil, ""); err != nil || len(list) != 1 {
		t.Errorf("%d events, %v", len(list), err)
	}
	if _, err := roster.End(events.BenchKey{}, shop, attic.id, nil, ""); err == nil {
		t.Error("retired without a key")
	}
}

func TestBodiesWithoutTheirEventsSayTheSame(t *testing.T) {
	bodies := []events.Body{counter.admission("counter", 2), events.Note{Text: "passed over"}, founding,
		must(founder.Retire(shop, counter.id, []events.Head{counter.head(1, 4, 0)}, "")), must(stranger.Admit(shop, cellar.id, "x", 3))}
	of := roster.Of(shop, bodies...)
	if d := withoutCarriers(folded(bodies[0], bodies[2], bodies[3], bodies[4]), of); d != "" {
		t.Errorf("(-events +bodies)\n%s", d)
	}
	if b, _ := of.Bench(counter.id); b.Admitted != (roster.Carrier{}) {
		t.Errorf("admitted by %+v", b.Admitted)
	}
}
