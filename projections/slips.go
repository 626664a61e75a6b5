package projections

import (
	"slices"

	"oldhand/events"
	"oldhand/events/tag"
)

// longestSlipped is how long a text is at most for slips of the hand in it to be looked
// for. No form takes a longer one; in a record of a bench that keeps no rule one can be 300
// times as long, and what is looked for grows with the square of it.
const longestSlipped = events.MaxWord

// slips is how many slips of the hand lie between two texts: a wrong letter, a
// missing one, one too many, or two neighbours swapped each count one (optimal
// string alignment). It gives limit+1 as soon as there are more than limit.
func slips(a, b string, limit int) int {
	if a == b {
		return 0
	}
	if len(a)-len(b) > limit || len(b)-len(a) > limit || len(a) > longestSlipped {
		return limit + 1
	}
	var room [3][64]int
	before, last, now := room[0][:0], room[1][:0], room[2][:0]
	for j := range len(b) + 1 {
		last = append(last, j)
	}
	for i := 1; i <= len(a); i++ {
		now = append(now[:0], i)
		least := i
		for j := 1; j <= len(b); j++ {
			n := min(last[j]+1, now[j-1]+1, last[j-1]+choose(a[i-1] == b[j-1], 0, 1))
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				n = min(n, before[j-2]+1)
			}
			now = append(now, n)
			least = min(least, n)
		}
		if least > limit {
			return limit + 1
		}
		before, last, now = last, now, before
	}
	return min(last[len(b)], limit+1)
}

// keyLetters are what a key is made of, as far as slips are tried.
const keyLetters = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"

// OneSlip calls fn with every key that one slip of the hand could make of a
// key; some more than once.
func OneSlip(key string, fn func(string)) {
	if len(key) > longestSlipped {
		return
	}
	b := []byte(key)
	for i := range b {
		was := b[i]
		for j := range keyLetters {
			if b[i] = keyLetters[j]; b[i] != was {
				fn(string(b))
			}
		}
		b[i] = was
		if i+1 < len(b) && b[i] != b[i+1] {
			b[i], b[i+1] = b[i+1], b[i]
			fn(string(b))
			b[i], b[i+1] = b[i+1], b[i]
		}
		fn(key[:i] + key[i+1:])
	}
	for i := range len(b) + 1 {
		for j := range keyLetters {
			fn(key[:i] + keyLetters[j:j+1] + key[i:])
		}
	}
}

// nearKeys are the keys that one slip of the hand could make of a key, in order and
// each once, without the key itself.
func nearKeys(key string) []string {
	if len(key) > longestSlipped {
		return nil
	}
	near := make([]string, 0, (2*len(key)+1)*len(keyLetters)+2*len(key))
	OneSlip(key, func(n string) {
		if n != key {
			near = append(near, n)
		}
	})
	slices.Sort(near)
	return slices.Compact(near)
}

// Near reports whether two words are at most two slips of the hand apart.
func Near(a, b string) bool { return slips(a, b, 2) <= 2 }

// oneSlip offers the units whose serial is one slip of the hand away. Every serial
// that could be is looked for among those there are, in their order and on one way
// through them; nothing is looked for where enough was found to the letter, since
// all of that is likelier.
func (f *finder) oneSlip(key string) error {
	if len(key) < 4 || f.asLike(1) >= f.limit {
		return nil
	}
	near := nearKeys(key)
	places := make([][]byte, len(near))
	for i, n := range near {
		places[i] = termPrefix(bySerial, []byte(n))
	}
	return f.termsAt(places, func(i int) Match {
		return Match{Likeness: 1 - 1/float64(max(len(key), len(near[i]))), Why: "serial with one slip"}
	})
}

// nearTags offers the units whose tag one slip of the hand could have made the
// query, where its check digit is wrong.
func (f *finder) nearTags(query string) error {
	digits := tag.Clean(query)
	if len(digits) < 4 || tag.Valid(digits) {
		return nil
	}
	near := tag.Near(digits)
	slices.Sort(near)
	places := make([][]byte, len(near))
	for i, n := range near {
		places[i] = termPrefix(byTag, []byte(n))
	}
	return f.termsAt(places, func(i int) Match {
		return Match{Likeness: 1 - 1/float64(len(near[i])), Why: "tag with one slip"}
	})
}
