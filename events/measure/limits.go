package measure

import (
	"errors"
	"fmt"
	"strings"
)

// Limits are what a reading is held against. Both ends count as within, but for
// one that was typed as "under" or "over". The zero Limits hold nothing.
type Limits struct {
	// Low and High are the ends as they would be typed alone, with their units;
	// empty for an end that is not there.
	Low, High string
	// Beside is the point whose reading the ends are relative to: in dB, in
	// percent, or in the reading's own unit. Empty where they are not relative.
	Beside string

	kind               Kind
	low, high          Value
	overLow, underHigh bool // the end itself is not within
	answered, wanted   bool // of yes and no
	peak               bool // the ends are peak values; otherwise rms, or what does not alternate
}

// None reports whether there is nothing to hold a reading against.
func (l Limits) None() bool { return l.Low == "" && l.High == "" && !l.answered }

// Strict reports whether an end itself is not within: "under 5 V".
func (l Limits) Strict() bool { return l.overLow || l.underHigh }

// ReadLimits reads limits for readings of this kind as somebody typed them:
//
//	62 to 88 mV    62-88 mV    between 62 and 88 mV
//	at most 0.5 mA    max. 0.5 mA    <= 0.5 mA    at least 20 dB
//	1000 kHz +- 5 kHz    within 5 kHz of 1000 kHz    within 1 dB
//	within 3 dB of AM    within 10 % of AM    at least -6 dB of AM
//	at most 0.7 mA peak    at most 0.5 mA rms
//	yes
//
// A value alone is an end only where the kind says which direction is worse:
// 0.75 V of a hot check is "at most". Numbers are read by Kind.Read, so that a
// number without a unit has the kind's first; the first of two may leave its unit
// to the second. Nothing typed gives the zero Limits. An error names what could
// not be read.
func (k Kind) ReadLimits(text string) (Limits, error) {
	t := strings.TrimSpace(text)
	if t == "" {
		return Limits{}, nil
	}
	l, err := k.readLimits(t)
	if err != nil {
		return Limits{}, fmt.Errorf("limits %q of %s: %w", t, k.Name, err)
	}
	return l, nil
}

func (k Kind) readLimits(t string) (Limits, error) {
	if k.Quantity == YesNo {
		return k.answer(t)
	}
	t, beside := besideOf(t)
	word, rest := limitWord(t)
	if word == "within" && beside != "" && k.isValue(beside) {
		return k.around(beside, rest) // within 5 kHz of 1000 kHz
	}
	l := Limits{Beside: beside, kind: k}
	switch word {
	case "at most", "under":
		l.High, l.underHigh = rest, word == "under"
	case "at least", "over":
		l.Low, l.overLow = rest, word == "over"
	case "within":
		l.Low, l.High = "-"+rest, rest
	case "between":
		first, second, ok := strings.Cut(rest, " and ")
		if !ok {
			return l, errors.New("want two values with \"and\" between them")
		}
		l.Low, l.High = shareUnit(first, second)
	default:
		if centre, off, ok := cutAny(t, "+/-", "+-", "±"); ok && beside == "" {
			return k.around(centre, off)
		}
		if err := k.rangeOrEnd(&l, t); err != nil {
			return l, err
		}
	}
	return l, l.readEnds()
}

// answer reads limits of a yes or no: the answer that is right.
func (k Kind) answer(t string) (Limits, error) {
	v, err := readYesNo(t, t)
	return Limits{kind: k, answered: err == nil, wanted: v.Mant == 1}, err
}

// YesWanted are the limits of a check that is made when the answer is yes.
func (k Kind) YesWanted() Limits {
	return Limits{kind: k, answered: k.Quantity == YesNo, wanted: true}
}

// limitWords are the words and signs that begin limits, each with the one that
// stands for it. A longer one stands before its beginning.
var limitWords = [][2]string{
	{"at most", "at most"}, {"no more than", "at most"}, {"not more than", "at most"}, {"not above", "at most"}, {"not over", "at most"}, {"up to", "at most"},
	{"maximum", "at most"}, {"max.", "at most"}, {"max", "at most"}, {"<=", "at most"}, {"≤", "at most"},
	{"at least", "at least"}, {"no less than", "at least"}, {"not less than", "at least"}, {"not below", "at least"}, {"not under", "at least"},
	{"minimum", "at least"}, {"min.", "at least"}, {"min", "at least"}, {">=", "at least"}, {"≥", "at least"},
	{"less than", "under"}, {"under", "under"}, {"below", "under"}, {"<", "under"},
	{"more than", "over"}, {"over", "over"}, {"above", "over"}, {">", "over"},
	{"within", "within"}, {"±", "within"}, {"+/-", "within"}, {"+-", "within"}, {"between", "between"},
}

func limitWord(t string) (word, rest string) {
	for _, w := range limitWords {
		if len(t) > len(w[0]) && strings.EqualFold(t[:len(w[0])], w[0]) {
			return w[1], strings.TrimSpace(t[len(w[0]):])
		}
	}
	return "", t
}

// besideOf cuts off the point that limits are relative to.
func besideOf(t string) (limits, beside string) {
	limits, beside, _ = strings.Cut(t, " of ")
	return strings.TrimSpace(limits), strings.TrimSpace(beside)
}

// isValue reports whether a text is a value of this kind with its unit, and not
// the name of a point.
func (k Kind) isValue(text string) bool {
	_, rest, err := scanNumber(text)
	if err != nil || strings.TrimSpace(rest) == "" {
		return false
	}
	_, _, err = k.Read(text)
	return err == nil
}

// rangeOrEnd reads "62 to 88 mV", or one value, of which the kind has to say
// which end it is.
func (k Kind) rangeOrEnd(l *Limits, t string) error {
	if first, second, ok := cutAny(t, " to ", "...", "…", "–"); ok {
		l.Low, l.High = shareUnit(first, second)
		return nil
	}
	if first, second, ok := cutDash(t); ok {
		l.Low, l.High = shareUnit(first, second)
		return nil
	}
	switch {
	case k.Worse == MoreWorse && l.Beside == "":
		l.High = t
	case k.Worse == LessWorse && l.Beside == "":
		l.Low = t
	default:
		return errors.New("one value alone may be either end; say at most, at least, or from where to where")
	}
	return nil
}

func cutAny(t string, signs ...string) (before, after string, ok bool) {
	for _, sign := range signs {
		if before, after, ok = strings.Cut(t, sign); ok && strings.TrimSpace(before) != "" {
			return strings.TrimSpace(before), strings.TrimSpace(after), true
		}
	}
	return t, "", false
}

// cutDash cuts 62-88 mV at its dash, which is neither a sign nor of an exponent.
func cutDash(t string) (before, after string, ok bool) {
	for i := 1; i+1 < len(t); i++ {
		before, after = strings.TrimSpace(t[:i]), strings.TrimSpace(t[i+1:])
		if t[i] != '-' || before == "" || after == "" || !isDigit(after[0]) && after[0] != '.' {
			continue
		}
		last := before[len(before)-1]
		if exponent := last|0x20 == 'e' && len(before) > 1 && isDigit(before[len(before)-2]); !exponent && last != '-' {
			return before, after, true
		}
	}
	return t, "", false
}

// shareUnit gives the first of two values the unit of the second where it has
// none of its own.
func shareUnit(first, second string) (string, string) {
	first, second = strings.TrimSpace(first), strings.TrimSpace(second)
	_, own, err := scanNumber(first)
	_, unit, err2 := scanNumber(second)
	if err == nil && err2 == nil && strings.TrimSpace(own) == "" {
		first = strings.TrimSpace(first + " " + strings.TrimSpace(unit))
	}
	return first, second
}

// around are limits on both sides of a value: 1000 kHz +- 5 kHz, or +- 1 %.
func (k Kind) around(centre, off string) (Limits, error) {
	if !strings.HasSuffix(off, "%") {
		centre, off = shareUnit(centre, off)
	}
	c, _, err := k.Read(centre)
	if err != nil {
		return Limits{}, err
	}
	d, err := k.offset(c, off)
	if err != nil {
		return Limits{}, err
	}
	if c.Unit != d.Unit {
		return Limits{}, fmt.Errorf("%s and %s are not of one unit", centre, off)
	}
	low, high, ok := spread(c, d)
	if !ok {
		return Limits{}, errLong
	}
	if low.beyond() || high.beyond() {
		return Limits{}, errExponent
	}
	_, unit, _ := scanNumber(centre)
	l := Limits{kind: k, low: low, high: high, Low: k.inUnit(low, c, centre, unit), High: k.inUnit(high, c, centre, unit)}
	l.nameUnit()
	return l, l.inOrder()
}

// offset is how far an end is from a centre, in its unit or in percent of it.
func (k Kind) offset(c Value, off string) (Value, error) {
	if !strings.HasSuffix(off, "%") || c.Unit == Percent {
		d, _, err := k.Read(off)
		return d, err
	}
	p, err := Parse(off, Ratio)
	if err != nil {
		return p, err
	}
	n := c.Normal()
	if digits(n.Mant)+digits(p.Mant) > maxDigits {
		return p, errLong
	}
	return Value{Mant: n.Mant * p.Mant * int64(sign(n.Mant)), Exp: n.Exp + p.Exp - 2, Unit: c.Unit}, nil
}

// spread is c less d and c and d, both exactly; ok is false where one has more
// digits than a value can have.
func spread(c, d Value) (low, high Value, ok bool) {
	c, d = c.Normal(), d.Normal()
	for c.Exp > d.Exp && c.Mant != 0 && digits(c.Mant) < maxDigits {
		c.Mant, c.Exp = c.Mant*10, c.Exp-1
	}
	for d.Exp > c.Exp && d.Mant != 0 && digits(d.Mant) < maxDigits {
		d.Mant, d.Exp = d.Mant*10, d.Exp-1
	}
	switch {
	case c.Mant == 0:
		c.Exp = d.Exp
	case d.Mant == 0:
		d.Exp = c.Exp
	}
	low, high = c, c
	low.Mant, high.Mant = c.Mant-d.Mant, c.Mant+d.Mant
	low, high = low.Normal(), high.Normal()
	return low, high, c.Exp == d.Exp && max(digits(low.Mant), digits(high.Mant)) <= maxDigits
}

// inUnit writes v in the unit that a centre c was typed in, where what stood behind
// its number is one: in 1HB it is a letter code.
func (k Kind) inUnit(v, c Value, typed, unit string) string {
	n, _, err := scanNumber(typed)
	plain := Value{Mant: n.mant, Exp: int8(n.exp)}.Normal()
	if err != nil || n.comma || n.mant == 0 {
		return v.Canonical()
	}
	text := strings.TrimSpace(decimal(v.Mant, int(v.Exp)-int(c.Normal().Exp-plain.Exp)) + " " + strings.TrimSpace(unit))
	if again, _, err := k.Read(text); err != nil || again.Compare(v) != 0 {
		return v.Canonical()
	}
	return text
}

// LimitsOf puts limits together from their ends, as a test sheet keeps them.
func (k Kind) LimitsOf(low, high, beside string) (Limits, error) {
	l := Limits{Low: strings.TrimSpace(low), High: strings.TrimSpace(high), Beside: strings.TrimSpace(beside), kind: k}
	if err := l.readEnds(); err != nil {
		return Limits{}, fmt.Errorf("limits %q of %s: %w", LimitsText(low, high, beside), k.Name, err)
	}
	return l, nil
}

func (l *Limits) readEnds() (err error) {
	low, peak1, said1 := amplitudeOf(l.Low)
	high, peak2, said2 := amplitudeOf(l.High)
	if said1 && said2 && peak1 != peak2 {
		return fmt.Errorf("%s is not of one kind with %s: one is rms, one is peak", l.Low, l.High)
	}
	l.peak = peak1 || peak2
	if low != "" {
		if l.low, err = l.end(low); err != nil {
			return err
		}
	}
	if high != "" {
		if l.high, err = l.end(high); err != nil {
			return err
		}
	}
	l.nameUnit()
	return l.inOrder()
}

// nameUnit writes the unit of a low end that has none, which is the kind's first,
// where the high end has one: "5 to 1 GHz" would be read as two of the latter.
func (l *Limits) nameUnit() {
	_, own, err := scanNumber(l.Low)
	_, other, err2 := scanNumber(l.High)
	if err == nil && err2 == nil && strings.TrimSpace(own) == "" && strings.TrimSpace(other) != "" {
		l.Low = strings.TrimSpace(l.Low + " " + l.kind.Symbol())
	}
}

// amplitudeOf cuts off whether an end is rms or peak; said is false where neither
// is said.
func amplitudeOf(text string) (value string, peak, said bool) {
	t := strings.TrimSpace(text)
	for _, word := range []string{"peak", "rms"} {
		if before, ok := cutSuffixFold(t, word); ok && strings.HasSuffix(before, " ") {
			return strings.TrimSpace(before), word == "peak", true
		}
	}
	return t, false, false
}

func cutSuffixFold(t, end string) (before string, ok bool) {
	if len(t) <= len(end) || !strings.EqualFold(t[len(t)-len(end):], end) {
		return t, false
	}
	return t[:len(t)-len(end)], true
}

func (l *Limits) inOrder() error {
	switch {
	case l.Low == "" || l.High == "":
	case l.low.Unit != l.high.Unit:
		return fmt.Errorf("%s and %s are not of one unit", l.Low, l.High)
	case l.low.Compare(l.high) > 0:
		return fmt.Errorf("%s is above %s", l.Low, l.High)
	}
	return nil
}

// mostDecibels and leastDecibel bound limits in dB: finer than a hundredth no
// meter reads, and the comparison is by whole powers (see levelWithin).
const (
	mostDecibels = 400
	leastDecibel = -2 // as a power of ten
)

// end reads one end. Relative ones may be in dB or in percent of the other reading.
func (l *Limits) end(text string) (Value, error) {
	if l.Beside == "" {
		v, _, err := l.kind.Read(text)
		return v, err
	}
	switch lower := strings.ToLower(text); {
	case strings.HasSuffix(lower, "db") && (l.kind.Quantity == Voltage || l.kind.Quantity == Power || l.kind.Quantity == Current || l.kind.Quantity == Level):
		v, err := Parse(text, Level)
		if n := v.Normal(); err == nil && (n.Exp < leastDecibel || n.magnitude() > 2 || n.Float() > mostDecibels || n.Float() < -mostDecibels) {
			err = fmt.Errorf("%s: want at most %d dB and at most two decimals", text, mostDecibels)
		}
		return v, err
	case strings.HasSuffix(lower, "%") && l.kind.Quantity == Ratio:
		return Value{}, errors.New("percent of a percentage may mean two things; give the limits themselves")
	case strings.HasSuffix(lower, "%"):
		return Parse(text, Ratio)
	}
	v, _, err := l.kind.Read(text)
	return v, err
}

// String writes limits in the form that ReadLimits reads back to the same.
func (l Limits) String() string {
	switch {
	case l.answered:
		return yesNo(map[bool]int64{true: 1}[l.wanted])
	case l.underHigh && l.Low == "":
		return "under " + l.High + of(l.Beside)
	case l.overLow && l.High == "":
		return "over " + l.Low + of(l.Beside)
	}
	return LimitsText(l.Low, l.High, l.Beside)
}

func of(beside string) string {
	if beside == "" {
		return ""
	}
	return " of " + beside
}

// LimitsText writes limits from their ends as a person reads them.
func LimitsText(low, high, beside string) string {
	switch {
	case low == "" && high == "":
		return ""
	case high == "":
		return "at least " + low + of(beside)
	case low == "":
		return "at most " + high + of(beside)
	case low == "-"+high:
		return "within " + high + of(beside)
	}
	_, unit, err := scanNumber(high)
	// A unit that touches its number may be a letter code (1HB), which is none apart.
	if short, found := strings.CutSuffix(low, unit); err == nil && found && strings.HasPrefix(unit, " ") {
		low = strings.TrimSpace(short)
	}
	return low + " to " + high + of(beside)
}
