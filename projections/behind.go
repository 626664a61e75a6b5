package projections

import (
	"fmt"
	"slices"

	"oldhand/events"
)

// RowName names a row of an answer by what it is about: the texts that it has
// under some of its keys. What is not named is not asked for, so a group alone
// names all rows of it.
type RowName map[string]string

// is reports whether a text is the one named under a key, if any is.
func (n RowName) is(key, text string) bool {
	want, named := n[key]
	return !named || want == text
}

// isSpelled is is for makers and models, however they are spelled.
func (n RowName) isSpelled(key, text string) bool {
	want, named := n[key]
	return !named || events.Key(want) == events.Key(text)
}

// group reports whether a history's group, under a way of grouping, is the one
// that is named.
func (n RowName) group(by, text string) bool {
	if by == "model" || by == "maker" {
		return n.isSpelled("group", text)
	}
	return n.is("group", text)
}

// NothingBehind is returned for a question whose rows have no units of their own.
type NothingBehind struct{ Question string }

func (e *NothingBehind) Error() string {
	return fmt.Sprintf("units behind %s: its rows are not counts of units", e.Question)
}

// behind says how often a history, as far as it is asked about, counts in the row
// that is named, by question. Together the histories make the row's number; that
// is for a test to hold.
var behind = map[string]func(*History, Asked, RowName) int{
	"rarity":     behindRarity,
	"failures":   behindFailures,
	"turnaround": behindTurnaround,
	"comebacks":  behindComeBacks,
	"parts":      behindParts,
	"outcomes":   behindOutcomes,
}

// EachBehind calls fn with the units behind a row, those that were first named
// last in front, and how often each counts. It begins behind a unit, where one is
// named, and goes through no more histories than it has to: those of a maker or a
// model that are asked about, else all until fn gives false. What the row is made
// of is asked from the histories themselves; no index is kept for it.
func EachBehind(r Reader, q Question, a Asked, row RowName, last events.UnitID, fn func(h *History, times int) (bool, error)) error {
	counts, ok := behind[q.Name]
	if !ok {
		return &NothingBehind{q.Name}
	}
	roots, err := rootsAsked(r, a)
	if err != nil {
		return err
	}
	for _, root := range slices.Backward(roots) {
		if !last.IsZero() && root.Compare(last) >= 0 {
			continue
		}
		h, err := Load(r, root)
		if err != nil {
			return err
		}
		if h == nil {
			return errView
		}
		if h = h.asked(a); h == nil {
			continue
		}
		if n := counts(h, a, row); n > 0 {
			if more, err := fn(h, n); err != nil || !more {
				return err
			}
		}
	}
	return nil
}

// rootsAsked are the units that may be asked about, those first named in front.
func rootsAsked(r Reader, a Asked) (roots []events.UnitID, err error) {
	lo, class := []byte{'h'}, byte('h')
	switch {
	case a.Maker != "" && a.Model != "":
		lo, class = termPrefix(byModel, modelText(a.Maker, a.Model)), byModel
	case a.Maker != "":
		lo, class = append([]byte{'l', byModel}, modelText(a.Maker, "")...), byModel
	}
	err = r.Scan(lo, after(lo), func(k, v []byte) (bool, error) {
		if class == 'h' && len(v) > 0 && v[0] == isRedirect {
			return true, nil
		}
		root, ok := rootOf(k)
		if !ok {
			return false, errView
		}
		roots = append(roots, root)
		return true, nil
	})
	slices.SortFunc(roots, events.UnitID.Compare)
	return roots, err
}

func behindRarity(h *History, _ Asked, n RowName) int {
	return counted(n.isSpelled("maker", h.Maker) && n.isSpelled("model", h.Model))
}

func behindFailures(h *History, a Asked, n RowName) int {
	group := yearName(h.YearFrom)
	switch a.By {
	case "decade":
		group = choose(h.YearFrom == 0, "", fmt.Sprintf("%d0s", h.YearFrom/10))
	case "maker":
		group = h.Maker
	case "model":
		group = choose(h.Model == "", "", joinName(h.Maker, h.Model))
	}
	if !n.group(a.By, group) {
		return 0
	}
	if _, named := n["component"]; !named {
		return 1
	}
	return counted(slices.ContainsFunc(faultsOf(h.Visits, nil), func(f fault) bool { return n.is("component", f.component) && n.is("mode", f.mode) }))
}

func behindParts(h *History, _ Asked, n RowName) (times int) {
	for _, v := range h.Visits {
		for _, b := range bodies[events.PartReplaced](v.Entries) {
			times += counted(n.is("component", b.Component) && n.is("value", MarkingText(b.In)))
		}
	}
	return times
}

func behindOutcomes(h *History, a Asked, n RowName) (times int) {
	for _, v := range h.Visits {
		group := "all"
		for _, g := range outcomeGroups {
			if g.name == a.By {
				group = g.of(h, v)
			}
		}
		times += counted(v.End == Ended && n.group(a.By, group) && n.is("outcome", v.outcome()))
	}
	return times
}

// behindTurnaround counts the visits of a group, those only that are "open" or
// "closed" where the row's name has that.
func behindTurnaround(h *History, a Asked, n RowName) (times int) {
	for _, v := range h.Visits {
		group := "all"
		for _, g := range turnGroups[1:] {
			if g.name == a.By {
				group = g.of(h, v)
			}
		}
		var turns rowList
		visitTurns(v, a, &turns)
		kind := turns.b[0] // of the first row
		open, closed := n.is("end", "open") && kind == turnOpen, n.is("end", "closed") && kind == turnClosed
		times += counted(n.group(a.By, group) && (open || closed))
	}
	return times
}

// behindComeBacks counts the visits that were followed by another within the days
// that are asked for.
func behindComeBacks(h *History, a Asked, n RowName) (times int) {
	days := choose(a.Days > 0, a.Days, comeBackDays)
	for i, v := range h.Visits {
		if v.End != Ended || v.Shipped.Precision == events.Unknown {
			continue
		}
		looked := func(*Visit) bool { return true }
		if n["fault"] == "same" {
			looked = v.sharesFault
		}
		next := h.nextVisit(i, looked)
		times += counted(next != nil && int(next.Received.Day-v.Shipped.Day) <= days)
	}
	return times
}

func counted(so bool) int { return choose(so, 1, 0) }
