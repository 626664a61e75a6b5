package trade

import "slices"

// mode finds how the component named at token at failed: from its own clause
// where that says so, else from the whole text. In "weak FM, C7 leaky" the
// capacitor is leaky. It is -1 where nothing fits.
func (lx *lexicon) mode(toks []token, class, at int) (mode int, weak bool) {
	from, to := at, at+1
	for from > 0 && !toks[from].pauses {
		from--
	}
	for to < len(toks) && !toks[to].pauses {
		to++
	}
	if mode, weak = lx.modeIn(toks[from:to], class); mode >= 0 && !weak {
		return mode, false
	}
	return lx.modeIn(toks, class)
}

// modeIn takes the first mode usual in the class, else the first that is named
// at all, else the first weak word: "bad" or "dead" counts where nothing better
// is said.
func (lx *lexicon) modeIn(toks []token, class int) (mode int, weak bool) {
	other, weakly := -1, -1
	for i := 0; i < len(toks); {
		says, n := lx.modes.longest(toks[i:])
		if n == 0 {
			i++
			continue
		}
		if lx.denied(toks, i) {
			i += n
			continue
		}
		for _, m := range says {
			usual := isUsual(class, int(m.row))
			switch {
			case m.weak:
				if weakly < 0 {
					weakly = int(m.row)
				}
			case usual:
				return int(m.row), false
			case !m.ifUsed && other < 0:
				other = int(m.row)
			}
		}
		i += n
	}
	if other >= 0 {
		return other, false
	}
	return weakly, weakly >= 0
}

// denied reports whether the word before token i says that what follows is not
// so, as in "not shorted".
func (lx *lexicon) denied(toks []token, i int) bool {
	return i > 0 && !toks[i].pauses && toks[i-1].word != 0 && slices.Contains(lx.no[:], toks[i-1].word)
}

// usualModes holds, by class, a bit for each mode usual in it.
var usualModes = func() []uint64 {
	if len(Modes) > 64 {
		panic("trade: more modes than the bits that mark the usual ones")
	}
	bits := make([]uint64, len(Classes))
	for i, c := range Classes {
		for _, id := range c.Usual {
			m, ok := modeIndex[id]
			if !ok {
				panic("trade: class " + c.ID + " names a mode that is in no table: " + id)
			}
			bits[i] |= 1 << m
		}
	}
	return bits
}()

func isUsual(class, mode int) bool { return usualModes[class]>>mode&1 == 1 }
