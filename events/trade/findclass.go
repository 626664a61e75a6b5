package trade

// subject finds the class of the component that a finding is about: the first
// that is named, at token at. It is -1 where nothing is named; weak tells that
// only a weak phrase names it.
func (lx *lexicon) subject(toks []token) (class, at int, weak bool) {
	weakly, weakAt := -1, 0
	for i := 0; i < len(toks); {
		if run, class := lx.designated(toks[i:]); run > 0 {
			if class >= 0 {
				return class, i, false
			}
			i += run
			continue
		}
		says, n := lx.classes.longest(toks[i:])
		switch {
		case n == 0:
			i++
		case says[0].weak:
			if weakly < 0 {
				weakly, weakAt = int(says[0].row), i
			}
			i += n
		default:
			class, _ := lx.lastNoun(toks[i:])
			return class, i, false
		}
	}
	return weakly, weakAt, weakly >= 0
}

// designated reads the run of designators or type numbers at the start of toks
// and tells the class of what they stand for: that of the words behind them,
// which say better than a letter what it is, else that which the letters
// suggest.
func (lx *lexicon) designated(toks []token) (run, class int) {
	class = -1
	for run < len(toks) && (toks[run].letter >= 0 || toks[run].class >= 0 || run > 0 && toks[run].word == lx.and && !toks[run].breaks) {
		if c := suggested(&toks[run]); class < 0 {
			class = c
		}
		run++
	}
	if run == 0 || run == len(toks) || toks[run].breaks {
		return run, class
	}
	if noun, n := lx.lastNoun(toks[run:]); n > 0 {
		return run, noun
	}
	if _, n := lx.modes.longest(toks[run:]); n > 0 && run+n < len(toks) && !toks[run+n].breaks {
		if noun, m := lx.lastNoun(toks[run+n:]); m > 0 && belongs[Classes[noun].ID] {
			return run, noun
		}
	}
	return run, class
}

// belongs are the classes that are named by the part they sit at, so that "V3
// dirty socket" is about the socket and "P2 cracked joint" about the joint.
var belongs = map[string]bool{"solder-joint": true, "tube-socket": true, "socket": true, "lamp-socket": true}

// suggested gives the class that a designator's letters or a type number
// suggest, -1 where they suggest none.
func suggested(t *token) int {
	if t.letter >= 0 {
		return letterClasses[t.letter]
	}
	return int(t.class)
}

// letterClasses gives, by place in Letters, the place in Classes.
var letterClasses = func() []int {
	to := make([]int, len(Letters))
	for i, l := range Letters {
		to[i] = -1
		if l.Class == "" {
			continue
		}
		class, ok := classIndex[l.Class]
		if !ok {
			panic("trade: letter " + l.Letters + " names a class that is in no table: " + l.Class)
		}
		to[i] = class
	}
	return to
}()

// lastNoun follows the names that stand side by side at the start of toks and
// gives the last, with the number of words in all of them: in "volume control
// solder joint" the joint is the thing.
func (lx *lexicon) lastNoun(toks []token) (class, length int) {
	class = -1
	for length < len(toks) && (length == 0 || !toks[length].breaks) {
		says, n := lx.classes.longest(toks[length:])
		if n == 0 || says[0].weak {
			break
		}
		class = int(says[0].row)
		length += n
	}
	return class, length
}
