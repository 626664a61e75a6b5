package measure

import (
	"errors"
	"strings"
)

// number is a decimal as typed: mant x 10^exp. Where a single comma could be a
// thousands mark or a decimal comma, exp is for the former and commaExp for the
// latter.
type number struct {
	mant     int64
	exp      int
	plain    int // how many characters, if it is bare digits; else 0
	comma    bool
	commaExp int
}

var (
	errNoNumber = errors.New("no number found")
	errGroups   = errors.New("points and commas do not fit one number")
	errDigits   = errors.New("more than 18 digits")
	errTwo      = errors.New("two numbers in one reading")
	errExponent = errors.New("exponent out of range")
)

// scanNumber takes a number off the front of s: a sign, digits with points and
// commas, then an exponent or a vulgar fraction.
func scanNumber(s string) (n number, rest string, err error) {
	body, negative := cutSign(s)
	run := numberRun(body)
	if run == "" {
		return n, s, errNoNumber
	}
	if n, err = readRun(run); err != nil {
		return n, s, err
	}
	rest = body[len(run):]
	if rest, err = n.exponent(rest); err != nil {
		return n, s, err
	}
	if rest, err = n.fraction(rest); err != nil {
		return n, s, err
	}
	if len(body) != len(s) {
		n.plain = 0
	}
	if negative {
		n.mant = -n.mant
	}
	return n, rest, nil
}

func cutSign(s string) (body string, negative bool) {
	for _, minus := range []string{"-", "−"} {
		if body, found := strings.CutPrefix(s, minus); found {
			return strings.TrimLeft(body, " "), true
		}
	}
	if body, found := strings.CutPrefix(s, "+"); found {
		return strings.TrimLeft(body, " "), false
	}
	return s, false
}

// numberRun gives the digits, points and commas at the front of s, or "" if
// there is no digit. A comma must have a digit behind it.
func numberRun(s string) string {
	end, seen := 0, false
	for ; end < len(s); end++ {
		switch c := s[end]; {
		case isDigit(c):
			seen = true
		case c == '.' && (seen || end+1 < len(s) && isDigit(s[end+1])):
		case c == ',' && end+1 < len(s) && isDigit(s[end+1]):
		default:
			return ifSeen(s[:end], seen)
		}
	}
	return ifSeen(s[:end], seen)
}

func ifSeen(s string, seen bool) string {
	if seen {
		return s
	}
	return ""
}

// readRun settles which of points and commas is the decimal mark.
func readRun(run string) (n number, err error) {
	points, commas := strings.Count(run, "."), strings.Count(run, ",")
	switch {
	case points == 0 && commas == 0:
		n, err = digitsOf(run, "", 0)
		n.plain = len(run)
		return n, err
	case points > 0 && commas > 0:
		return mixedRun(run, points, commas)
	case points == 1:
		whole, frac, _ := strings.Cut(run, ".")
		return digitsOf(whole, frac, 0)
	case commas == 1:
		return oneComma(run)
	case points > 1:
		return digitsOf(run, "", '.')
	}
	return digitsOf(run, "", ',')
}

// mixedRun reads a number with both marks: the later is the decimal one.
func mixedRun(run string, points, commas int) (number, error) {
	decimal, count, group := ".", points, byte(',')
	if strings.LastIndexByte(run, ',') > strings.LastIndexByte(run, '.') {
		decimal, count, group = ",", commas, '.'
	}
	if count != 1 {
		return number{}, errGroups
	}
	whole, frac, _ := strings.Cut(run, decimal)
	return digitsOf(whole, frac, group)
}

// oneComma reads a number whose only mark is one comma. It is a decimal comma
// unless one to three digits, the first not 0, stand before it and exactly
// three behind it; then both readings are kept.
func oneComma(run string) (number, error) {
	whole, frac, _ := strings.Cut(run, ",")
	n, err := digitsOf(whole, frac, 0)
	if err != nil || whole == "" || whole[0] == '0' || len(whole) > 3 || len(frac) != 3 {
		return n, err
	}
	n.comma, n.commaExp, n.exp = true, n.exp, 0
	return n, nil
}

// digitsOf adds up the digits before and behind the decimal mark; group is the
// thousands mark of the whole part, or 0.
func digitsOf(whole, frac string, group byte) (n number, err error) {
	since, groups := 0, 0
	for i := range len(whole) {
		c := whole[i]
		if c == group && group != 0 {
			if since == 0 || since > 3 || groups > 0 && since != 3 {
				return n, errGroups
			}
			since, groups = 0, groups+1
			continue
		}
		since++
		if err := n.push(c); err != nil {
			return n, err
		}
	}
	if groups > 0 && since != 3 {
		return n, errGroups
	}
	for i := range len(frac) {
		if err := n.push(frac[i]); err != nil {
			return n, err
		}
	}
	n.exp = -len(frac)
	return n, nil
}

func (n *number) push(c byte) error {
	if !isDigit(c) {
		return errGroups
	}
	if n.mant >= 1e17 { // maxDigits stand there already
		return errDigits
	}
	n.mant = n.mant*10 + int64(c-'0')
	return nil
}

// exponent takes e-12 or E+06 off the front. The sign must be there: without
// one, a letter between digits marks a decimal point on some parts.
func (n *number) exponent(rest string) (string, error) {
	if len(rest) < 3 || rest[0]|0x20 != 'e' || rest[1] != '-' && rest[1] != '+' || !isDigit(rest[2]) {
		return rest, nil
	}
	end, exp := 2, 0
	for ; end < len(rest) && isDigit(rest[end]); end++ {
		if exp = exp*10 + int(rest[end]-'0'); exp > 99 {
			return rest, errExponent
		}
	}
	if rest[1] == '-' {
		exp = -exp
	}
	n.exp, n.commaExp, n.plain = n.exp+exp, n.commaExp+exp, 0
	return rest[end:], nil
}

// fraction takes /2 of 1/2 or the second part of 1 7/8 off the front. Only a
// proper fraction of halves, quarters and so on to 64ths is exact as a decimal
// and common on parts (1/2 W, 1 7/8 ips); any other stroke between digits is two
// numbers.
func (n *number) fraction(rest string) (string, error) {
	whole, top, tail := int64(0), n.mant, rest
	if strings.HasPrefix(rest, " ") && n.plain > 0 {
		run := numberRun(rest[1:])
		above, err := digitsOf(run, "", 0)
		if run == "" || err != nil || !strings.HasPrefix(rest[1+len(run):], "/") {
			return rest, nil
		}
		whole, top, tail = n.mant, above.mant, rest[1+len(run):]
	}
	if len(tail) < 2 || tail[0] != '/' || !isDigit(tail[1]) {
		return rest, nil
	}
	run := numberRun(tail[1:])
	below, err := digitsOf(run, "", 0)
	if err != nil || n.plain == 0 || !halving(below.mant) || top >= below.mant || whole > 1e9 {
		return rest, errTwo
	}
	n.mant, n.exp, n.plain = whole*1e6+top*1e6/below.mant, -6, 0
	return tail[1+len(run):], nil
}

func halving(n int64) bool { return n >= 2 && n <= 64 && n&(n-1) == 0 }

func isDigit(c byte) bool { return c >= '0' && c <= '9' }
