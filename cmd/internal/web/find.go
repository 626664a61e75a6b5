package web

import "oldhand/cmd/internal/app"

// How many units a lookup shows: while it is typed, and on a page of its own.
const (
	listedWhileTyped = 8
	listedOnPage     = 50
)

// lookup is what was found.
type lookup struct {
	Query string
	Units []unitLine
	More  bool
}

func (q *request) lookup(limit int) (l lookup, matches []app.Match, err error) {
	l.Query = q.asked("q")
	if l.Query == "" {
		return l, nil, nil
	}
	matches, l.More, err = q.shop.Lookup(l.Query, limit)
	for _, m := range matches {
		l.Units = append(l.Units, lineOfMatch(m))
	}
	return l, matches, err
}

// find looks up what was typed into the box, or scanned, and ended with the
// enter key. What names one unit to the letter leads to it.
func find(q *request) error {
	l, matches, err := q.lookup(listedOnPage)
	if err != nil {
		return err
	}
	if the := exact(matches); the != nil {
		at, err := address("unit", refOf(the.Tag, the.Unit))
		if err != nil {
			return err
		}
		return q.goTo(at)
	}
	return q.show("find", "Lookup", l)
}

// exact is the one unit that was named to the letter, if just one was.
func exact(matches []app.Match) (the *app.Match) {
	for i := range matches {
		if matches[i].Likeness < 1 {
			break // they come likest first
		}
		if the != nil {
			return nil
		}
		the = &matches[i]
	}
	return the
}

// findList is what is shown beneath the box while somebody types.
func findList(q *request) error {
	l, _, err := q.lookup(listedWhileTyped)
	if err != nil {
		return err
	}
	return q.part("find", "list", l)
}
