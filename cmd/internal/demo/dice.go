package demo

import (
	"encoding/binary"
	"math/bits"
	"math/rand/v2"
)

// dice is where all chance of a story comes from: a PCG and integer arithmetic
// only. Floats are kept out because a compiler may fuse a multiplication and an
// addition on one machine and not on another, and then one seed would tell two
// stories.
type dice struct{ pcg *rand.PCG }

func newDice(seed, stream uint64) dice { return dice{rand.NewPCG(seed, stream)} }

// below gives 0 to n-1.
func (d dice) below(n int) int {
	high, _ := bits.Mul64(d.pcg.Uint64(), uint64(n))
	return int(high)
}

// between gives lo to hi, both in.
func (d dice) between(lo, hi int) int { return lo + d.below(hi-lo+1) }

// chance is true so many times in a thousand.
func (d dice) chance(permille int) bool { return d.below(1000) < permille }

// near gives a number around mid, at most spread away and mostly much closer.
func (d dice) near(mid, spread int) int {
	sum := 0
	for range 4 {
		sum += d.between(-spread, spread)
	}
	return mid + sum/4
}

func (d dice) fill(b []byte) {
	var word [8]byte
	for len(b) > 0 {
		binary.BigEndian.PutUint64(word[:], d.pcg.Uint64())
		b = b[copy(b, word[:]):]
	}
}

func pick[T any](d dice, from []T) T { return from[d.below(len(from))] }

// days gives the days a set is in the shop.
func (d dice) days() int {
	i := d.below(len(daysInShop) - 1)
	return d.between(daysInShop[i], daysInShop[i+1])
}

// daysInShop is a log-normal distribution of median 21 days and sigma 0.75 at
// 0.5 %, then every 2.5 %, then 99.5 %.
var daysInShop = [41]int{3, 5, 6, 7, 8, 9, 10, 10, 11, 12, 13, 13, 14, 15, 16, 17, 17, 18, 19, 20, 21,
	22, 23, 24, 25, 27, 28, 30, 31, 33, 35, 37, 39, 42, 46, 50, 55, 62, 72, 91, 145}
