package trade

import (
	"strings"
	"unicode"
)

// Finding is one thing that was found wrong, read from free text. Component
// and Mode are ids, empty where the text does not tell.
type Finding struct {
	Component   string
	Mode        string
	Designators []string // in capitals, in the order typed
	Text        string   // as typed, without outer space
}

// Matched reports whether both halves of the finding were understood.
func (f Finding) Matched() bool { return f.Component != "" && f.Mode != "" }

// Read reads the findings that a text tells of, in its order. Findings are
// parted by semicolons and lines, and by commas and full stops only where each
// side alone names a component and how it failed: "C14 open, no audio" is one
// finding. A part that no phrase fits is a finding with its text alone. An
// empty text has no findings.
func Read(text string) []Finding {
	var out []Finding
	lx := words()
	for len(text) > 0 {
		var part string
		if i := strings.IndexAny(text, ";\r\n"); i >= 0 {
			part, text = text[:i], text[i+1:]
		} else {
			part, text = text, ""
		}
		if part = strings.TrimSpace(part); part != "" {
			out = lx.readPart(part, out)
		}
	}
	return out
}

// readPart reads a text without semicolons into one finding or more.
func (lx *lexicon) readPart(text string, out []Finding) []Finding {
	var buf [40]token
	toks := lx.scan(text, buf[:0])
	from, start := 0, 0
	for {
		cut := lx.safeCut(text, toks, from)
		if cut < 0 {
			return append(out, lx.finding(text[start:], toks[from:], text))
		}
		end := int(toks[cut].start)
		out = append(out, lx.finding(strings.TrimRight(text[start:end], " ,.\t"), toks[from:cut], text))
		from, start = cut, end
	}
}

// longText is the number of words beyond which commas part nothing: trying each
// of them costs the square of the length, and what is that long is a letter and
// no list.
const longText = 200

// safeCut finds the first token after from where the text may be parted: after
// a comma or a full stop with a space, and with a whole finding on either side.
// A piece that is only designators belongs to what follows it.
func (lx *lexicon) safeCut(text string, toks []token, from int) int {
	if len(toks) > longText {
		return -1
	}
	for i := from + 1; i < len(toks); i++ {
		if !pausesBefore(text, toks, i) {
			continue
		}
		end := i + 1
		for end < len(toks) && (!pausesBefore(text, toks, end) || onlyDesignators(toks[i:end])) {
			end++
		}
		if lx.whole(toks[from:i]) && lx.whole(toks[i:end]) {
			return i
		}
	}
	return -1
}

// pausesBefore reports whether a comma stands before token i, or the end of a
// sentence: a full stop, a space and a capital. In a text all in capitals a
// full stop says nothing, since "VOL. CONTROL" has one too.
func pausesBefore(text string, toks []token, i int) bool {
	between := text[toks[i-1].end:toks[i].start]
	if strings.IndexByte(between, ',') >= 0 {
		return true
	}
	next := text[toks[i].start]
	return strings.Contains(between, ". ") && next >= 'A' && next <= 'Z' && strings.ContainsFunc(text, unicode.IsLower)
}

func onlyDesignators(toks []token) bool {
	for i := range toks {
		if toks[i].letter < 0 {
			return false
		}
	}
	return true
}

// whole reports whether tokens name, with no weak word, a component and how it
// failed.
func (lx *lexicon) whole(toks []token) bool {
	class, at, weak := lx.subject(toks)
	if class < 0 || weak {
		return false
	}
	mode, weak := lx.mode(toks, class, at)
	return mode >= 0 && !weak
}

func (lx *lexicon) finding(part string, toks []token, text string) Finding {
	f := Finding{Text: part, Designators: designators(text, toks)}
	class, at, _ := lx.subject(toks)
	if class < 0 {
		return f
	}
	f.Component = Classes[class].ID
	if mode, _ := lx.mode(toks, class, at); mode >= 0 {
		f.Mode = Modes[mode].ID
	}
	return f
}

func designators(text string, toks []token) []string {
	n := 0
	for i := range toks {
		if toks[i].letter >= 0 {
			n++
		}
	}
	if n == 0 {
		return nil
	}
	out := make([]string, 0, n)
	for i := range toks {
		if toks[i].letter >= 0 {
			d := text[toks[i].start:toks[i].end]
			out = append(out, strings.ToUpper(strings.Replace(d, "-", "", 1)))
		}
	}
	return out
}
