package trade

// token is one word of a text, by its place in the text.
type token struct {
	start, end int32
	word       word
	letter     int16 // place in Letters of a designator's letters, else -1
	class      int16 // place in Classes that the word itself shows, as a tube type does, else -1
	breaks     bool  // a comma or another mark that parts names stands before it
	pauses     bool  // a mark that parts clauses stands before it: those, a bracket, a colon, a dash between spaces
	digits     bool  // it begins with a digit
}

// maxWord is the longest word that is looked up. A longer one is kept as a
// token that nothing matches.
const maxWord = 32

// scan cuts a text into tokens, appended to toks. Words are runs of letters,
// digits and apostrophes; what lies between them only parts them.
func (lx *lexicon) scan(text string, toks []token) []token {
	var low [maxWord]byte
	breaks, pauses := false, false
	for i := 0; i < len(text); {
		c := text[i]
		if !isWord(c) {
			breaks = breaks || c == ',' || c == ';' || c == '\n'
			pauses = pauses || breaks || c == ':' || c == '(' || c == ')' || c == '-' && spaced(text, i)
			i++
			continue
		}
		start, n := i, 0
		for i < len(text) && isWord(text[i]) {
			if n < maxWord {
				low[n] = lower(text[i])
			}
			n++
			i++
		}
		t := token{start: int32(start), end: int32(i), letter: -1, class: -1, breaks: breaks, pauses: pauses, digits: isDigit(c)}
		breaks, pauses = false, false
		if n <= maxWord {
			i = lx.name(&t, text, low[:n], i)
		}
		toks = append(toks, t)
	}
	return toks
}

// spaced reports whether a space stands on either side of the mark at i.
func spaced(text string, i int) bool {
	return i > 0 && i+1 < len(text) && text[i-1] == ' ' && text[i+1] == ' '
}

// name says what a token is: a word of the lexicon, a designator, or a type
// number. It returns where the token ends, which for a designator written as
// C-14 is past the first run of letters.
func (lx *lexicon) name(t *token, text string, low []byte, end int) int {
	if l, to := lx.dashed(text, low, end); to > end {
		t.letter, t.end = l, int32(to)
		return to
	}
	if t.word = lx.lookup(low); t.word != 0 {
		return end
	}
	if l, ok := lx.designator(low); ok {
		t.letter = l
		return end
	}
	t.class = typeNumber(low)
	return end
}

// designator reads letters of a class, digits and at most one letter behind
// them, as C14, DS1 or C1A.
func (lx *lexicon) designator(low []byte) (letter int16, ok bool) {
	n := letterRun(low)
	if n == 0 || n > 2 {
		return 0, false
	}
	d := digitRun(low[n:])
	rest := len(low) - n - d
	if d == 0 || d > 4 || rest > 1 || rest == 1 && !isLetter(low[len(low)-1]) {
		return 0, false
	}
	return lx.letterClass(low[:n])
}

// dashed reads a designator written with a dash, as C-14. More than three
// digits, or letters behind them, are a model or a serial.
func (lx *lexicon) dashed(text string, low []byte, end int) (letter int16, to int) {
	if len(low) > 2 || letterRun(low) != len(low) || end >= len(text) || text[end] != '-' {
		return 0, end
	}
	to = end + 1
	for to < len(text) && isDigit(text[to]) {
		to++
	}
	if d := to - end - 1; d == 0 || d > 3 || to < len(text) && isWord(text[to]) {
		return 0, end
	}
	letter, ok := lx.letterClass(low)
	if !ok {
		return 0, end
	}
	return letter, to
}

func (lx *lexicon) letterClass(low []byte) (int16, bool) {
	var up [2]byte
	for i, c := range low {
		up[i] = c &^ 0x20
	}
	l, ok := lx.letters[string(up[:len(low)])]
	return l, ok
}

var (
	tubeRow       = int16(classIndex["tube"])
	diodeRow      = int16(classIndex["diode"])
	transistorRow = int16(classIndex["transistor"])
)

// typeNumber knows a component by its type number: American tubes (6V6,
// 12AX7), Pro Electron tubes (ECC83), 1N diodes, 2N and 2S transistors.
func typeNumber(low []byte) int16 {
	switch {
	case len(low) >= 4 && low[0] == '1' && low[1] == 'n' && digitRun(low[2:]) >= 2:
		return diodeRow
	case len(low) >= 4 && low[0] == '2' && low[1] == 'n' && digitRun(low[2:]) >= 2:
		return transistorRow
	case len(low) >= 5 && low[0] == '2' && low[1] == 's' && low[2] >= 'a' && low[2] <= 'k' && digitRun(low[3:]) >= 2:
		return transistorRow
	case isTubeType(low), isProElectron(low):
		return tubeRow
	}
	return -1
}

// isTubeType reads heater volts, letters and the number of elements. A single
// letter that also stands at the decimal point of a value (4K7, 2U2) makes a
// tube only in the types listed.
func isTubeType(low []byte) bool {
	v := digitRun(low)
	if v == 0 || v > 3 {
		return false
	}
	a := letterRun(low[v:])
	if a == 0 || a > 2 || v+a >= len(low) {
		return false
	}
	e := digitRun(low[v+a:])
	if e != 1 || letterRun(low[v+a+e:]) != len(low)-v-a-e || len(low)-v-a-e > 3 {
		return false
	}
	if a == 1 {
		switch low[v] {
		case 'k', 'm', 'r', 'u', 'n', 'p':
			return tubeLikeValue[string(low)]
		}
	}
	return true
}

// tubeLikeValue are the common tubes whose type reads like a value.
var tubeLikeValue = map[string]bool{
	"1r5": true, "1u4": true, "1u5": true, "1n5": true, "6k6": true, "6k7": true, "6u5": true, "6u8": true, "6r7": true,
	"6k6gt": true, "6k7gt": true, "6u8a": true, "6m5": true, "1n5gt": true, "6p5": true, "6n7": true,
}

func isProElectron(low []byte) bool {
	a := letterRun(low)
	if a < 2 || a > 4 || digitRun(low[a:]) != len(low)-a || len(low)-a < 2 || len(low)-a > 3 {
		return false
	}
	switch low[0] {
	case 'a', 'd', 'e', 'p', 'u', 'g':
	default:
		return false
	}
	for _, c := range low[1:a] {
		switch c {
		case 'a', 'b', 'c', 'd', 'f', 'h', 'k', 'l', 'm', 'q', 'y', 'z':
		default:
			return false
		}
	}
	return true
}

func letterRun(s []byte) int {
	n := 0
	for n < len(s) && isLetter(s[n]) {
		n++
	}
	return n
}

func digitRun(s []byte) int {
	n := 0
	for n < len(s) && isDigit(s[n]) {
		n++
	}
	return n
}

func isLetter(c byte) bool { return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' }
func isDigit(c byte) bool  { return c >= '0' && c <= '9' }

// isWord takes every byte beyond ASCII as a letter, so that a word of another
// language stays whole and matches nothing by a part of it.
func isWord(c byte) bool { return isLetter(c) || isDigit(c) || c == '\'' || c >= 0x80 }

func lower(c byte) byte {
	if c >= 'A' && c <= 'Z' {
		return c | 0x20
	}
	return c
}
