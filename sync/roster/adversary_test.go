package roster_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/sync/roster"
)

// An adversary has a key, perhaps of an admitted bench, and can write any
// events that hold together. What it can't do is sign as an owner.

func wantRefused(t *testing.T, r roster.Roster, why string) {
	t.Helper()
	list, total := r.Refused()
	if total != len(list) || !slices.ContainsFunc(list, func(x roster.Refusal) bool { return strings.Contains(x.Why, why) }) {
		t.Errorf("%d refused, %+v; want one that says %q", total, list, why)
	}
}

func TestF25_AForgedAdmissionDoesNotCount_P10_P12(t *testing.T) {
	renamed, renumbered, rekeyed := attic.admission("attic", 1), attic.admission("attic", 1), attic.admission("attic", 1)
	renamed.Name, renumbered.Number, rekeyed.Bench = "other", 2, cellar.id
	for name, forged := range map[string]events.Body{
		"signed by a stranger":     must(stranger.Admit(shop, cellar.id, "cellar", 3)),
		"signed by an admitted":    must(counter.key.Admit(shop, cellar.id, "cellar", 3)),
		"signed by itself":         must(cellar.key.Admit(shop, cellar.id, "cellar", 3)),
		"an owner named by itself": must(stranger.NameOwner(shop, idOf(stranger), "me")),
		"for another bench":        rekeyed,
		"under another name":       renamed,
		"under another number":     renumbered,
	} {
		r := folded(founding, counter.admission("counter", 2), forged)
		wantStanding(t, r, cellar.head(1, 1, 0), roster.NotAdmitted)
		if len(r.Benches()) != 1 || len(r.Owners()) != 1 {
			t.Errorf("%s: %d benches, %d owners", name, len(r.Benches()), len(r.Owners()))
		}
		wantRefused(t, r, "not signed by an owner")
	}
}

func TestF26_AnAdmissionOfAnotherShopIsNotOneHere_P10_P12(t *testing.T) {
	second := must(founder.Found("Quayside Wireless Repair", half(0x23))) // the same owner's other shop
	r := folded(founding, second, must(founder.Admit(second.Shop(), cellar.id, "cellar", 3)))
	wantStanding(t, r, cellar.head(1, 1, 0), roster.NotAdmitted)
	wantRefused(t, r, "not signed by an owner")
	wantRefused(t, r, "founds another shop")

	theirs := must(stranger.Found("Their shop", half(4)))
	r = folded(founding, theirs, must(stranger.Admit(shop, cellar.id, "cellar", 3)))
	wantStanding(t, r, cellar.head(1, 1, 0), roster.NotAdmitted)
	if len(r.Owners()) != 1 {
		t.Errorf("the founder of another shop is an owner here: %v", r.Owners())
	}
	list, _ := r.Refused()
	for _, x := range list {
		if strings.Contains(x.Why, "Their shop") {
			t.Errorf("shows another shop's content: %s", x.Why)
		}
	}
}

func TestF25_NobodyButAnOwnerRetiresReleasesOrSetsKeys_P12(t *testing.T) {
	base := []events.Body{founding, counter.admission("counter", 2), cellar.admission("cellar", 3)}
	retired := must(founder.Retire(shop, cellar.id, []events.Head{cellar.head(1, 5, 0)}, ""))
	r := folded(append(base, must(cellar.key.Retire(shop, counter.id, nil, "")))...)
	wantStanding(t, r, counter.head(1, 1, 0), roster.Counted)
	r = folded(append(base, retired, must(cellar.key.Release(shop, cellar.id, []events.Head{cellar.head(1, 50, 0)}, "")))...)
	wantStanding(t, r, cellar.head(1, 6, 0), roster.Beyond)
	r = folded(append(base, must(cellar.key.SetKey(shop, 9, secret, counter.id)))...)
	if ring, _ := r.Keys(counter.key); len(ring.Epochs()) != 0 {
		t.Errorf("opened keys of epochs %v", ring.Epochs())
	}
	// A signed list with one head more is not the signed list.
	longer := retired
	longer.Counted = append(slices.Clone(retired.Counted), cellar.head(2, 9, 0))
	r = folded(append(base, longer)...)
	wantStanding(t, r, cellar.head(2, 9, 0), roster.Counted) // not retired by it
	wantRefused(t, r, "not signed by an owner")
}

// Even an owner's signature does not make a retirement of one bench speak of
// another's feeds.
func TestF25_ARetirementWithHeadsOfAnotherBenchIsRefused_P10_P12(t *testing.T) {
	mixed := events.BenchRetired{Bench: cellar.id, Counted: []events.Head{counter.head(1, 1, 0)}}
	mixed.Signature = signatureOf(founder, mixed.Statement(shop))
	bodies := []events.Body{founding, counter.admission("counter", 2), cellar.admission("cellar", 3)}
	r := roster.Fold(shop, unchecked(append(bodies, mixed)...))
	wantStanding(t, r, counter.head(1, 9, 0), roster.Counted)
	wantStanding(t, r, cellar.head(1, 9, 0), roster.Counted)
	wantRefused(t, r, "not of this bench")
}

// The thief of a retired laptop has its key: it signs another branch of the
// feed, with as many events as it likes and ids of any time.
func TestF25_AChainSignedAnewBeyondTheCutDoesNotCount_P12(t *testing.T) {
	term := func(n int) events.Body {
		return events.TermAdded{Table: "work", ID: fmt.Sprintf("w%d", n), Name: "w"}
	}
	honest := feedOf(cellar, 1, 5000, term(1), term(2), term(3))
	thief := feedOf(cellar, 1, 10, term(1), term(7), term(8), term(9), term(10))
	cut := honest[2].Head()
	retired := must(founder.Retire(shop, cellar.id, []events.Head{cut}, "stolen"))
	r := folded(founding, cellar.admission("cellar", 3), retired)
	for i, e := range honest {
		want := roster.Counted
		if uint64(i+1) > cut.Seq {
			want = roster.Beyond
		}
		wantStanding(t, r, e.Head(), want)
	}
	wantStanding(t, r, thief[2].Head(), roster.OtherBranch)
	wantStanding(t, r, thief[3].Head(), roster.Beyond)
	wantStanding(t, r, feedOf(cellar, 2, 10, term(1))[1].Head(), roster.Beyond)
}

// The statements are an owner's, whoever carries them: also the feed of the
// bench they retire.
func TestAStatementOnARetiredBenchsFeedIsStillAnOwners_P12(t *testing.T) {
	retired := must(founder.Retire(shop, cellar.id, nil, ""))
	on := feedOf(cellar, 1, 1000, founding, cellar.admission("cellar", 3), retired, counter.admission("counter", 2))
	r := roster.Fold(shop, on)
	wantStanding(t, r, counter.head(1, 1, 0), roster.Counted)
	wantStanding(t, r, on[4].Head(), roster.Beyond)
}

func TestF25_GiantListsAreRefused_P10(t *testing.T) {
	heads := make([]events.Head, events.MaxList+1)
	for i := range heads {
		heads[i] = cellar.head(byte(i), 1, byte(i>>8))
	}
	long := events.BenchRetired{Bench: cellar.id, Counted: heads}
	long.Signature = signatureOf(founder, long.Statement(shop))
	r := roster.Fold(shop, unchecked(founding, cellar.admission("cellar", 3), long))
	wantStanding(t, r, cellar.head(1, 99, 0), roster.Counted)
	wantRefused(t, r, "257 entries, at most 256")
}

// A bench that floods the shop with forgeries costs a count, not a page.
func TestF25_AFloodOfForgeriesIsCountedAndNotAllListed(t *testing.T) {
	var forged []events.Body
	for i := range roster.MaxRefused + 50 {
		forged = append(forged, must(stranger.Admit(shop, cellar.id, fmt.Sprint(i), 3)))
	}
	set := feedOf(cellar, 1, 1000, append(forged, founding, counter.admission("counter", 2))...)
	r := roster.Fold(shop, set)
	list, total := r.Refused()
	if len(list) != roster.MaxRefused || total != roster.MaxRefused+50 {
		t.Fatalf("%d of %d listed", len(list), total)
	}
	if list[0].Place != set[1].Head() || list[0].Kind != events.KindBenchAdmitted || list[0].ID != set[1].ID {
		t.Errorf("first is %+v", list[0])
	}
	wantStanding(t, r, counter.head(1, 1, 0), roster.Counted)
}

// F27: what a newer program says of the roster is carried and shown as unread.
func TestF27_AStatementOfANewerVersionIsListedAsUnread_P11(t *testing.T) {
	set := feedOf(attic, 1, 1000, founding)
	env := events.Envelope{ID: set[1].ID, Kind: events.KindBenchAdmitted, Version: 2}
	newer := must(events.Link(set[1].Head(), must(events.EncodeRecord(env, events.RawBody{0xa1, 0x01, 0x02}))))
	unread := must(events.Link(newer.Head(), must(events.EncodeRecord(events.Envelope{ID: set[1].ID, Kind: 99}, events.RawBody{0xa0}))))
	r := roster.Fold(shop, append(set, newer, unread))
	list, total := r.Refused()
	if total != 1 || list[0].Why != events.ErrUnread.Error() || list[0].Place != newer.Head() {
		t.Errorf("refused %+v of %d", list, total)
	}
}

func TestABodyThatIsNoneIsListed_P10(t *testing.T) {
	set := feedOf(attic, 1, 1000, founding)
	env := events.Envelope{ID: set[1].ID, Kind: events.KindShopKeySet, Version: 1}
	bad := must(events.Link(set[1].Head(), must(events.EncodeRecord(env, events.RawBody{0xa1, 0x01, 0x61, 'x'}))))
	r := roster.Fold(shop, append(set, bad, bad))
	wantRefused(t, r, "key.set: not an event")
	if _, total := r.Refused(); total != 1 {
		t.Errorf("%d refused, want one", total)
	}
}

// unchecked writes bodies past the rules that a log of ours would hold them to.
func unchecked(bodies ...events.Body) []events.Event {
	list := feedOf(attic, 1, 1000)
	for _, b := range bodies {
		head := list[len(list)-1].Head()
		env := events.Envelope{ID: list[0].ID, Kind: b.Kind(), Version: 1}
		env.ID[15] = byte(len(list))
		list = append(list, must(events.Link(head, must(events.EncodeRecord(env, must(events.EncodeBody(b)))))))
	}
	return list
}
