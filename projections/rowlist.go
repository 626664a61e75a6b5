package projections

import (
	"bytes"
	"slices"
)

// rowList is rows end to end in one piece of memory: every unit that is folded
// gives some forty, and a piece for each was a third of what folding cost.
type rowList struct {
	b    []byte
	ends []int
}

// key begins a row in the list's own memory; it is in the list once it was added,
// and until then nothing else may be.
func (l *rowList) key(kind ...byte) rowKey {
	n := len(l.b)
	return append(rowKey(l.b[n:n:cap(l.b)]), kind...)
}

// add puts a row at the end, one that key began without a copy.
func (l *rowList) add(row []byte) {
	n := len(l.b)
	if m := n + len(row); len(row) > 0 && m <= cap(l.b) && &l.b[:m][n] == &row[0] {
		l.b = l.b[:m]
	} else {
		l.b = append(l.b, row...)
	}
	l.ends = append(l.ends, len(l.b))
}

// counts is how often each row is in the list.
func (l *rowList) counts() map[string]int {
	counts := map[string]int{}
	l.each(func(row []byte) { counts[string(row)]++ })
	return counts
}

// has reports whether a row is among those from a place on.
func (l *rowList) has(first int, row []byte) bool {
	from := 0
	if first > 0 {
		from = l.ends[first-1]
	}
	for _, end := range l.ends[first:] {
		if bytes.Equal(l.b[from:end], row) {
			return true
		}
		from = end
	}
	return false
}

// clear empties the list and keeps its memory.
func (l *rowList) clear() { l.b, l.ends = l.b[:0], l.ends[:0] }

// each calls fn with all rows in the order they came.
func (l *rowList) each(fn func(row []byte)) {
	from := 0
	for _, end := range l.ends {
		fn(l.b[from:end:end])
		from = end
	}
}

func (l *rowList) equal(o *rowList) bool {
	return slices.Equal(l.ends, o.ends) && bytes.Equal(l.b, o.b)
}
