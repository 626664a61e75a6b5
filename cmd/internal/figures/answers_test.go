package figures

import (
	"fmt"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

// Each question is asked so often on each side, less often where an answer
// takes long.
const (
	mostAskings  = 9
	leastAskings = 3
	askingTime   = 5 * time.Second
)

// Each fleet question as of today, from tallies that are kept, and asked again
// with nothing recorded since; beside it the peers' counting over rows. The benchmark fails where a peer counts otherwise.
func BenchmarkAnswers(b *testing.B) {
	v := toldView(b)
	peers := rowPeers(b, v)
	fmt.Printf("%-22s %14s %10s", "answer", "ours", "again")
	for _, p := range peers {
		fmt.Printf(" %14s %8s", p.name, "ratio")
	}
	fmt.Printf("  %s\n", "goal")
	for b.Loop() {
		for _, q := range projections.Questions {
			answer(b, v, q, peers)
		}
	}
}

// toldView is a view of a log that holds the whole story.
func toldView(b *testing.B) *eventlog.View {
	story := storyOf(b)
	l, _ := open(b, story, events.BenchKey{})
	n := 0
	took := timed(func() { n = take(b, l, told(b, story)) })
	fmt.Printf("%d events of %d units taken in %v\n", n, *units, took.Round(time.Millisecond))
	v, err := l.View()
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(v.Close)
	return v
}

// rowPeers are the peers, filled.
func rowPeers(b *testing.B, v *eventlog.View) []*rowPeer {
	lite, err := openSQLiteRows(b.TempDir())
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = lite.db.Close() })
	duck, err := openDuckDB(b.TempDir())
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = duck.db.Close() })
	took := timed(func() { err = fillRows(v, lite, duck) })
	if err != nil {
		b.Fatal(err)
	}
	fmt.Printf("rows exported to the peers in %v\n", took.Round(time.Millisecond))
	return []*rowPeer{lite, duck}
}

// answer prints one line: ours, and each peer with ours as a share of it.
func answer(b *testing.B, v *eventlog.View, q projections.Question, peers []*rowPeer) {
	res, err := projections.Ask(v, q, projections.Asked{AsOf: asOf})
	if err != nil {
		b.Fatal(err)
	}
	ours := counts{}
	peer, ok := peerQuestions[q.Name]
	if !ok {
		b.Fatalf("%s: the peers have no statements for it", q.Name)
	}
	if err := peer.ours(res.Rows, ours); err != nil {
		b.Fatal(err)
	}
	if len(ours) == 0 {
		b.Fatalf("%s: nothing to compare", q.Name)
	}
	took := asked(b, func() error {
		_, err := projections.Ask(v, q, projections.Asked{AsOf: asOf})
		return err
	})
	var kept projections.Answers
	again := asked(b, func() error {
		_, err := kept.Ask(v, q, projections.Asked{AsOf: asOf})
		return err
	})
	line := fmt.Sprintf("%-22s %14v %10v", q.Name, took, again)
	for _, p := range peers {
		theirs := askPeer(b, p, q.Name, peer, ours)
		line += fmt.Sprintf(" %14v %8.3f", theirs, float64(took)/float64(theirs))
	}
	fmt.Printf("%s  <= 1 ms\n", line)
}

// askPeer asks a peer, after it was seen to count the same as ours.
func askPeer(b *testing.B, p *rowPeer, name string, q peerQuestion, ours counts) time.Duration {
	a, err := p.prepare(q)
	if err != nil {
		b.Fatal(err)
	}
	answers, err := a.lines()
	if err != nil {
		b.Fatal(err)
	}
	theirs := counts{}
	if err := q.theirs(answers, theirs); err != nil {
		b.Fatal(err)
	}
	if where := ours.differs(theirs); where != nil {
		b.Fatalf("%s: ours and %s differ: %q", name, p.name, where)
	}
	took := asked(b, a.run)
	if err := a.close(); err != nil {
		b.Fatal(err)
	}
	return took
}

// asked is the median time of several askings.
func asked(b *testing.B, ask func() error) time.Duration {
	b.Helper()
	var all []time.Duration
	for begun := time.Now(); len(all) < leastAskings || len(all) < mostAskings && time.Since(begun) < askingTime; {
		all = append(all, timed(func() {
			if err := ask(); err != nil {
				b.Fatal(err)
			}
		}))
	}
	return median(all)
}
