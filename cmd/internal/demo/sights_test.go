package demo

import (
	"errors"
	"slices"
	"testing"

	"oldhand/events"
)

// stories are those that the sights are looked for in.
var stories = []Options{{Seed: 1, Units: 200}, {Seed: 2, Units: 200}, {Seed: 1}}

// seen is a story by unit, with the units that a serial was received under.
type seen struct {
	told
	t    *testing.T
	unit map[events.UnitID][]events.Event
}

var kept = map[Options]told{}

// toldOnce keeps the few stories that all sights are looked for in. The tests
// that use it run one after the other.
func toldOnce(t *testing.T, o Options) told {
	if _, ok := kept[o]; !ok {
		kept[o] = tell(t, o)
	}
	return kept[o]
}

// eachStory looks at a sight, by the title it has in Sights, in every story.
func eachStory(t *testing.T, title string, look func(s seen, unit events.UnitID)) {
	t.Helper()
	i := slices.IndexFunc(Sights, func(s Sight) bool { return s.Title == title })
	if i < 0 {
		t.Fatalf("no sight %q", title)
	}
	for _, o := range stories {
		s := seen{told: toldOnce(t, o), t: t, unit: map[events.UnitID][]events.Event{}}
		for _, e := range s.events {
			s.unit[e.Unit()] = append(s.unit[e.Unit()], e)
		}
		units := s.withSerial(Sights[i].Model, Sights[i].Serial)
		if len(units) != 1 {
			t.Fatalf("%d units have serial %s", len(units), Sights[i].Serial)
		}
		look(s, units[0])
	}
}

func (s seen) withSerial(model, serial string) (units []events.UnitID) {
	found, bodies := of[events.Received](s.t, s.events)
	for i, e := range found {
		if events.Key(bodies[i].Serial) == events.Key(serial) && bodies[i].Model == model && !slices.Contains(units, e.Unit()) {
			units = append(units, e.Unit())
		}
	}
	return units
}

// one wants a single event of a type about a unit.
func one[B events.Body](s seen, unit events.UnitID) (events.Event, B) {
	s.t.Helper()
	found, bodies := of[B](s.t, s.unit[unit])
	if len(found) != 1 {
		var zero B
		s.t.Fatalf("%d events of kind %s, want one", len(found), zero.Kind())
	}
	return found[0], bodies[0]
}

// earlier wants ids to be of earlier events about the unit, of a kind.
func (s seen) earlier(unit events.UnitID, kind events.Kind, by events.Event, ids ...events.EventID) {
	s.t.Helper()
	for _, id := range ids {
		i := slices.IndexFunc(s.unit[unit], func(e events.Event) bool { return e.ID == id })
		if i < 0 || s.unit[unit][i].Kind != kind || i >= slices.IndexFunc(s.unit[unit], func(e events.Event) bool { return e.ID == by.ID }) {
			s.t.Fatalf("%s names %s, which is no earlier %s of the unit", by.Kind, id, kind)
		}
	}
}

func TestSightsAreListedWithATitleAndASerialEach(t *testing.T) {
	if len(Sights) < 18 {
		t.Errorf("%d sights", len(Sights))
	}
	for _, s := range Sights {
		if s.Title == "" || s.Maker == "" || s.Model == "" || s.Serial == "" {
			t.Errorf("sight %+v", s)
		}
	}
}

func TestACorrectionReplacesAReading(t *testing.T) {
	eachStory(t, "a reading mistyped, then corrected", func(s seen, u events.UnitID) {
		e, b := one[events.Corrected](s, u)
		s.earlier(u, events.KindReadingTaken, e, b.Replaces...)
		body, err := events.DecodeBody(b.Fact.Kind, b.Fact.Version, b.Fact.Body)
		if r, ok := body.(events.ReadingTaken); err != nil || !ok || r.Text != "41 mV" || r.Point != "FM" {
			t.Errorf("corrected to %v, %v", body, err)
		}
	})
}

func TestTwoCorrectionsOfOneFaultStandBesideEachOther(t *testing.T) {
	for title, settled := range map[string]int{
		"two corrections of one fault that did not see each other: a conflict to settle": 0,
		"two corrections of one fault, settled since":                                    1,
	} {
		eachStory(t, title, func(s seen, u events.UnitID) {
			found, bodies := of[events.Corrected](t, s.unit[u])
			if len(found) != 2 || bodies[0].Replaces[0] != bodies[1].Replaces[0] || found[0].Feed.Bench == found[1].Feed.Bench {
				t.Fatalf("%d corrections: %v", len(found), bodies)
			}
			s.earlier(u, events.KindFaultFound, found[0], bodies[0].Replaces...)
			by, settles := of[events.Settled](t, s.unit[u])
			if len(settles) != settled {
				t.Fatalf("settled %d times, want %d", len(settles), settled)
			}
			for i := range settles {
				s.earlier(u, events.KindCorrected, by[i], settles[i].Settles...)
			}
		})
	}
}

func TestAWithdrawnEntryIsAPartOfTheSameUnit(t *testing.T) {
	eachStory(t, "a part entered on the wrong unit and withdrawn", func(s seen, u events.UnitID) {
		e, b := one[events.Withdrawn](s, u)
		s.earlier(u, events.KindPartReplaced, e, b.Withdraws...)
	})
}

func TestAUnitEnteredTwiceHasTwoTagsAndIsJoined(t *testing.T) {
	eachStory(t, "one unit entered twice under two tags, and joined", func(s seen, u events.UnitID) {
		joins, bodies := of[events.SameUnit](t, s.events)
		i := slices.IndexFunc(bodies, func(b events.SameUnit) bool { return b.Other == u })
		if i < 0 {
			t.Fatal("not joined")
		}
		_, first := one[events.Received](s, u)
		_, second := one[events.Received](s, joins[i].Unit())
		if first.Tag == "" || second.Tag == "" || first.Tag == second.Tag || second.Serial != "" || second.Model != first.Model {
			t.Errorf("entered as %+v and %+v", first, second)
		}
	})
}

func TestTwoUnitsJoinedByMistakeArePartedAgain(t *testing.T) {
	eachStory(t, "two units joined by mistake and parted again", func(s seen, u events.UnitID) {
		apart, bodies := of[events.NotSameUnit](t, s.events)
		if len(apart) != 1 || bodies[0].Other != u {
			t.Fatalf("parted: %v", bodies)
		}
		s.earlier(apart[0].Unit(), events.KindSameUnit, apart[0], bodies[0].Undoes...)
	})
}

func TestAMistypedSerialIsASwapAwayAndNotJoined(t *testing.T) {
	eachStory(t, "a serial mistyped at the second visit, not joined: offered as a likely match", func(s seen, u events.UnitID) {
		_, first := one[events.Received](s, u)
		others := s.withSerial(first.Model, "U65-905374")
		if first.Serial != "U65-905734" || len(others) != 1 || others[0] == u {
			t.Fatalf("serial %s; %d units have it mistyped", first.Serial, len(others))
		}
		_, joins := of[events.SameUnit](t, s.events)
		for _, b := range joins {
			if b.Other == u || b.Other == others[0] {
				t.Error("they are joined")
			}
		}
	})
}

func TestAComeBackIsReceivedWithin90DaysOfShipping(t *testing.T) {
	eachStory(t, "a come-back within 90 days, of the same fault", func(s seen, u events.UnitID) {
		in, _ := of[events.Received](t, s.unit[u])
		out, _ := of[events.Shipped](t, s.unit[u])
		if len(in) != 2 || len(out) != 2 || in[1].At.Day-out[0].At.Day > 90 || in[1].At.Day <= out[0].At.Day {
			t.Errorf("received %d times, shipped %d times", len(in), len(out))
		}
	})
}

func TestAUnitCameSixTimesAndNamesItsVisits(t *testing.T) {
	eachStory(t, "a unit that was here six times", func(s seen, u events.UnitID) {
		in, _ := of[events.Received](t, s.unit[u])
		out, _ := of[events.Shipped](t, s.unit[u])
		if len(in) != 6 || len(out) != 6 {
			t.Fatalf("received %d times, shipped %d times", len(in), len(out))
		}
		for i := range out {
			if out[i].Visit != events.VisitID(in[i].ID) {
				t.Errorf("shipping %d is of another visit", i+1)
			}
		}
	})
}

func TestTheRestoredLaptopHasTwoFeedsBehindOneHead(t *testing.T) {
	eachStory(t, "work on a laptop that was then restored from its backup: two feeds behind one head", func(s seen, u events.UnitID) {
		began, bodies := of[events.FeedBegun](t, s.events)
		by := map[events.Head][]events.FeedID{}
		for i, e := range began {
			if bodies[i].Parent.Seq > 0 {
				by[bodies[i].Parent] = append(by[bodies[i].Parent], e.Feed)
			}
		}
		var twins []events.FeedID
		for parent, feeds := range by {
			if len(feeds) > 1 {
				twins = append(twins, feeds...)
				if number := s.number(parent.Feed.Bench); number != 2 {
					t.Errorf("it is bench %d", number)
				}
			}
		}
		if len(twins) != 2 {
			t.Fatalf("%d feeds share a parent", len(twins))
		}
		for _, f := range twins {
			if !slices.ContainsFunc(s.unit[u], func(e events.Event) bool { return e.Feed == f }) {
				t.Errorf("nothing of the unit is on feed %s", f.Short())
			}
		}
	})
}

func (s seen) number(id events.BenchID) uint32 {
	for _, b := range s.story.Benches() {
		if public, err := b.Key.Public(); err == nil && public == id {
			return b.Number
		}
	}
	return 0
}

func TestTheClockAheadGivesIdsOfLaterYearsToADayThatWasRight(t *testing.T) {
	eachStory(t, "received on the afternoon when a bench's clock stood years ahead", func(s seen, u events.UnitID) {
		e, _ := one[events.Received](s, u)
		written := moment(e.ID.Stamp().Ms()).day()
		if written-e.At.Day < 2*365 || s.number(e.Feed.Bench) != 3 || e.At.Precision != events.ToDay {
			t.Errorf("received %s, written %s at bench %d", e.At, written, s.number(e.Feed.Bench))
		}
	})
}

func TestAVisitWithoutAnEndIsFollowedByAnother(t *testing.T) {
	eachStory(t, "a visit without an end, though the unit came again", func(s seen, u events.UnitID) {
		in, _ := of[events.Received](t, s.unit[u])
		out, _ := of[events.Shipped](t, s.unit[u])
		if len(in) != 2 || len(out) != 1 || out[0].Visit != events.VisitID(in[1].ID) {
			t.Errorf("received %d times, shipped %d times", len(in), len(out))
		}
	})
}

func TestNewerKindsAndVersionsAreCarriedUnread(t *testing.T) {
	eachStory(t, "entries of a newer kind and of a newer version, which this program carries unread", func(s seen, u events.UnitID) {
		var unread []events.Event
		for _, e := range s.unit[u] {
			if _, err := e.Body(); errors.Is(err, events.ErrUnread) {
				unread = append(unread, e)
			}
		}
		if len(unread) != 2 || unread[0].Kind != 120 || unread[1].Kind != events.KindNote || unread[1].Version != 2 {
			t.Errorf("unread: %v", unread)
		}
	})
}

func TestAPhotographIsAttached(t *testing.T) {
	eachStory(t, "a photograph attached", func(s seen, u events.UnitID) {
		if _, b := one[events.EvidenceAttached](s, u); b.Type != "image/jpeg" || b.Size == 0 {
			t.Errorf("attached %v", b)
		}
	})
}

func TestAUnitStandsAndWaitsForEachOfTheFourThings(t *testing.T) {
	for title, what := range map[string]string{
		"waits for its owner": "owner", "waits for parts": "parts", "waits for payment": "payment",
		"on the bench for more than a year, waiting for a donor": "donor",
	} {
		eachStory(t, title, func(s seen, u events.UnitID) {
			in, _ := one[events.Received](s, u)
			_, wait := one[events.WaitingBegun](s, u)
			out, _ := of[events.Shipped](t, s.unit[u])
			ended, _ := of[events.WaitingEnded](t, s.unit[u])
			if wait.For != what || len(out)+len(ended) > 0 {
				t.Errorf("%s: waits for %s, shipped %d, ended %d", title, wait.For, len(out), len(ended))
			}
			if long := LastDay()-in.At.Day > 365; long != (what == "donor") {
				t.Errorf("%s: on the bench since %s", title, in.At)
			}
		})
	}
}
