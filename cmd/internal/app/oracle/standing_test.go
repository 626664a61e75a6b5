package oracle_test

import (
	"strconv"
	"strings"
	"testing"
)

// fact is what stands after corrections and withdrawals.
type fact struct {
	id, name, unit, visit string
	day                   any // nil where it is not known when it happened
	place                 string
	data                  map[string]any
}

// act is an event that acts on others: it takes their place or takes them away.
type act struct {
	by    line
	takes bool
	names []string
}

// ledger answers what stands, by the rule: a fact is said by the latest of its
// versions that nobody took back and no later one replaced; a fact of which no
// version is left is withdrawn. That a withdrawal can itself be withdrawn needs
// no more than asking again.
type ledger struct {
	lines map[string]line
	on    map[string][]act // by the id of what is acted on
}

// verbs are the events that act on others: whether they take the place of what
// they name, and in which field they name it.
var verbs = map[string]struct {
	takes bool
	field string
}{
	"corrected": {true, "replaces"}, "settled": {true, "settles"},
	"withdrawn": {false, "withdraws"}, "unit.apart": {false, "undoes"},
}

func standing(t testing.TB, lines []line) (facts []fact) {
	t.Helper()
	l := ledger{map[string]line{}, map[string][]act{}}
	for _, e := range lines {
		l.lines[e.ID] = e
		if v, ok := verbs[kindOf(t, e)]; ok {
			a := act{by: e, takes: v.takes, names: texts(e.Data[v.field])}
			for _, id := range a.names {
				l.on[id] = append(l.on[id], a)
			}
		}
	}
	for _, e := range lines {
		if _, acts := verbs[kindOf(t, e)]; acts || e.Subject == "" || strings.HasPrefix(e.Type, "oldhand.person.") {
			continue
		}
		if latest := l.latest(e.ID); latest != "" {
			facts = append(facts, l.said(t, e, l.lines[latest]))
		}
	}
	return facts
}

// kindOf is the kind in an event's type, empty for a version of a body that
// only a newer program reads.
func kindOf(t testing.TB, e line) string {
	t.Helper()
	name, ok := strings.CutPrefix(e.Type, "oldhand.")
	i := strings.LastIndex(name, ".v")
	if !ok || i < 0 {
		t.Fatalf("type %q", e.Type)
	}
	if v, err := strconv.Atoi(name[i+2:]); err != nil || v > 1 {
		return ""
	}
	return name[:i]
}

func texts(list any) (all []string) {
	items, _ := list.([]any)
	for _, x := range items {
		s, _ := x.(string)
		all = append(all, s)
	}
	return all
}

// gone reports whether an event was taken back for good.
func (l ledger) gone(id string) bool {
	for _, a := range l.on[id] {
		if !a.takes && !l.gone(a.by.ID) {
			return true
		}
	}
	return false
}

// latest is the last version of a fact that stands, empty for none. Ids sort by
// the time of recording.
func (l ledger) latest(id string) (best string) {
	replaced := false
	for _, a := range l.on[id] {
		if !a.takes {
			continue
		}
		replaced = replaced || !l.gone(a.by.ID)
		best = max(best, l.latest(a.by.ID))
	}
	if !replaced && !l.gone(id) {
		best = max(best, id)
	}
	return best
}

// said is a fact as one of its versions says it.
func (l ledger) said(t testing.TB, e, version line) fact {
	t.Helper()
	for kindOf(t, version) == "settled" {
		keep, _ := version.Data["keep"].(string)
		version = l.lines[keep]
	}
	name, data := kindOf(t, version), version.Data
	if name == "corrected" {
		name, data = better(t, version)
	}
	f := fact{id: e.ID, name: name, unit: e.Subject, data: data}
	f.visit, _ = data["visit"].(string)
	f.place = e.Time[:10] + " " + e.ID
	if at, ok := data["at"].(string); ok {
		f.day, f.place = at[:10], at[:10]+" "+e.ID
	}
	return f
}

// better is the fact inside a correction.
func better(t testing.TB, correction line) (name string, data map[string]any) {
	t.Helper()
	inner, _ := correction.Data["fact"].(map[string]any)
	name, _ = inner["kind"].(string)
	body, ok := inner["body"].(map[string]any)
	if !ok || name == "" {
		t.Fatalf("correction %s holds no fact: %v", correction.ID, correction.Data)
	}
	data = map[string]any{}
	for _, from := range []map[string]any{body, inner} {
		for field, v := range from {
			data[field] = v
		}
	}
	return name, data
}
