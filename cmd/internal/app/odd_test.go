package app_test

import (
	"flag"
	"fmt"
	"runtime/debug"
	"strings"
	"testing"
	"time"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/oddshop"
	"oldhand/events"
	"oldhand/events/tag"
)

var oddSeeds = flag.Uint64("odd.seeds", 1, "how many shops with an odd bench are worked in")

// oddShop opens a shop of which one bench kept no rule.
func oddShop(t *testing.T, seed uint64) (*app.Shop, oddshop.Shop) {
	t.Helper()
	made, err := oddshop.Make(t.TempDir(), seed)
	if err != nil {
		t.Fatal(err)
	}
	s, err := app.Open(made.Dir, app.Options{State: made.State, Now: func() time.Time { return oddshop.Now }})
	if err != nil {
		t.Fatal(err)
	}
	untilTheEnd(t, s)
	return s, made
}

// oddWork is an honest bench at work on units of which an odd bench spoke.
type oddWork struct {
	t     *testing.T
	shop  *app.Shop
	saved int
	days  int
}

// do does one thing. It is saved, or refused in words that say why.
func (w *oddWork) do(what string, fn func(app.Who) (app.Saved, error)) (ok bool) {
	w.t.Helper()
	w.days++
	defer func() {
		if p := recover(); p != nil {
			w.t.Errorf("%s: panic: %v\n%s", what, p, debug.Stack())
		}
	}()
	saved, err := fn(app.Who{At: events.AtTime(oddshop.Now.Add(time.Duration(w.days) * time.Second)), By: "jo"})
	if err == nil {
		w.saved += len(saved.Events)
		return true
	}
	if testing.Verbose() {
		w.t.Logf("%s: %.200q", what, err.Error())
	}
	if class := app.ClassOf(err); class == unknownClass {
		w.t.Errorf("%s: %v", what, err)
	}
	return false
}

// unknownClass is that of an error which is of no class.
var unknownClass = app.ClassOf(fmt.Errorf("anything"))

// Work on a unit of which a bench wrote what keeps no rule goes on as on any other, or is
// refused with the reason, and nothing that was there is lost (P1, P10, F18).
func TestWorkGoesOnOnUnitsOfWhichABenchKeptNoRule(t *testing.T) {
	for seed := range *oddSeeds {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			s, made := oddShop(t, seed)
			before := verified(t, s)
			var were strings.Builder
			if _, err := s.ExportEvents(&were, app.ExportOptions{}); err != nil {
				t.Fatal(err)
			}
			w := &oddWork{t: t, shop: s}
			units := append(made.Odd[len(made.Odd)/2:], made.Honest...) // the last of these have seen most
			for i, u := range units {
				w.visit(u, units[(i+1)%len(units)])
			}
			after := verified(t, s)
			if !after.OK {
				t.Errorf("not sound: %s", after.Wrong)
			}
			if after.Events < before.Events+uint64(w.saved) || w.saved < 100 {
				t.Errorf("%d events were there and %d saved; there are %d", before.Events, w.saved, after.Events)
			}
			var are strings.Builder
			if _, err := s.ExportEvents(&are, app.ExportOptions{}); err != nil {
				t.Fatal(err)
			}
			for line := range strings.Lines(were.String()) {
				if head := strings.Contains(line, `"oldhand.export.head.v1"`); !head && !strings.Contains(are.String(), line) {
					t.Errorf("an event is gone: %.300s", line)
				}
			}
		})
	}
}

// visit is what an honest bench does with a unit while it is there.
func (w *oddWork) visit(u, other string) {
	s := w.shop
	w.do("ship", func(who app.Who) (app.Saved, error) { return s.Ship(u, who, events.Shipped{Outcome: "repaired"}) })
	in := false
	for _, maker := range []string{"", "Ostrel"} { // of a unit of which nothing is known that can be said again something is typed
		in = in || w.do("receive", func(who app.Who) (app.Saved, error) {
			r, err := s.Receive(app.Intake{Unit: u, Claim: events.Received{Maker: maker, Complaint: "hums"}, Customer: events.Personal{Name: "Odile Marchbanks"}, Who: who})
			return r.Saved, err
		})
	}
	const words = "an honest bench's note"
	noted := w.do("note", func(who app.Who) (app.Saved, error) { return s.Record(u, who, events.Note{Text: words}) })
	if !in || !noted {
		w.t.Errorf("%s: received again: %v, noted: %v", u, in, noted)
	}
	w.do("diagnose", func(who app.Who) (app.Saved, error) {
		return s.Record(u, who, app.Faults("filter caps leaky", events.FaultFound{})...)
	})
	w.do("replace", func(who app.Who) (app.Saved, error) {
		return s.Record(u, who, events.PartReplaced{Designator: "C1", In: events.Marking{Text: "47 MFD"}, Reason: "failed"})
	})
	w.do("measure", func(who app.Who) (app.Saved, error) {
		r, _, err := app.Reading(events.ReadingTaken{Point: "AM", Text: "95 mV", Stage: events.AsLeft})
		if err != nil {
			return app.Saved{}, err
		}
		return s.Record(u, who, r)
	})
	w.do("wait", func(who app.Who) (app.Saved, error) { return s.Wait(u, who, events.WaitingBegun{For: "parts"}) })
	w.do("resume", func(who app.Who) (app.Saved, error) { return s.Resume(u, who, "") })
	w.entries(u)
	w.do("test", func(who app.Who) (app.Saved, error) {
		return s.Record(u, who, events.FinalTest{Verdict: events.Passed})
	})
	w.do("ship", func(who app.Who) (app.Saved, error) {
		return s.Ship(u, who, events.Shipped{Outcome: "repaired", WarrantyDays: 90, Charge: 12050, Currency: "USD"})
	})
	w.shows(u, words)
	w.do("same", func(who app.Who) (app.Saved, error) { return s.Same(u, other, "looks like it", who) })
	w.shows(u, words)
	w.do("apart", func(who app.Who) (app.Saved, error) { return s.Apart(u, other, "it is not", who) })
	w.shows(u, words)
}

// shows fails where the past of a unit does not have an honest note, once.
func (w *oddWork) shows(u, words string) {
	w.t.Helper()
	p, err := w.shop.Past(u, 1)
	if err != nil || len(p.Matches) != 1 {
		w.t.Errorf("the past of %s: %v", u, err)
		return
	}
	for _, v := range p.Matches[0].Visits {
		for _, l := range v.Lines {
			if l.Line == "note: "+words {
				return
			}
		}
	}
	w.t.Errorf("the past of %s does not have the note", u)
}

// entries corrects, takes back and brings back what stands in a unit's past, and settles
// what is in conflict.
func (w *oddWork) entries(u string) {
	p, err := w.shop.Past(u, 1)
	if err != nil || len(p.Matches) != 1 {
		w.t.Errorf("the past of %s: %v", u, err)
		return
	}
	past := p.Matches[0]
	for _, c := range past.Conflicts {
		keep := c.Versions[0].Event
		w.do("settle", func(who app.Who) (app.Saved, error) { return w.shop.Settle(u, c.Fact, keep, "seen", who) })
	}
	all := past.Loose
	for _, v := range past.Visits {
		all = append(all, v.Lines...)
	}
	for i, l := range all {
		if i%4 > 1 || strings.Contains(l.Line, "honest") {
			continue
		}
		w.do("correct "+l.Kind, func(who app.Who) (app.Saved, error) {
			return w.shop.Correct(u, l.Event, []string{"text=as it was"}, "misread", who)
		})
		if i%4 == 1 && l.Kind != "unit.received" {
			w.do("withdraw "+l.Kind, func(who app.Who) (app.Saved, error) { return w.shop.Withdraw(u, l.Event, "not this set", who) })
			w.do("restore "+l.Kind, func(who app.Who) (app.Saved, error) { return w.shop.Restore(u, l.Event, "it was", who) })
		}
	}
}

// A bench can have given a set a tag that another set has, or words that are no tag. Each
// set on the benches gets its label all the same, and is found by its id.
func TestTagsThatAreNoneOrGivenTwiceStopNoLabels(t *testing.T) {
	s, made := oddShop(t, 0)
	today, err := s.Today()
	if err != nil {
		t.Fatal(err)
	}
	labels, untagged, err := s.TagsOnBenches("")
	if err != nil || untagged == 0 || len(labels) < len(made.Honest) || len(labels)+untagged != len(today.Units) {
		t.Errorf("%d labels and %d sets without a tag of %d: %v", len(labels), untagged, len(today.Units), err)
	}
	times := map[string]int{}
	for _, l := range labels {
		if times[l.Tag]++; !tag.Valid(l.Tag) {
			t.Errorf("a label of the tag %q", l.Tag)
		}
	}
	twice := false
	for _, n := range times {
		twice = twice || n > 1
	}
	if !twice {
		t.Error("no tag was given twice: the test shows nothing")
	}
	for _, u := range today.Units {
		if p, err := s.Past(u.Unit, 5); err != nil || len(p.Matches) != 1 || p.Matches[0].Unit != u.Unit {
			t.Errorf("the past of %s: %d units (%v)", u.Unit, len(p.Matches), err)
		}
	}
}

// An entry whose body reads as nothing is not said to be a newer program's; it is taken back.
func TestAnEntryThatIsNotWhatItsKindShouldBeIsTakenBack(t *testing.T) {
	s, made := oddShop(t, 0)
	p, err := s.Past(made.Honest[0], 1)
	if err != nil || len(p.Matches) != 1 {
		t.Fatalf("%d units, %v", len(p.Matches), err)
	}
	all := p.Matches[0].Loose
	for _, v := range p.Matches[0].Visits {
		all = append(all, v.Lines...)
	}
	seen := 0
	for _, l := range all {
		if !strings.Contains(l.Line, events.ErrMalformed.Error()) {
			continue
		}
		seen++
		who := app.Who{At: events.AtTime(oddshop.Now.Add(time.Duration(seen) * time.Second)), By: "jo"}
		if _, err := s.Correct(made.Honest[0], l.Event, []string{"text=as it was"}, "misread", who); err == nil || !strings.Contains(err.Error(), "not what its kind should be") {
			t.Errorf("%s is corrected: %v", l.Kind, err)
		}
		if _, _, err := s.CorrectableOf(made.Honest[0], l.Event); err == nil || !strings.Contains(err.Error(), "take it back") {
			t.Errorf("%s can be corrected: %v", l.Kind, err)
		}
		if _, err := s.Withdraw(made.Honest[0], l.Event, "reads as nothing", who); err != nil {
			t.Errorf("%s is not taken back: %v", l.Kind, err)
		}
	}
	if seen < 10 {
		t.Errorf("%d entries that can't be read", seen)
	}
}
