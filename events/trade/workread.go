package trade

import "strings"

// Done is one piece of work, read from free text. Kind is an id, empty where
// the text does not tell.
type Done struct {
	Kind string
	Text string // as typed, without outer space
}

// ReadWork reads what was done, one piece for each part between semicolons,
// lines and commas. A piece in which no phrase fits keeps its text.
func ReadWork(text string) []Done {
	var out []Done
	lx := words()
	for start := 0; start < len(text); {
		end := start
		for end < len(text) && !partsAt(text, end) {
			end++
		}
		if piece := strings.TrimSpace(text[start:end]); piece != "" {
			d := Done{Text: piece}
			if i := lx.best(&lx.works, piece, false); i >= 0 {
				d.Kind = Works[i].ID
			}
			out = append(out, d)
		}
		start = end + 1
	}
	return out
}

// ReadSet gives the id of the kind of set that a text names, else "".
func ReadSet(text string) string {
	lx := words()
	if i := lx.best(&lx.sets, text, false); i >= 0 {
		return Sets[i].ID
	}
	return ""
}

// ReadOutcome gives the id of the outcome that a text names, else "". The
// phrase has to be the whole text: in "repaired, C5 not available" the words
// say two things, and a person has to say which one is the end of it.
func ReadOutcome(text string) string {
	lx := words()
	if i := lx.best(&lx.outcomes, text, true); i >= 0 {
		return Outcomes[i].ID
	}
	return ""
}

// best gives the row of the longest phrase in a text, the first of equally
// long ones, a weak one only where there is no other. With whole set, only a
// phrase that is the whole text counts.
func (lx *lexicon) best(t *tree, text string, whole bool) int {
	var buf [24]token
	toks := lx.scan(text, buf[:0])
	row, length, weak := -1, 0, true
	for i := 0; i < len(toks); i++ {
		says, n := t.longest(toks[i:])
		if n == 0 || whole && n != len(toks) {
			continue
		}
		if m := says[0]; weak && !m.weak || weak == m.weak && n > length {
			row, length, weak = int(m.row), n, m.weak
		}
	}
	return row
}
