package tag

import (
	"errors"
	"fmt"
	"strings"
)

// Mod372 gives the check character of ISO/IEC 7064 MOD 37-2 for a body of the
// characters 0-9 and A-Z. It is one of those or, for one body in 37, an
// asterisk, which no file name should have. It refuses an empty body and, by
// place, any other character.
func Mod372(body string) (byte, error) {
	if body == "" {
		return 0, errors.New("check character MOD 37-2: the body is empty")
	}
	p := 0
	for i, r := range body {
		a := strings.IndexRune(alphanumeric, r)
		if a < 0 {
			return 0, fmt.Errorf("check character MOD 37-2 of %q: character %d is %q, not 0-9 or A-Z", body, i+1, r)
		}
		p = (p + a) * 2 % 37
	}
	return (alphanumeric + "*")[(38-p)%37], nil
}

// Mod9710 gives the two check digits of ISO/IEC 7064 MOD 97-10 for a body of
// digits. It refuses an empty body and, by place, what is no digit.
func Mod9710(body string) (string, error) {
	if body == "" {
		return "", errors.New("check digits MOD 97-10: the body is empty")
	}
	rest := 0
	for i, r := range body {
		if r < '0' || r > '9' {
			return "", fmt.Errorf("check digits MOD 97-10 of %q: character %d is %q, not a digit", body, i+1, r)
		}
		rest = (rest*10 + int(r-'0')) % 97
	}
	return fmt.Sprintf("%02d", 98-rest*100%97), nil
}
