package projections_test

import (
	"fmt"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/events/hlc"
	"oldhand/projections"
)

// story is events told one after the other. Each is given to a fresh store in
// every one of several orders, and what it comes to must be the same.
type story struct {
	t     *testing.T
	heads map[int]events.Head
	all   []events.Event
	named map[string]events.Event
}

func newStory(t *testing.T) *story {
	return &story{t: t, heads: map[int]events.Head{}, named: map[string]events.Event{}}
}

// tell adds an event of a bench under a name. Day is the day it happened on;
// about and visit name earlier events, about itself being a new unit.
func (s *story) tell(bench int, name, about, visit string, day int, b events.Body) {
	s.t.Helper()
	head, ok := s.heads[bench]
	if !ok {
		head = events.Head{Feed: events.FeedID{Bench: events.BenchID{byte(bench)}}, Seq: 1}
	}
	d := events.Draft{At: events.OnDay(events.Day(20_000 + day)), Body: b}
	if about != name {
		d.About = s.id(about)
	}
	if visit != "" {
		d.Visit = events.VisitID(s.id(visit))
	}
	id := events.NewEventID(hlc.Join(1_700_000_000_000+uint64(len(s.all)), 0), [8]byte{byte(len(s.all) + 1)})
	env, body, err := d.Make(id)
	if err != nil {
		s.t.Fatalf("%s: %v", name, err)
	}
	rec, err := events.EncodeRecord(env, body)
	if err != nil {
		s.t.Fatal(err)
	}
	e, err := events.Link(head, rec)
	if err != nil {
		s.t.Fatal(err)
	}
	s.heads[bench] = e.Head()
	s.all = append(s.all, e)
	s.named[name] = e
}

func (s *story) id(name string) events.EventID {
	s.t.Helper()
	e, ok := s.named[name]
	if !ok {
		s.t.Fatalf("nothing is named %q", name)
	}
	return e.ID
}

func (s *story) ids(names ...string) (list []events.EventID) {
	for _, n := range names {
		list = append(list, s.id(n))
	}
	return list
}

// correct adds a correction of named versions to a note's text.
func (s *story) correct(bench int, name, about, text string, replaces ...string) {
	s.t.Helper()
	body, err := events.EncodeBody(events.Note{Text: text})
	if err != nil {
		s.t.Fatal(err)
	}
	s.tell(bench, name, about, "", 50, events.Corrected{Replaces: s.ids(replaces...),
		Fact: events.Fact{Kind: events.KindNote, Version: 1, At: events.OnDay(20_010), Body: body}})
}

// told gives the units in words, the same from every order of arrival.
func (s *story) told() string {
	s.t.Helper()
	want := ""
	for turn := range len(s.all) {
		m := newMemory()
		for i := range s.all {
			if err := m.add(s.all[(i+turn)%len(s.all)]); err != nil {
				s.t.Fatal(err)
			}
		}
		got := s.words(m)
		if turn == 0 {
			want = got
		}
		if got != want {
			s.t.Fatalf("arriving from the %dth on:\n%s\nfrom the first on:\n%s", turn, got, want)
		}
	}
	return want
}

// words is every unit with its ids, visits and entries, by the names of the
// story.
func (s *story) words(r projections.Reader) string {
	name := map[events.EventID]string{}
	for n, e := range s.named {
		name[e.ID] = n
	}
	var b strings.Builder
	err := projections.EachHistory(r, func(h *projections.History) (bool, error) {
		for i, m := range h.Members {
			b.WriteString(strings.Repeat("+", min(i, 1)) + name[events.EventID(m)])
		}
		for _, v := range h.Visits {
			fmt.Fprintf(&b, " [%s", []string{"open", "ended", "end unknown"}[v.End])
			for _, e := range v.Entries {
				fmt.Fprintf(&b, " %s", name[e.ID])
				if n, ok := e.Decode().(events.Note); ok {
					fmt.Fprintf(&b, "=%s", n.Text)
				}
			}
			b.WriteString("]")
		}
		for _, e := range h.Withdrawn {
			fmt.Fprintf(&b, " withdrawn:%s", name[e.ID])
		}
		for _, c := range h.Conflicts {
			fmt.Fprintf(&b, " conflict:%s", name[c.Fact])
			for _, v := range c.Versions {
				fmt.Fprintf(&b, "/%s", name[v])
			}
		}
		b.WriteString("\n")
		return true, nil
	})
	if err != nil {
		s.t.Fatal(err)
	}
	return b.String()
}

func (s *story) wants(lines ...string) {
	s.t.Helper()
	if got, want := s.told(), strings.Join(lines, "\n")+"\n"; got != want {
		s.t.Errorf("got:\n%swant:\n%s", got, want)
	}
}

// noted is a unit U with a note N.
func noted(t *testing.T) *story {
	s := newStory(t)
	s.tell(1, "U", "U", "", 1, events.Received{Model: "R-950"})
	s.tell(1, "N", "U", "U", 2, events.Note{Text: "first"})
	return s
}

func TestP7_ALaterCorrectionStandsOverTheOneItSaw(t *testing.T) {
	s := noted(t)
	s.correct(2, "C", "U", "second", "N")
	s.correct(1, "D", "U", "third", "C")
	s.wants("U [open U N=third]")
}

func TestP7_F28_CorrectionsThatDidNotSeeEachOtherAreBothKept(t *testing.T) {
	s := noted(t)
	s.correct(1, "C", "U", "mine", "N")
	s.correct(2, "D", "U", "yours", "N")
	s.wants("U [open U N=yours] conflict:N/D/C")
	s.tell(1, "S", "U", "", 51, events.Settled{Settles: s.ids("C", "D"), Keep: s.id("C")})
	s.wants("U [open U N=mine]")
}

func TestF28_ACorrectionAndAWithdrawalThatDidNotSeeEachOtherAreAConflict(t *testing.T) {
	s := noted(t)
	s.correct(1, "C", "U", "better", "N")
	s.tell(2, "W", "U", "", 50, events.Withdrawn{Withdraws: s.ids("N")})
	s.wants("U [open U N=better] conflict:N/C/W")
	s.tell(1, "S", "U", "", 51, events.Settled{Settles: s.ids("C", "W"), Keep: s.id("W")})
	s.wants("U [open U] withdrawn:N")
}

func TestAWithdrawalOfACorrectionBringsBackWhatItReplaced(t *testing.T) {
	s := noted(t)
	s.correct(1, "C", "U", "worse", "N")
	s.tell(1, "W", "U", "", 50, events.Withdrawn{Withdraws: s.ids("C")})
	s.wants("U [open U N=first]")
	s.tell(1, "X", "U", "", 51, events.Withdrawn{Withdraws: s.ids("W")})
	s.wants("U [open U N=worse]")
}

func TestAWithdrawalNamingAllVersionsTakesTheFactAway(t *testing.T) {
	s := noted(t)
	s.correct(1, "C", "U", "second", "N")
	s.correct(1, "D", "U", "third", "C")
	s.tell(1, "W", "U", "", 50, events.Withdrawn{Withdraws: projections.Versions(s.all, s.id("N"))})
	s.wants("U [open U] withdrawn:N")
}

// twoUnits are A and B, each with a visit.
func twoUnits(t *testing.T) *story {
	s := newStory(t)
	s.tell(1, "A", "A", "", 1, events.Received{Model: "R-950", Serial: "E1"})
	s.tell(1, "shipA", "A", "A", 5, events.Shipped{Outcome: "repaired"})
	s.tell(2, "B", "B", "", 20, events.Received{Model: "R-950", Serial: "E7"})
	return s
}

func TestF29_JoinedUnitsHaveOnePastAndPartedOnesTwo(t *testing.T) {
	s := twoUnits(t)
	s.wants("A [ended A shipA]", "B [open B]")
	s.tell(2, "J", "B", "", 21, events.SameUnit{Other: events.UnitID(s.id("A"))})
	s.wants("A+B [ended A shipA] [open B]")
	s.tell(1, "P", "A", "", 22, events.NotSameUnit{Other: events.UnitID(s.id("B")), Undoes: s.ids("J")})
	s.wants("A [ended A shipA] withdrawn:J", "B [open B] withdrawn:J")
}

func TestF30_JoiningEachWayRoundGivesTheSameRoot(t *testing.T) {
	s := twoUnits(t)
	s.tell(1, "J", "A", "", 21, events.SameUnit{Other: events.UnitID(s.id("B"))})
	s.tell(2, "K", "B", "", 21, events.SameUnit{Other: events.UnitID(s.id("A"))})
	s.wants("A+B [ended A shipA] [open B]")
}

func TestAPartingDoesNotUndoAJoinItsWriterDidNotSee(t *testing.T) {
	s := twoUnits(t)
	s.tell(1, "J", "A", "", 21, events.SameUnit{Other: events.UnitID(s.id("B"))})
	s.tell(2, "P", "B", "", 21, events.NotSameUnit{Other: events.UnitID(s.id("A"))})
	s.wants("A+B [ended A shipA] [open B]")
}

func TestAVisitNobodyEndedEndsUnknownWhenTheUnitComesAgain(t *testing.T) {
	s := newStory(t)
	s.tell(1, "U", "U", "", 1, events.Received{Model: "R-950"})
	s.tell(1, "V", "U", "", 90, events.Received{Model: "R-950"})
	s.wants("U [end unknown U] [open V]")
	// The shipping turns up late, in the other bench's book.
	s.tell(2, "late", "U", "U", 14, events.Shipped{Outcome: "repaired"})
	s.wants("U [ended U late] [open V]")
}

func TestTwoIntakesOfOneDayAreOneVisit(t *testing.T) {
	s := twoUnits(t)
	s.tell(1, "C", "C", "", 20, events.Received{Model: "R-950", Serial: "E8"})
	s.tell(1, "n", "C", "C", 21, events.Note{Text: "x"})
	s.tell(2, "J", "B", "", 22, events.SameUnit{Other: events.UnitID(s.id("C"))})
	s.wants("A [ended A shipA]", "B+C [open B C n=x]")
}

func TestALateFactGoesToTheVisitItsDayLiesIn(t *testing.T) {
	s := newStory(t)
	s.tell(1, "U", "U", "", 1, events.Received{Model: "R-950"})
	s.tell(1, "ship", "U", "U", 9, events.Shipped{Outcome: "repaired"})
	s.tell(1, "V", "U", "", 90, events.Received{Model: "R-950"})
	s.tell(2, "n", "U", "", 4, events.Note{Text: "x"})
	s.wants("U [ended U n=x ship] [open V]")
}

func TestP11_AnEventOfAnUnknownKindStandsInTheHistoryUnread(t *testing.T) {
	s := noted(t)
	env := events.Envelope{ID: events.EventID{0, 1, 2}, Kind: 90, Version: 1, About: s.id("U"), At: events.OnDay(20_003)}
	rec, err := events.EncodeRecord(env, events.RawBody{0xa1, 0x01, 0x02})
	if err != nil {
		t.Fatal(err)
	}
	e, err := events.Link(s.heads[1], rec)
	if err != nil {
		t.Fatal(err)
	}
	s.all, s.named["new kind"] = append(s.all, e), e
	s.wants("U [open U N=first new kind]")
	if line := e.Line(); !strings.Contains(line, "newer version") {
		t.Errorf("its line: %s", line)
	}
}

func TestAJoinWithNothingIsAboutItsUnitAlone(t *testing.T) {
	s := noted(t)
	body, err := events.EncodeBody(events.SameUnit{})
	if err != nil {
		t.Fatal(err)
	}
	rec, err := events.EncodeRecord(events.Envelope{ID: events.EventID{9}, Kind: events.KindSameUnit, Version: 1, About: s.id("U"), At: events.OnDay(20_003)}, body)
	if err != nil {
		t.Fatal(err)
	}
	e, err := events.Link(s.heads[1], rec)
	if err != nil {
		t.Fatal(err)
	}
	s.all, s.named["J"] = append(s.all, e), e
	s.wants("U [open U N=first]")
}
