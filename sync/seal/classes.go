package seal

import (
	"fmt"
	"math/bits"
)

// Limits. Each is checked before memory is taken for what it limits.
const (
	// MaxSealed is the size of sealed bytes, clear part included. An exchange
	// takes messages of up to 600 KiB, so there is room for its own headers.
	MaxSealed = 512 << 10

	// MaxPlain is the length of plain bytes. What does not pack at all still
	// fits under MaxSealed with what stands around it.
	MaxPlain = 500 << 10

	// minSealed is the least size class. A note, an intake and a part replaced
	// all come out at it.
	minSealed = 1 << 10
)

// Sealed bytes have one of 37 sizes: four to each doubling, from 1 KiB (1024,
// 1280, 1536, 1792, 2048, 2560 ...) to 512 KiB. Padding costs less than a
// quarter, and about a tenth on the average, above the least class. It hides how long
// a single text is, and of which kind a single event. It does not hide the
// order of size of what is sent, and a segment says in clear how many events
// it has.

// ClassOf is the size that n bytes are padded to.
func ClassOf(n int) int {
	if n <= minSealed {
		return minSealed
	}
	step := 1 << (bits.Len(uint(n-1)) - 3) // a quarter of the power of two below
	return (n + step - 1) / step * step
}

// CheckSize refuses a length that no sealed bytes have.
func CheckSize(n int) error {
	if n > MaxSealed {
		return fmt.Errorf("%d bytes, at most %d: %w", n, MaxSealed, ErrTooLarge)
	}
	if n != ClassOf(n) {
		return fmt.Errorf("%d bytes, which is no size that sealed bytes have: %w", n, ErrMalformed)
	}
	return nil
}
