// Package tag makes and checks the numbers written on the tags of a shop.
//
// A tag is tied to a set or stuck on it, and later somebody types it from
// there: in poor light, with one hand, on whatever keyboard stands near. So a
// tag is short, has digits only, and ends in a check digit. The check is
// Damm's, a quasigroup of ten elements (H. M. Damm, thesis, Marburg 2004; cited
// from memory): it catches every single wrong digit and every swap of two
// neighbours, which are the two slips that fingers make most. A check that
// needs letters would bring O and 0, I and 1 back.
//
// What is typed goes through Clean and then Valid. Where Valid says no, Near
// lists every tag that one slip could have turned into what was typed; the
// caller keeps those that exist and asks.
//
// Two benches that are not connected must never write the same tag. Body
// therefore puts the bench in front of the running number, in such a way that
// no prefix begins another one:
//
//	bench 1 .. 8      1 .. 8          1 007    5 2041
//	bench 9 .. 107    900 .. 998      900 007  998 2041
//	kept back         0, 999          no tag starts so
//
// The running number is decimal with at least three digits, so a tag has five
// digits for the first 999 sets of a low bench and grows by itself. A body
// never starts with 0, since leading zeros do not change Damm's check.
//
// Mod3736, Mod372 and Mod9710 are the checks of ISO/IEC 7064 for numbers, some
// with letters in them, as other people's papers carry them. They are not used
// for our own tags: the first lets some swaps pass, the second needs an
// asterisk, the third takes two digits.
package tag

import (
	"errors"
	"fmt"
	"strings"
	"unicode"
)

// damm is the quasigroup: the row is the state so far, the column the digit.
// Every row and every column holds each digit once, so both "which digit leads
// from here to there" and "where did I come from" have exactly one answer.
var damm = [10][10]byte{
	{0, 3, 1, 7, 5, 9, 8, 6, 4, 2},
	{7, 0, 9, 2, 1, 5, 4, 8, 6, 3},
	{4, 2, 0, 6, 8, 7, 1, 3, 5, 9},
	{1, 7, 5, 0, 9, 8, 3, 4, 2, 6},
	{6, 1, 2, 3, 0, 4, 5, 9, 7, 8},
	{3, 6, 7, 4, 2, 0, 9, 5, 8, 1},
	{5, 8, 6, 9, 7, 2, 0, 1, 3, 4},
	{8, 9, 4, 5, 3, 6, 2, 0, 1, 7},
	{9, 4, 3, 8, 6, 1, 7, 2, 0, 5},
	{2, 5, 8, 1, 4, 3, 6, 7, 9, 0},
}

// Check gives the check digit, as a character, that belongs behind body. It
// refuses a body that is empty or holds anything but the digits 0 to 9.
func Check(body string) (byte, error) {
	if body == "" {
		return 0, errors.New("check digit of a tag: the body is empty")
	}
	for i, r := range body {
		if r < '0' || r > '9' {
			return 0, fmt.Errorf("check digit of tag body %q: character %d is %q, not a digit", body, i+1, r)
		}
	}
	return '0' + fold(body), nil
}

// Append gives body with its check digit, or "" where Check refuses the body.
func Append(body string) string {
	c, err := Check(body)
	if err != nil {
		return ""
	}
	return body + string(c)
}

// Valid reports whether tag is digits only, at least two of them, and its last
// digit is the right check. It says nothing about whether the tag was given out.
func Valid(tag string) bool {
	return len(tag) >= 2 && digitsOnly(tag) && fold(tag) == 0
}

// Clean gives the digits of a tag as somebody typed, pasted or scanned it: it
// drops spaces, dashes of any width and one leading number sign, and turns
// full-width digits into plain ones. It gives "" where anything else remains.
// It does not look at the check digit.
func Clean(typed string) string {
	typed = strings.TrimSpace(typed)
	for _, sign := range []string{"#", "＃"} {
		if rest, found := strings.CutPrefix(typed, sign); found {
			typed = rest
			break
		}
	}
	var digits strings.Builder
	for _, r := range typed {
		switch {
		case r >= '0' && r <= '9':
			digits.WriteByte(byte(r))
		case r >= '０' && r <= '９':
			digits.WriteByte(byte(r-'０') + '0')
		case unicode.IsSpace(r), unicode.Is(unicode.Pd, r), r == '−':
		default:
			return ""
		}
	}
	return digits.String()
}

// fold runs digits through the quasigroup from state 0.
func fold(digits string) byte {
	var state byte
	for i := range len(digits) {
		state = damm[state][digits[i]-'0']
	}
	return state
}

func digitsOnly(s string) bool {
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return s != ""
}
