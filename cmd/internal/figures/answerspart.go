package main

import (
	"fmt"

	"oldhand/events/eventlog"
	"oldhand/projections"
)

// Each fleet question as of the end, from tallies that are kept; beside it the
// peers' counting over rows.
func answersPart(t *turn) {
	var all []bothAsked
	for _, q := range projections.Questions {
		peer, ok := peerQuestions[q.Name]
		if !ok {
			t.Fatalf("%s: the peers have no statements for it", q.Name)
		}
		all = append(all, bothAsked{answerWord + q.Name, q, projections.Asked{AsOf: asOf}, peer})
	}
	t.askBoth(all, atMost(1e-3), t.lite(), t.duck())
}

// bothAsked is a question as both sides are asked it, with what its row is called.
type bothAsked struct {
	name     string
	question projections.Question
	about    projections.Asked
	peer     peerQuestion
}

// askBoth measures questions beside each peer; beside the first they are held against a
// goal. Before anything is timed the peers' counts are compared with ours, and a question
// on which they differ fails.
func (t *turn) askBoth(all []bothAsked, goal goal, peers ...*rowPeer) {
	v := t.viewOf(t.front())
	for _, q := range all {
		for i, p := range peers {
			f := &figure{name: q.name, unit: seconds, peer: p.name}
			if i == 0 {
				f.goal = goal
			} else {
				f.name += ", beside " + p.name
			}
			t.try(f, func(t *turn) { t.compare(f, v, q, p) })
		}
	}
}

// viewOf is a view of a folder in stock, until the turn is over.
func (t *turn) viewOf(dir string) *eventlog.View {
	v, err := t.openCopy(dir).Log.View()
	t.check(err)
	t.Cleanup(v.Close)
	return v
}

// asksInARound is how often a question is asked in a round, where that takes
// little.
const asksInARound = 3

func (t *turn) compare(f *figure, v *eventlog.View, q bothAsked, p *rowPeer) {
	a, err := p.prepare(q.peer)
	t.check(err)
	defer func() { t.check(a.close()) }()
	t.check(agree(v, q, a, p.name))
	ask := func() error { return askOurs(v, q.question, q.about) }
	t.rounds(func() { f.beside(t.quick(ask), t.quick(a.run)) })
}

func askOurs(v *eventlog.View, q projections.Question, about projections.Asked) error {
	_, err := projections.Ask(v, q, about)
	return err
}

// quick is the median of a few times; of one that takes long it is that one.
func (t *turn) quick(fn func() error) float64 {
	var all []float64
	for len(all) < asksInARound {
		if all = append(all, t.timed(fn)); all[0] > 0.2 {
			break
		}
	}
	return median(all)
}

// agree demands that a peer counts the same as ours, and something.
func agree(v *eventlog.View, q bothAsked, a asking, name string) error {
	res, err := projections.Ask(v, q.question, q.about)
	if err != nil {
		return err
	}
	ours, theirs := counts{}, counts{}
	if err := q.peer.ours(res.Rows, ours); err != nil {
		return err
	}
	answers, err := a.lines()
	if err == nil {
		err = q.peer.theirs(answers, theirs)
	}
	switch where := ours.differs(theirs); {
	case err != nil:
		return err
	case len(ours) == 0:
		return fmt.Errorf("%s: nothing to compare", q.question.Name)
	case where != nil:
		return fmt.Errorf("%s: ours and %s differ: %q", q.question.Name, name, where)
	}
	return nil
}
