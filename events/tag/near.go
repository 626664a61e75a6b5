package tag

import "slices"

// longest is the length of the longest tag that Body can lead to: three digits
// of bench, ten of a uint32, one check.
const longest = 14

// Near lists the valid tags from which one slip leads to the given one: first
// those with two neighbouring digits swapped, then those with one other digit,
// then those where a digit was dropped or one too many was typed. Within a kind
// of slip they rise as text; a tag stands once, under its nearest kind; the
// given tag itself is never among them. What is not digits only, or is too long
// to have come from any tag of ours, has none.
//
// About two tags come back for every digit typed, most of which nobody wrote:
// the caller keeps those that exist.
func Near(tag string) []string {
	if !digitsOnly(tag) || len(tag) > longest+1 {
		return nil
	}
	s := slipped(tag)
	found := make([]string, 0, 2*len(tag)+4)
	for _, kind := range [][]string{s.swaps(), s.substitutions(), s.miscounts()} {
		slices.Sort(kind)
		for _, near := range kind {
			if len(near) >= 2 && near != tag && !slices.Contains(found, near) {
				found = append(found, near)
			}
		}
	}
	return found
}

// slip holds, for a tag of n digits, the state of the check before each digit
// and the state that would have to stand there for the rest to end in 0. With
// both at hand the one digit that mends a place is found without trying.
type slip struct {
	tag          string
	before, need [longest + 2]byte
}

func slipped(tag string) *slip {
	s := &slip{tag: tag}
	n := len(tag)
	for i := range n {
		s.before[i+1] = damm[s.before[i]][tag[i]-'0']
	}
	for i := n - 1; i >= 0; i-- {
		s.need[i] = source(tag[i]-'0', s.need[i+1])
	}
	return s
}

// swaps gives the valid tags with two neighbours the other way round.
func (s *slip) swaps() (found []string) {
	for i := 0; i+1 < len(s.tag); i++ {
		a, b := s.tag[i], s.tag[i+1]
		if damm[damm[s.before[i]][b-'0']][a-'0'] == s.need[i+2] {
			found = append(found, s.tag[:i]+string([]byte{b, a})+s.tag[i+2:])
		}
	}
	return found
}

// substitutions gives the valid tags with one digit changed, one for a place.
func (s *slip) substitutions() (found []string) {
	for i := range len(s.tag) {
		d := between(s.before[i], s.need[i+1])
		found = append(found, s.tag[:i]+string(d)+s.tag[i+1:])
	}
	return found
}

// miscounts gives the valid tags with one digit more or one less.
func (s *slip) miscounts() (found []string) {
	for i := range len(s.tag) + 1 {
		d := between(s.before[i], s.need[i])
		found = append(found, s.tag[:i]+string(d)+s.tag[i:])
	}
	for i := range len(s.tag) {
		if s.before[i] == s.need[i+1] {
			found = append(found, s.tag[:i]+s.tag[i+1:])
		}
	}
	return found
}

// between gives the digit that leads from one state to another.
func between(from, to byte) byte {
	return '0' + byte(slices.Index(damm[from][:], to))
}

// source gives the state from which digit leads to the state to.
func source(digit, to byte) byte {
	for from := range byte(10) {
		if damm[from][digit] == to {
			return from
		}
	}
	panic("unreachable: a column of the quasigroup lacks a digit")
}
