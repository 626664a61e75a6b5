package invite

import (
	"fmt"
	"math/big"
	"slices"
	"strings"
	"unicode"
)

// The spelling is drawn in the package comment; it is part of the format.

const (
	letters   = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
	base      = 31 // a prime: no weight below it divides to nothing
	groupSize = 5  // four characters and their check
	lastMark  = 15 // added in the last group, so that a code cut short is found

	// MaxTyped is how long a text is read as a code: twice what the longest
	// takes with a dash behind each group.
	MaxTyped = 1000
)

// Mistyped says where what was typed is no code.
type Mistyped struct {
	Groups []int // from 1; none where it is not in one place
	Why    string
}

func (m *Mistyped) Error() string {
	if len(m.Groups) == 0 {
		return "code: " + m.Why
	}
	words := make([]string, len(m.Groups))
	for i, g := range m.Groups {
		words[i] = fmt.Sprint(g)
	}
	name := "group "
	if len(words) > 1 {
		name = "groups "
	}
	return "code: " + name + strings.Join(words, ", ") + ": " + m.Why
}

// Text spells the code, a dash between groups. It refuses addresses that do not
// fit into one.
func (c Code) Text() (string, error) {
	b, err := c.encode()
	if err != nil {
		return "", err
	}
	return spell(b), nil
}

func spell(b []byte) string {
	digits := digitsOf(b)
	groups := make([]string, 0, len(digits)/4)
	for i := 0; i < len(digits); i += 4 {
		g := digits[i : i+4 : i+4]
		g = append(g, check(g, i/4, i+4 == len(digits)))
		for j := range g {
			g[j] = letters[g[j]]
		}
		groups = append(groups, string(g))
	}
	return strings.Join(groups, "-")
}

// digitsOf writes bytes behind a leading 1 in base 31, in whole groups.
func digitsOf(b []byte) []byte {
	n := new(big.Int).SetBytes(append([]byte{1}, b...))
	var low []byte
	for d := new(big.Int); n.Sign() > 0; {
		n.QuoRem(n, big.NewInt(base), d)
		low = append(low, byte(d.Int64()))
	}
	for len(low)%4 != 0 {
		low = append(low, 0)
	}
	slices.Reverse(low)
	return low
}

// weigh is the sum that a group's check brings to zero.
func weigh(digits []byte, group int, last bool) int {
	sum := group + 1
	if last {
		sum += lastMark
	}
	for i, d := range digits {
		sum += (i + 1) * int(d)
	}
	return sum % base
}

// check is the digit that makes a group's sum zero: 25 is the inverse of 5.
func check(digits []byte, group int, last bool) byte {
	return byte((base - weigh(digits, group, last)) * 25 % base)
}

// Read reads a code as a person typed it. A *Mistyped error says in which
// group to look.
func Read(typed string) (Code, error) {
	b, err := unspell(typed)
	if err != nil {
		return Code{}, err
	}
	if b[0]>>4 == placeVersion {
		return Code{}, ErrPlaceCode
	}
	return decode(b)
}

// unspell gives the bytes that were spelt, at least one.
func unspell(typed string) ([]byte, error) {
	digits, err := normalise(typed)
	if err != nil {
		return nil, err
	}
	if err := checkGroups(digits); err != nil {
		return nil, err
	}
	n := new(big.Int)
	for i, d := range digits {
		if i%groupSize < groupSize-1 {
			n.Add(n.Mul(n, big.NewInt(base)), big.NewInt(int64(d)))
		}
	}
	b := n.Bytes()
	if len(b) < 2 || b[0] != 1 || len(digitsOf(b[1:])) != len(digits)/groupSize*4 {
		return nil, ErrNotCode
	}
	return b[1:], nil
}

// normalise takes the characters that mean something.
func normalise(typed string) (digits []byte, err error) {
	if len(typed) > MaxTyped {
		return nil, &Mistyped{Why: fmt.Sprintf("%d bytes, at most %d", len(typed), MaxTyped)}
	}
	for _, c := range typed {
		if unicode.IsSpace(c) || unicode.Is(unicode.Dash, c) {
			continue
		}
		if c >= 'a' && c <= 'z' {
			c += 'A' - 'a'
		}
		d := strings.IndexRune(letters, c)
		if d < 0 {
			return nil, &Mistyped{[]int{len(digits)/groupSize + 1}, fmt.Sprintf("%q does not occur: there is no 0, O, 1, I or L", c)}
		}
		digits = append(digits, byte(d))
	}
	if len(digits) == 0 {
		return nil, &Mistyped{Why: "nothing typed"}
	}
	return digits, nil
}

// checkGroups finds groups that don't fit. With a character too few or too
// many all groups behind it look wrong, so only the first is named then.
func checkGroups(digits []byte) error {
	whole, rest := len(digits)/groupSize, len(digits)%groupSize
	var wrong []int
	for g := range whole {
		if weigh(digits[g*groupSize:(g+1)*groupSize], g, rest == 0 && g == whole-1) != 0 {
			wrong = append(wrong, g+1)
		}
	}
	switch {
	case rest != 0 && len(wrong) == 0:
		return &Mistyped{[]int{whole + 1}, fmt.Sprintf("%d characters, want %d", rest, groupSize)}
	case rest != 0:
		return &Mistyped{wrong[:1], fmt.Sprintf("a character is missing or typed twice: %d in all, want a multiple of %d", len(digits), groupSize)}
	case len(wrong) == 1 && wrong[0] == whole:
		return &Mistyped{wrong, "a character is wrong, or the code goes on"}
	case len(wrong) > 0:
		return &Mistyped{wrong, "a character is wrong, or two are swapped"}
	}
	return nil
}
