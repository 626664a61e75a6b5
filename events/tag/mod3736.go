package tag

import (
	"errors"
	"fmt"
	"strings"
)

const alphanumeric = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"

// Mod3736 gives the check character of ISO/IEC 7064 MOD 37,36 for a body of
// the characters 0-9 and A-Z. It catches every single wrong character but not
// every swap: 004701 and 004710 both pass. It refuses an empty body and, by
// place, any other character, small letters included.
func Mod3736(body string) (byte, error) {
	if body == "" {
		return 0, errors.New("check character MOD 37,36: the body is empty")
	}
	p := 36
	for i, r := range body {
		a := strings.IndexRune(alphanumeric, r)
		if a < 0 {
			return 0, fmt.Errorf("check character MOD 37,36 of %q: character %d is %q, not 0-9 or A-Z", body, i+1, r)
		}
		s := (p + a) % 36
		if s == 0 {
			s = 36
		}
		p = 2 * s % 37
	}
	return alphanumeric[(37-p)%36], nil
}
