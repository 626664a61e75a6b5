package trade

import "strings"

// Part is one part that was used, read from free text.
type Part struct {
	Designator string // in capitals, empty where none is typed
	Class      string // a class's id, empty where nothing tells it
	ValueText  string // the marking as typed, such as "50-30-30 MFD"
	Text       string // as typed, without outer space
}

// ReadPart reads one part, such as "C27 47 MMF" or "R40 potentiometer". Where
// the text names several designators it gives the first; ReadParts gives a part
// for each.
func ReadPart(text string) Part {
	part, _ := readPart(text)
	return part
}

// ReadParts reads a list of parts, parted by semicolons, lines and commas. A
// comma between two digits is a decimal comma and parts nothing.
func ReadParts(text string) []Part {
	var out []Part
	for start := 0; start < len(text); {
		end := start
		for end < len(text) && !partsAt(text, end) {
			end++
		}
		if piece := strings.TrimSpace(text[start:end]); piece != "" {
			out = appendParts(out, piece)
		}
		start = end + 1
	}
	return out
}

func appendParts(out []Part, piece string) []Part {
	part, names := readPart(piece)
	if len(names) < 2 {
		return append(out, part)
	}
	for _, d := range names {
		part.Designator = d
		out = append(out, part)
	}
	return out
}

func partsAt(text string, i int) bool {
	switch text[i] {
	case ';', '\n', '\r':
		return true
	case ',':
		return i == 0 || i+1 == len(text) || !isDigit(text[i-1]) || !isDigit(text[i+1])
	}
	return false
}

func readPart(text string) (Part, []string) {
	text = strings.TrimSpace(text)
	var buf [24]token
	lx := words()
	toks := lx.scan(text, buf[:0])
	names := leadingDesignators(text, toks)
	p := Part{Text: text, ValueText: lx.valueText(text, toks, len(names))}
	if len(names) > 0 {
		p.Designator = names[0]
	}
	if class, _, _ := lx.subject(toks); class >= 0 {
		p.Class = Classes[class].ID
	}
	return p, names
}

// leadingDesignators takes the designators that stand first: one that stands
// later, as in "resistor for Q5", is a place and not the part's own.
func leadingDesignators(text string, toks []token) []string {
	n := 0
	for n < len(toks) && toks[n].letter >= 0 {
		n++
	}
	return designators(text, toks[:n])
}

// valueText gives the marking: from the first word that begins with a digit,
// with the point or the number sign before it, to the last word that is not
// the component's name. A lone count before a name ("2 dial lamps") is none.
func (lx *lexicon) valueText(text string, toks []token, from int) string {
	first := from
	for first < len(toks) && !toks[first].digits && toks[first].class < 0 {
		first++
	}
	if first == len(toks) {
		return ""
	}
	last := lx.beforeName(toks, first)
	if last < first || last == first && last+1 < len(toks) && isCount(text[toks[first].start:toks[first].end]) {
		return ""
	}
	start, end := int(toks[first].start), int(toks[last].end)
	for start > 0 && (text[start-1] == '.' || text[start-1] == '#') {
		start--
	}
	for end < len(text) && strings.IndexByte(`%)"`, text[end]) >= 0 {
		end++
	}
	return text[start:end]
}

// beforeName gives the last token of the marking that begins at first: the one
// before the component's name, where a name follows.
func (lx *lexicon) beforeName(toks []token, first int) int {
	for i := first; i < len(toks); i++ {
		if _, n := lx.classes.longest(toks[i:]); n > 0 && i+n == len(toks) {
			return i - 1
		}
	}
	return len(toks) - 1
}

// isCount reports whether a text is a small number of pieces.
func isCount(s string) bool {
	return len(s) == 1 && isDigit(s[0])
}
