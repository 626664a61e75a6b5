package jobbook

import (
	"strings"
	"unicode"
)

// Charge is an amount of money as typed, and what it comes to in the currency's
// smallest unit where it can be read.
type Charge struct {
	Text     string
	Known    bool
	Minor    int64  // cents, or the currency's own smallest unit
	Currency string // ISO 4217, empty where nothing tells it
}

// pricing is how the amounts of one file are read.
type pricing struct {
	decimal  string // "." or ",", empty where the file does not tell
	currency string // of amounts with no sign of their own
}

// signs are what stands for a currency in a cell, the longer before the
// shorter. A sign that several countries share is taken as the first, or as
// the file's own currency where that is one of them.
var signs = []struct {
	sign   string
	codes  []string
	needed bool // it is a word and has to stand alone
}{
	{"us$", []string{"USD"}, false},
	{"c$", []string{"CAD"}, false},
	{"a$", []string{"AUD"}, false},
	{"$", []string{"USD", "CAD", "AUD", "NZD", "HKD", "SGD", "MXN"}, false},
	{"€", []string{"EUR"}, false},
	{"£", []string{"GBP"}, false},
	{"¥", []string{"JPY", "CNY"}, false},
	{"dollars", []string{"USD", "CAD", "AUD", "NZD"}, true},
	{"euro", []string{"EUR"}, true},
	{"dm", []string{"DEM"}, true},
	{"sfr", []string{"CHF"}, true},
	{"fr", []string{"CHF"}, true},
	{"zł", []string{"PLN"}, true},
}

// minorDigits are the currencies whose smallest unit is not a hundredth
// (ISO 4217, from memory).
var minorDigits = map[string]int{
	"JPY": 0, "KRW": 0, "CLP": 0, "ISK": 0, "VND": 0, "XAF": 0, "XOF": 0, "PYG": 0,
	"BHD": 3, "IQD": 3, "JOD": 3, "KWD": 3, "LYD": 3, "OMR": 3, "TND": 3,
}

// isoCodes are the codes that are taken as a currency when they stand in a
// cell. Any other three letters are a word.
var isoCodes = setOf("usd|cad|aud|nzd|eur|gbp|chf|jpy|cny|sek|nok|dkk|isk|pln|czk|huf|dem|frf|nlg|ats|bef|itl|esp|mxn|brl|clp|inr|zar|krw|hkd|sgd|iep|fim|kwd|bhd")

func isCurrency(s string) bool {
	return len(s) == 3 && strings.IndexFunc(s, func(r rune) bool { return r < 'A' || r > 'Z' }) < 0
}

// noCharge are the words for an amount of nothing. Common practice, no source.
var noCharge = setOf("n/c|nc|n.c.|no charge|free|gratis|kostenlos|none")

// amount is a cell taken apart: its digits with the signs between them, and the
// currency it names.
type amount struct {
	number   string // digits, points and commas
	negative bool
	currency string
	sure     bool // the currency's sign belongs to it alone
	ok       bool
}

// apart takes a cell of money apart.
func apart(text string) amount {
	var a amount
	s := strings.ToLower(strings.TrimSpace(text))
	if in, ok := strings.CutPrefix(s, "("); ok && strings.HasSuffix(in, ")") {
		a.negative, s = true, strings.TrimSuffix(in, ")")
	}
	s = a.cutCurrency(s)
	if rest, ok := cutMinus(s); ok {
		a.negative, s = true, rest
	}
	if a.currency == "" {
		s = a.cutCurrency(s)
	}
	s = strings.TrimSpace(s)
	for _, whole := range []string{".--", ",--", ".-", ",-", ".—", ",—"} { // 94,- has no cents
		s = strings.TrimSuffix(s, whole)
	}
	var b strings.Builder
	for i, r := range s {
		switch {
		case r >= '0' && r <= '9' || r == '.' || r == ',':
			b.WriteRune(r)
		case (unicode.IsSpace(r) || r == '\'' || r == '’' || r == '\u202f') && between3(s, i+len(string(r))): // 1 234 or 1'234
		default:
			return a
		}
	}
	a.number = b.String()
	a.ok = strings.ContainsAny(a.number, "0123456789")
	return a
}

// between3 reports whether a group of exactly three digits begins at i.
func between3(s string, i int) bool {
	n := 0
	for i+n < len(s) && s[i+n] >= '0' && s[i+n] <= '9' {
		n++
	}
	return n == 3
}

func cutMinus(s string) (string, bool) {
	for _, m := range []string{"-", "−", "–"} {
		if rest, ok := strings.CutPrefix(strings.TrimSpace(s), m); ok {
			return rest, true
		}
	}
	return s, false
}

// cutCurrency takes the currency from either end of a cell.
func (a *amount) cutCurrency(s string) string {
	s = strings.TrimSpace(s)
	for _, c := range signs {
		rest, ok := strings.CutPrefix(s, c.sign)
		if !ok {
			rest, ok = strings.CutSuffix(s, c.sign)
		}
		if !ok || c.needed && wordAtEdge(rest) {
			continue
		}
		a.currency, a.sure = c.codes[0], len(c.codes) == 1
		return strings.Trim(rest, " .\u00a0")
	}
	for _, word := range []string{head3(s), tail3(s)} {
		if isoCodes[word] {
			a.currency, a.sure = strings.ToUpper(word), true
			return strings.TrimSpace(strings.TrimSuffix(strings.TrimPrefix(s, word), word))
		}
	}
	return s
}

func wordAtEdge(rest string) bool {
	return rest == "" || isLetter(rest[0]) || isLetter(rest[len(rest)-1])
}

func head3(s string) string { return s[:min(3, len(s))] }
func tail3(s string) string { return s[max(0, len(s)-3):] }

// sharesSign reports whether the sign that stands for code is also that of
// other.
func sharesSign(code, other string) bool {
	for _, c := range signs {
		if c.codes[0] != code || len(c.codes) == 1 {
			continue
		}
		for _, o := range c.codes {
			if o == other {
				return true
			}
		}
	}
	return false
}

// read reads an amount. Why is empty where it could be read.
func (p pricing) read(text string) (c Charge, why string) {
	c.Text = text
	if text == "" || text == "-" {
		return c, ""
	}
	if noCharge[strings.ToLower(text)] {
		c.Known, c.Currency = true, p.currency
		return c, ""
	}
	a := apart(text)
	c.Currency = a.currency
	if c.Currency == "" || !a.sure && sharesSign(c.Currency, p.currency) {
		c.Currency = p.currency
	}
	if !a.ok {
		return Charge{Text: text}, "charge cannot be read: " + text
	}
	minor, why := p.minor(a.number, fraction(c.Currency))
	if why != "" {
		return Charge{Text: text}, why + ": " + text
	}
	if a.negative {
		minor = -minor
	}
	c.Known, c.Minor = true, minor
	return c, ""
}

func fraction(currency string) int {
	if n, ok := minorDigits[currency]; ok {
		return n
	}
	return 2
}
