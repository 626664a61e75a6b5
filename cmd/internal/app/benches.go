package app

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/hlc"
	"oldhand/sync/replicate"
	"oldhand/sync/roster"
)

// Benches is who has what, as far as this bench knows.
type Benches struct {
	Shop    string       `json:"shop"`
	Benches []BenchState `json:"benches"`
	Aside   []AsideState `json:"kept_aside"` // segments that were not taken, with the reason
	Says    []string     `json:"kept_aside_says"`
	Notes   []string     `json:"notes"`              // what an owner should look at
	LastMet string       `json:"last_met,omitempty"` // when this bench met an exchange last
	MetSays string       `json:"met_says"`           // that in words, or why it can't be told
}

// BenchState is one bench.
type BenchState struct {
	Name    string   `json:"name"`
	Number  uint32   `json:"number"` // of its tags
	Here    bool     `json:"here"`   // this bench
	Retired bool     `json:"retired"`
	Events  uint64   `json:"events"`            // of it, here
	Last    string   `json:"last,omitempty"`    // when the last of them was recorded
	Missing uint64   `json:"missing,omitempty"` // known of and not here
	Says    []string `json:"says,omitempty"`    // in words, what is odd
	Program string   `json:"program,omitempty"` // that began its last run here

	last     time.Time // stamp of its last event here; zero for none
	let      time.Time // when an owner let it in first, by that bench's clock
	RanAsTwo []Fork    `json:"ran_as_two,omitempty"` // where two of it wrote under the same numbers
}

// Fork is a run of a bench's log that two wrote on: the bench's memory was put
// back while it ran, or its folder and key were copied.
type Fork struct {
	Run   string    `json:"run"`
	After uint64    `json:"after"` // the last event that they have in common
	Ends  []ForkEnd `json:"ends"`  // of each that wrote on, by number and hash
}

// ForkEnd is where one of them came to.
type ForkEnd struct {
	Event uint64 `json:"event"`
	Hash  string `json:"hash"`
}

func (f Fork) String() string {
	var ends []string
	for _, e := range f.Ends {
		ends = append(ends, fmt.Sprintf("event %d (%.8s)", e.Event, e.Hash))
	}
	count := map[int]string{2: "two"}
	return fmt.Sprintf("it ran as %s: a copy of it, or its memory put back while it ran, wrote on after event %d of run %s under the same numbers; all are kept and count, up to %s",
		orElse(count[len(ends)], fmt.Sprint(len(ends))), f.After, f.Run, strings.Join(ends, " and "))
}

// AsideState is a segment that was not taken.
type AsideState struct {
	Bench string `json:"bench"`
	First uint64 `json:"first"`
	Last  uint64 `json:"last"`
	Why   string `json:"why"`
	Words string `json:"words"`
	Newer bool   `json:"newer,omitempty"` // a newer program reads it
}

// Benches tells who belongs to the shop and how much of each is here.
func (s *Shop) Benches() (res Benches, err error) {
	in, err := s.looking()
	if err != nil {
		return res, err
	}
	met, lost := s.lastMeeting()
	r := in.Roster()
	res = Benches{LastMet: met.At, MetSays: met.says(), Shop: s.Card.Name, Benches: []BenchState{}, Aside: []AsideState{}, Says: []string{}, Notes: []string{}}
	if lost != nil {
		res.MetSays = lost.Error()
	}
	err = s.view(func(v *eventlog.View) error {
		if res.Benches, err = s.benchStates(v, r); err != nil {
			return err
		}
		return letIn(v, r, res.Benches)
	})
	if err != nil {
		return res, err
	}
	names := benchNames(r)
	var missing []events.Head
	for _, h := range in.Missing() {
		missing = append(missing, h.Head)
	}
	for _, w := range s.waits(missing, names) {
		res.missing(w)
	}
	aside, err := in.Aside()
	for _, a := range aside {
		res.Aside = append(res.Aside, AsideState{names(a.Place.Feed.Bench), a.Place.First, a.Place.Last, a.Why.String(), a.Words, a.Why == replicate.WhyNewer})
	}
	res.Says = append(res.Says, asideLines(aside, names)...)
	for _, c := range r.Conflicts() {
		res.Notes = append(res.Notes, c.Words)
	}
	return res, err
}

// asideWords say why events are kept aside and what cures it.
var asideWords = map[replicate.Why]string{
	replicate.WhyGap:     "until the events before them come",
	replicate.WhyUnknown: "because no owner let their bench in, or it was retired before them",
	replicate.WhyNoKey:   "until the shop's key that they are sealed with comes",
	replicate.WhyNewer:   "until this program is as new as the one that wrote them",
	replicate.WhyFork:    "because their bench wrote something else in the same place: it was copied, or put back while it ran",
	replicate.WhyBad:     "because they are not what they claim to be",
}

// asideLines sums up what is kept aside, by bench and reason.
func asideLines(list []replicate.Aside, names func(events.BenchID) string) (lines []string) {
	type pile struct {
		bench string
		why   replicate.Why
	}
	sum := map[pile]uint64{}
	for _, a := range list {
		sum[pile{names(a.Place.Feed.Bench), a.Why}] += uint64(a.Place.Len())
	}
	for p, n := range sum {
		lines = append(lines, fmt.Sprintf("%s of bench %s kept aside %s", eventCount(n), p.bench, asideWords[p.why]))
	}
	slices.Sort(lines)
	return lines
}

// looking is the inbox of a folder that is only looked at.
func (s *Shop) looking() (*replicate.Inbox, error) {
	told, err := s.answer()
	if err != nil {
		return nil, err
	}
	return replicate.Look(replicate.OnLog(s.Log), s.Log.Shop(), s.key, told.Bodies()...)
}

func (r *Benches) missing(w wait) {
	for i := range r.Benches {
		if b := &r.Benches[i]; b.Name == w.bench {
			b.Missing = w.n
			b.Says = append(b.Says, w.String())
			return
		}
	}
	r.Notes = append(r.Notes, w.String())
}

// benchStates are the benches of the roster, and any other whose events are
// here.
func (s *Shop) benchStates(v *eventlog.View, r roster.Roster) (list []BenchState, err error) {
	ends := map[events.BenchID][]eventlog.Reach{}
	for _, r := range s.Log.Branches() {
		ends[r.Feed.Bench] = append(ends[r.Feed.Bench], r)
	}
	for _, b := range r.Benches() {
		st := BenchState{Name: b.Name, Number: b.Number, Here: b.Name == s.Card.Bench && b.Number == s.Card.Number, Retired: b.Retired}
		if err := st.read(v, ends[b.ID], s.now().UnixMilli()); err != nil {
			return nil, err
		}
		list = append(list, st)
	}
	slices.SortFunc(list, func(a, b BenchState) int { return int(a.Number) - int(b.Number) })
	return list, nil
}

// letIn says of each bench when it was let in.
func letIn(v *eventlog.View, r roster.Roster, list []BenchState) error {
	facts, err := v.AllEvents([16]byte{})
	if err != nil {
		return err
	}
	first := map[string]time.Time{}
	for _, e := range facts {
		if body, err := e.Body(); err == nil {
			if a, ok := body.(events.BenchAdmitted); ok {
				if b, ok := r.Bench(a.Bench); ok && (first[b.Name].IsZero() || e.ID.Stamp().Time().Before(first[b.Name])) {
					first[b.Name] = e.ID.Stamp().Time()
				}
			}
		}
	}
	for i, b := range list {
		list[i].let = first[b.Name]
	}
	return nil
}

// clockAhead is by how much a bench's clock may be ahead of this one's before it
// is called doubtful, in milliseconds: a day, as the clocks of stamps allow.
const clockAhead = 24 * 60 * 60 * 1000

// read counts a bench's events and looks for what is odd with them.
func (b *BenchState) read(v *eventlog.View, ends []eventlog.Reach, now int64) error {
	parents := map[events.FeedID]events.Head{}
	var last, began hlc.Stamp
	for _, r := range ends {
		b.Events += r.Own()
		for _, at := range []uint64{r.Base.Seq + 1, r.Head.Seq} {
			err := v.BranchEvents(r.Branch, at-1, func(e events.Event) (bool, error) {
				last = max(last, e.ID.Stamp())
				if body, err := e.Body(); err == nil {
					if begun, ok := body.(events.FeedBegun); ok {
						parents[r.Feed] = begun.Parent
						if e.ID.Stamp() >= began {
							began, b.Program = e.ID.Stamp(), begun.Software
						}
					}
				}
				return false, nil
			})
			if err != nil {
				return err
			}
		}
	}
	if last > 0 {
		b.last = last.Time()
		b.Last = b.last.Format("2006-01-02 15:04")
	}
	if int64(last.Ms()) > now+clockAhead {
		b.Says = append(b.Says, fmt.Sprintf("its clock is doubtful: it recorded something at %s", b.Last))
	}
	b.RanAsTwo = forksOf(ends)
	for _, f := range b.RanAsTwo {
		b.Says = append(b.Says, f.String())
	}
	b.Says = append(b.Says, branches(ends, parents)...)
	return nil
}

// forksOf are the runs among a bench's that have more than one end, in the order
// of their names. What they say is the same at every bench that has them.
func forksOf(ends []eventlog.Reach) (list []Fork) {
	runs := map[events.FeedID][]eventlog.Reach{}
	for _, r := range ends {
		runs[r.Feed] = append(runs[r.Feed], r)
	}
	for _, of := range slices.SortedFunc(maps.Keys(runs), events.FeedID.Compare) {
		if len(runs[of]) < 2 {
			continue
		}
		f := Fork{Run: shortRun(of), After: math.MaxUint64}
		for _, r := range runs[of] {
			if r.Branch != eventlog.First(of) {
				f.After = min(f.After, r.Base.Seq)
			}
			f.Ends = append(f.Ends, ForkEnd{r.Head.Seq, r.Head.Hash.String()})
		}
		slices.SortFunc(f.Ends, func(a, b ForkEnd) int { return cmp.Or(cmp.Compare(a.Event, b.Event), cmp.Compare(a.Hash, b.Hash)) })
		list = append(list, f)
	}
	return list
}

// branches says where a bench's log went on after another run of it had begun
// there: an older copy of the laptop was put back, or it runs on two machines.
func branches(ends []eventlog.Reach, parents map[events.FeedID]events.Head) (said []string) {
	far, isEnd := map[events.FeedID]uint64{}, map[events.Head]bool{}
	for _, r := range ends {
		far[r.Feed] = max(far[r.Feed], r.Head.Seq)
		isEnd[r.Head] = true
	}
	begun := map[events.Head]int{}
	for _, p := range parents {
		if p.Seq == 0 {
			continue
		}
		if begun[p]++; begun[p] == 2 || !isEnd[p] && p.Seq < far[p.Feed] && begun[p] == 1 {
			said = append(said, fmt.Sprintf("an older copy of it was put back, or it runs on two machines: its log went two ways after event %d of run %s; both are kept", p.Seq, shortRun(p.Feed)))
		}
	}
	slices.Sort(said)
	return said
}

func shortRun(f events.FeedID) string { return strings.SplitN(f.Short(), "-", 2)[1] }
