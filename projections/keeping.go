package projections

import (
	"fmt"
	"sync"

	"oldhand/events"
)

// Answers keeps what was answered until something of what it is made of is another:
// a page asks the same far more often than a bench writes, and most of what a bench
// writes changes no answer. Of several who ask the same at once one makes the
// answer. Its zero value is ready, for the views of one log, and may be used by
// several goroutines.
type Answers struct {
	mu   sync.Mutex
	kept map[string]*keptAnswer
}

// keptAnswer is an answer, or the place of one that is being made.
type keptAnswer struct {
	mu     sync.Mutex // held while it is made or looked through
	commit uint64     // of the newest view of which it is known to be
	res    *Result    // nil before it was made
	of     *readings
}

// Numbered is a reader that says which commit it shows: the same number, the
// same answers.
type Numbered interface {
	Reader
	Commit() uint64
	// Unchanged reports whether views whose keys begin so are as they were at an
	// earlier commit. It may say no where they are.
	Unchanged(commit uint64, prefix []byte) bool
}

// mostKept is how many answers are kept at once: every question in every
// grouping, a few times over.
const mostKept = 100

// Ask answers a question as the function Ask does, from what is kept where that is
// still so. The result is shared with others who ask the same and must not be
// changed; as long as the answer is the same, it is the same result. Where working
// days are counted nothing is kept.
func (k *Answers) Ask(r Numbered, q Question, a Asked) (*Result, error) {
	if a.WorkDays != nil {
		return Ask(r, q, a)
	}
	x := k.find(a.name(q))
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.res != nil && x.commit > r.Commit() {
		return Ask(r, q, a) // of a view from before, which nobody will ask again
	}
	same, err := x.still(r)
	if err != nil {
		return nil, err
	}
	if !same {
		x.res, x.of = nil, &readings{Numbered: r}
		if x.res, err = Ask(x.of, q, a); err != nil {
			return nil, err
		}
		x.of.Numbered = nil // the view is closed by whoever opened it
	}
	x.commit = r.Commit()
	return x.res, nil
}

// still reports whether the answer is that of a view. The lock is held.
func (x *keptAnswer) still(r Numbered) (bool, error) {
	if x.res == nil || x.commit == r.Commit() {
		return x.res != nil, nil
	}
	return x.of.same(r, x.commit)
}

func (k *Answers) find(name string) *keptAnswer {
	k.mu.Lock()
	defer k.mu.Unlock()
	x := k.kept[name]
	if x == nil {
		if len(k.kept) >= mostKept || k.kept == nil {
			k.kept = map[string]*keptAnswer{}
		}
		x = &keptAnswer{}
		k.kept[name] = x
	}
	return x
}

// name tells askings apart.
func (a Asked) name(q Question) string {
	day := func(d *events.Day) string {
		if d == nil {
			return ""
		}
		return d.String()
	}
	return fmt.Sprintf("%d %d %s %s %q %q %q %q %d %d %x", q.ID, a.AsOf, day(a.From), day(a.To), a.Maker, a.Model, a.By, a.Groups, a.Days, a.Year, a.Unit)
}
