package projections

import (
	"fmt"
	"sync"

	"oldhand/events"
)

// Answers keeps what was answered until something else is recorded: a page asks
// the same far more often than a bench writes. Its zero value is ready, for the
// views of one log, and may be used by several goroutines.
type Answers struct {
	mu     sync.Mutex
	commit uint64
	kept   map[string]*Result
}

// Numbered is a reader that says which commit it shows: the same number, the
// same answers.
type Numbered interface {
	Reader
	Commit() uint64
	// Unchanged reports whether views whose keys begin so are as they were at a
	// commit. It may say no where they are.
	Unchanged(commit uint64, prefix []byte) bool
}

// mostKept is how many answers are kept at once: every question in every
// grouping, a few times over.
const mostKept = 100

// Ask answers a question as the function Ask does, from what is kept where
// nothing was recorded since. The result is shared with others who ask the same
// and must not be changed. Where working days are counted nothing is kept.
func (k *Answers) Ask(r Numbered, q Question, a Asked) (*Result, error) {
	if a.WorkDays != nil {
		return Ask(r, q, a)
	}
	name, commit := a.name(q), r.Commit()
	if res := k.find(commit, name); res != nil {
		return res, nil
	}
	res, err := Ask(r, q, a)
	if err != nil {
		return nil, err
	}
	k.keep(commit, name, res)
	return res, nil
}

func (k *Answers) find(commit uint64, name string) *Result {
	k.mu.Lock()
	defer k.mu.Unlock()
	if commit != k.commit {
		return nil
	}
	return k.kept[name]
}

// keep keeps an answer of the newest commit asked about, and of no older one.
func (k *Answers) keep(commit uint64, name string, res *Result) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if commit < k.commit {
		return
	}
	if commit > k.commit || len(k.kept) >= mostKept {
		k.commit, k.kept = commit, map[string]*Result{}
	}
	k.kept[name] = res
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
