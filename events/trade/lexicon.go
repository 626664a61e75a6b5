package trade

import (
	"strings"
	"sync"
)

// lexicon is the tables made ready for looking up: every word has a number,
// and every list of phrases is a tree over those numbers. It is built at the
// first use and never changed after, so any goroutine may read it.
type lexicon struct {
	words   map[string]word
	letters map[string]int16 // class letters to a place in Letters

	classes, modes, works, sets, outcomes tree
	no                                    [8]word // the words that turn a mode into its opposite
	and                                   word
}

// word is the number of a word in its one spelling. Zero is a word that stands
// in no phrase.
type word uint16

// tree finds phrases: from a node, a word leads to the next.
type tree struct {
	next  map[step]uint16
	rows  [][]meaning // by node, what a phrase that ends there says
	nodes uint16
}

type step struct {
	node uint16
	word word
}

// meaning is what one phrase says: the place of an id in its table, and how
// much the phrase is worth.
type meaning struct {
	row    int16
	weak   bool // counts only where nothing stronger stands
	ifUsed bool // counts only for a component in which the mode is usual
}

var words = sync.OnceValue(newLexicon)

func newLexicon() *lexicon {
	lx := &lexicon{words: map[string]word{}, letters: map[string]int16{}}
	for _, line := range spellings {
		one, rest, _ := strings.Cut(line, " ")
		n := lx.number(one)
		for _, other := range strings.Fields(rest) {
			lx.words[other] = n
		}
	}
	for i, l := range Letters {
		lx.letters[l.Letters] = int16(i)
	}
	lx.classes = lx.plant(classPhrases, classIndex)
	lx.modes = lx.plant(modePhrases, modeIndex)
	lx.works = lx.plant(workPhrases, workIndex)
	lx.sets = lx.plant(setPhrases, setIndex)
	lx.outcomes = lx.plant(outcomePhrases, outcomeIndex)
	for i, n := range []string{"no", "not", "isn't", "wasn't", "never", "without", "aren't", "non"} {
		lx.no[i] = lx.number(n)
	}
	lx.and = lx.number("and")
	return lx
}

// number gives a word its number, a new one where it has none.
func (lx *lexicon) number(s string) word {
	if n, ok := lx.words[s]; ok {
		return n
	}
	n := word(len(lx.words) + 1)
	lx.words[s] = n
	return n
}

// plant makes the tree for a list of phrases. An id that its table lacks is a
// slip in this package, which no input can cause.
func (lx *lexicon) plant(rows []phraseRow, index map[string]int) tree {
	t := tree{next: map[step]uint16{}, rows: make([][]meaning, 1)}
	for _, r := range rows {
		row, ok := index[r.id]
		if !ok {
			panic("trade: phrases for an id that is in no table: " + r.id)
		}
		for phrase := range strings.SplitSeq(r.phrases, "|") {
			bare := strings.TrimLeft(phrase, "~?")
			t.add(lx.spell(bare), meaning{int16(row), strings.HasPrefix(phrase, "~"), strings.HasPrefix(phrase, "?")})
		}
	}
	return t
}

// spell gives the numbers of a phrase's words.
func (lx *lexicon) spell(phrase string) []word {
	var out []word
	for _, s := range strings.Fields(phrase) {
		n := lx.lookup([]byte(s))
		if n == 0 {
			n = lx.number(s)
		}
		out = append(out, n)
	}
	return out
}

func (t *tree) add(phrase []word, m meaning) {
	node := uint16(0)
	for _, w := range phrase {
		s := step{node, w}
		to, ok := t.next[s]
		if !ok {
			t.nodes++
			to = t.nodes
			t.next[s] = to
			t.rows = append(t.rows, nil)
		}
		node = to
	}
	for i, have := range t.rows[node] {
		if have.row == m.row {
			// said twice, by two spellings: the stronger saying stands
			t.rows[node][i].weak = have.weak && m.weak
			t.rows[node][i].ifUsed = have.ifUsed && m.ifUsed
			return
		}
	}
	t.rows[node] = append(t.rows[node], m)
}

// longest gives what the longest phrase that begins at the first of toks says,
// and how many words it has.
func (t *tree) longest(toks []token) (says []meaning, length int) {
	node := uint16(0)
	for i := range toks {
		if toks[i].word == 0 || i > 0 && toks[i].pauses {
			break
		}
		to, ok := t.next[step{node, toks[i].word}]
		if !ok {
			break
		}
		node = to
		if t.rows[node] != nil {
			says, length = t.rows[node], i+1
		}
	}
	return says, length
}

// lookup finds a word in small letters, or it without the s of a plural.
func (lx *lexicon) lookup(s []byte) word {
	if n, ok := lx.words[string(s)]; ok {
		return n
	}
	if n := len(s); n > 3 && s[n-1] == 's' {
		return lx.words[string(s[:n-1])]
	}
	return 0
}
