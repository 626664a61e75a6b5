package measure

import (
	"fmt"
	"math"
	"math/big"
)

// Judged is what came of holding a reading against limits.
type Judged struct {
	Result
	// Why says by what the reading is off, or why it was not judged.
	Why string
}

// Result is how a reading stands to its limits.
type Result uint8

// The results. NotJudged is never within: who wants that has to look.
const (
	NotJudged Result = iota
	Within
	Below
	Above
	OtherAnswer // no where yes was wanted
)

func (r Result) String() string {
	switch r {
	case Within:
		return "within"
	case Below:
		return "below"
	case Above:
		return "above"
	case OtherAnswer:
		return "no"
	}
	return "not judged"
}

// Off reports whether a reading was judged and is not within.
func (r Result) Off() bool { return r > Within }

// Judge holds a reading against limits, exactly: a reading at an end is within,
// however the two were typed. Beside is the reading that the limits are relative
// to, or nil where there is none. It says nothing of safety: a reading within
// somebody's limit is that and no more.
func (l Limits) Judge(v Value, beside *Value) Judged {
	switch {
	case l.None():
		return Judged{Why: "there are no limits"}
	case v.Unit == "":
		return Judged{Why: "the reading is no value"}
	case l.answered:
		return l.judgeAnswer(v)
	case l.Beside == "":
		return l.judgeEnds(v, v.Unit, func(end Value) int { return v.Compare(end) }, v.Canonical())
	case beside == nil || beside.Unit == "":
		return Judged{Why: l.Beside + " was not read"}
	case v.Unit != beside.Unit:
		return Judged{Why: fmt.Sprintf("%s and %s of %s are not of one unit", v.Canonical(), beside.Canonical(), l.Beside)}
	}
	return l.judgeBeside(v, *beside)
}

// JudgeAmplitude is Judge for a reading of what alternates: rms, peak, or neither
// said, which is taken for rms, as meters read (common practice, no source; so are
// limits). Between the two lies a factor that only a sine has, so they are not
// compared, but for one thing that is certain: the peak is no less than the rms, and
// an rms reading above a peak limit is above it.
func (l Limits) JudgeAmplitude(v Value, peak bool, beside *Value) Judged {
	j := l.Judge(v, beside)
	switch {
	case l.peak == peak || l.None() || l.Beside != "" || j.Result == NotJudged:
		return j
	case l.peak && j.Result == Above:
		return j
	case l.peak:
		return Judged{Why: "the limit is of the peak, and the reading is rms"}
	}
	return Judged{Why: "the limit is rms, and the reading is of the peak"}
}

func (l Limits) judgeAnswer(v Value) Judged {
	if v.Unit != YesOrNo {
		return Judged{Why: "the reading is neither yes nor no"}
	}
	if (v.Mant == 1) != l.wanted {
		return Judged{OtherAnswer, "it is " + yesNo(v.Mant) + ", and should be " + l.String()}
	}
	return Judged{Result: Within}
}

// judgeEnds compares with both ends, which are in a unit.
func (l Limits) judgeEnds(v Value, unit Unit, compare func(end Value) int, read string) Judged {
	for _, end := range []struct {
		text   string
		value  Value
		result Result
		strict bool
		sign   int
		word   string
	}{{l.Low, l.low, Below, l.overLow, -1, "below "}, {l.High, l.high, Above, l.underHigh, 1, "above "}} {
		if end.text == "" {
			continue
		}
		if end.value.Unit != unit {
			return Judged{Why: fmt.Sprintf("%s and the limit %s are not of one unit", read, end.text)}
		}
		switch c := compare(end.value); {
		case c == end.sign:
			return Judged{end.result, read + " is " + end.word + end.text + of(l.Beside)}
		case c == 0 && end.strict:
			return Judged{end.result, read + " is not " + map[Result]string{Below: "over ", Above: "under "}[end.result] + end.text + of(l.Beside)}
		}
	}
	return Judged{Result: Within}
}

// judgeBeside holds a reading against another: by level, in percent, or by the
// difference.
func (l Limits) judgeBeside(v, beside Value) Judged {
	unit := l.low.Unit
	if l.Low == "" {
		unit = l.high.Unit
	}
	a, b := exact(v), exact(beside)
	off := new(big.Rat).Sub(a, b)
	switch {
	case unit == Decibel && v.Unit != Decibel:
		return l.judgeLevel(v, a, b)
	case unit == Percent:
		if b.Sign() == 0 {
			return Judged{Why: l.Beside + " reads nothing, so there is no percentage of it"}
		}
		off.Mul(off, big.NewRat(100, 1)).Quo(off, new(big.Rat).Abs(b))
		unit = Percent
	default:
		unit = v.Unit
	}
	read := shortDecimal(off) + " " + symbolOfBase(unit)
	return l.judgeEnds(v, unit, func(end Value) int { return off.Cmp(exact(end)) }, read)
}

// judgeLevel compares a ratio with limits in dB.
func (l Limits) judgeLevel(v Value, a, b *big.Rat) Judged {
	factor := int64(20)
	if v.Unit == Watt {
		factor = 10
	}
	switch {
	case b.Sign() == 0:
		return Judged{Why: l.Beside + " reads nothing, so there is no level beside it"}
	case b.Sign() < 0 || a.Sign() < 0:
		return Judged{Why: "a value below zero has no level"}
	case a.Sign() == 0 && l.Low != "":
		return Judged{Below, "nothing is read, and " + l.Beside + " is there"}
	case a.Sign() == 0:
		return Judged{Result: Within}
	}
	ratio := new(big.Rat).Quo(a, b)
	near, _ := ratio.Float64()
	level := float64(factor) * math.Log10(near)
	return l.judgeEnds(v, Decibel, func(end Value) int { return compareLevel(ratio, level, end, factor) }, fmt.Sprintf("%.2f dB", level))
}

// closeLevels is how near to a limit a level in floating point decides nothing.
// Its error is below 1e-12 dB.
const closeLevels = 1e-6

// compareLevel compares a ratio with a limit in dB. Where the two are close,
// it is done by whole numbers: a ratio r is over d/f of a power of ten when
// r^q > 10^p, with p/q = d/f in lowest terms.
func compareLevel(ratio *big.Rat, level float64, end Value, factor int64) int {
	if d := level - end.Float(); math.Abs(d) > closeLevels {
		return sign(int64(math.Copysign(1, d)))
	}
	power := new(big.Rat).Quo(exact(end), big.NewRat(factor, 1))
	q := power.Denom()
	left := new(big.Int).Exp(ratio.Num(), q, nil)
	right := new(big.Int).Exp(ratio.Denom(), q, nil)
	tens := new(big.Int).Exp(big.NewInt(10), new(big.Int).Abs(power.Num()), nil)
	if power.Sign() < 0 {
		left.Mul(left, tens)
	} else {
		right.Mul(right, tens)
	}
	return left.Cmp(right)
}

// exact is a value as a ratio of whole numbers.
func exact(v Value) *big.Rat {
	tens := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(max(v.Exp, -v.Exp))), nil)
	if v.Exp < 0 {
		return new(big.Rat).SetFrac(big.NewInt(v.Mant), tens)
	}
	return new(big.Rat).SetInt(tens.Mul(tens, big.NewInt(v.Mant)))
}

// shortDecimal writes a ratio with as many of four decimals as it has.
func shortDecimal(r *big.Rat) string {
	text := r.FloatString(4)
	for len(text) > 1 && text[len(text)-1] == '0' {
		text = text[:len(text)-1]
	}
	if text[len(text)-1] == '.' {
		text = text[:len(text)-1]
	}
	return text
}

func symbolOfBase(u Unit) string {
	for _, s := range stepsOf(u) {
		if s.exp == 0 {
			return s.symbol
		}
	}
	return string(u)
}
