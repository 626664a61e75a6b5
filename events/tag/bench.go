package tag

import (
	"fmt"
	"strconv"
)

const (
	lastShort = 8         // benches up to here have one digit
	firstLong = 9         // the first bench written as 9 and two digits
	lastLong  = 9 + 98    // 999 is kept back, for a longer prefix one day
	padded    = 3         // digits of the running number at the least
	reserved  = "999"     // no tag starts so
	maxNumber = 1<<32 - 1 // the running number is a uint32
)

// Body gives the tag, without its check digit, of the n-th set that a bench
// tags. Benches and numbers count from 1. It refuses bench 0, number 0 and
// every bench above 107: the prefix 999 is kept back for more benches.
func Body(bench, n uint32) (string, error) {
	prefix := ""
	switch {
	case bench >= 1 && bench <= lastShort:
		prefix = strconv.Itoa(int(bench))
	case bench >= firstLong && bench <= lastLong:
		prefix = fmt.Sprintf("9%02d", bench-firstLong)
	default:
		return "", fmt.Errorf("tag body for bench %d: benches are 1 to %d, the prefix %s is kept back", bench, lastLong, reserved)
	}
	if n == 0 {
		return "", fmt.Errorf("tag body for bench %d: number 0, sets count from 1", bench)
	}
	return fmt.Sprintf("%s%0*d", prefix, padded, n), nil
}

// Split gives the bench and the running number of a clean tag, check digit
// included. It refuses a tag whose check is wrong and one that Body would not
// have written, so that each pair of bench and number has a single tag.
func Split(tag string) (bench, n uint32, err error) {
	if !Valid(tag) {
		return 0, 0, fmt.Errorf("split tag %q: not digits with a right check digit", tag)
	}
	bench, number, err := cutBench(tag[:len(tag)-1])
	if err != nil {
		return 0, 0, fmt.Errorf("split tag %q: %w", tag, err)
	}
	if len(number) < padded || len(number) > padded && number[0] == '0' {
		return 0, 0, fmt.Errorf("split tag %q: running number %q is not written with %d digits or without leading zeros", tag, number, padded)
	}
	wide, err := strconv.ParseUint(number, 10, 64)
	if err != nil || wide == 0 || wide > maxNumber {
		return 0, 0, fmt.Errorf("split tag %q: running number %s is not within 1 to %d", tag, number, uint64(maxNumber))
	}
	return bench, uint32(wide), nil
}

// cutBench takes the prefix off a body of digits.
func cutBench(body string) (bench uint32, number string, err error) {
	switch first := body[0]; {
	case first == '0':
		return 0, "", fmt.Errorf("no tag starts with 0")
	case first != '9':
		return uint32(first - '0'), body[1:], nil
	case len(body) < len(reserved):
		return 0, "", fmt.Errorf("prefix %q is cut short", body)
	case body[:len(reserved)] == reserved:
		return 0, "", fmt.Errorf("the prefix %s is kept back", reserved)
	}
	return firstLong + 10*uint32(body[1]-'0') + uint32(body[2]-'0'), body[3:], nil
}
