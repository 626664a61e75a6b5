package stats

import "math"

// pairSum is a sum in two floats: the second is what rounding has left of the first
// so far. Each addition and each product of two floats has a rounding error that is a
// float too (Knuth 1969, 4.2.2; Dekker 1971), so that only what the second loses is
// lost: some 30 digits hold.
type pairSum struct{ hi, lo float64 }

// plus adds a number.
func (s pairSum) plus(x float64) pairSum {
	sum := s.hi + x
	of := sum - s.hi
	return pairSum{sum, s.lo + ((s.hi - (sum - of)) + (x - of))}
}

// plusProduct adds x times y.
func (s pairSum) plusProduct(x, y float64) pairSum {
	product := x * y
	s = s.plus(product)
	s.lo += math.FMA(x, y, -product)
	return s
}

// plusTimes adds x times another sum.
func (s pairSum) plusTimes(x float64, o pairSum) pairSum {
	s = s.plusProduct(x, o.hi)
	s.lo += x * o.lo
	return s
}

// square is x times x.
func square(x float64) pairSum {
	s := pairSum{hi: x * x}
	s.lo = math.FMA(x, x, -s.hi)
	return s
}

// float is the sum as one number.
func (s pairSum) float() float64 { return s.hi + s.lo }
