package jobbook

import "strings"

// decimals counts what the amounts of a file say about the sign before the
// cents.
type decimals struct {
	point, comma int
	currencies   map[string]int
}

// weigh takes one cell as evidence.
func (d *decimals) weigh(text string) {
	a := apart(text)
	if !a.ok {
		return
	}
	if a.currency != "" {
		d.currencies[a.currency]++
	}
	switch evident(a.number, fraction(a.currency)) {
	case '.':
		d.point++
	case ',':
		d.comma++
	}
}

// sign is the sign before the cents that the file proves, "" where it proves
// none or both.
func (d *decimals) sign() string {
	switch {
	case d.point > 0 && d.comma == 0:
		return "."
	case d.comma > 0 && d.point == 0:
		return ","
	}
	return ""
}

// currency is the only one that the file names, "" where it names none or more
// than one.
func (d *decimals) currency() string {
	if len(d.currencies) != 1 {
		return ""
	}
	for c := range d.currencies {
		return c
	}
	return ""
}

// evident gives the decimal sign that a number shows by itself, 0 where it
// shows none: 1.234,50 and 359,00 do, 94 and 1,234 don't.
func evident(number string, fraction int) byte {
	point, comma := strings.LastIndexByte(number, '.'), strings.LastIndexByte(number, ',')
	last := max(point, comma)
	if last < 0 {
		return 0
	}
	sign, other := number[last], byte('.')
	if sign == '.' {
		other = ','
	}
	tail := len(number) - last - 1
	switch {
	case strings.Count(number, string(sign)) > 1: // 1.234.567: it groups
		if strings.IndexByte(number, other) < 0 && tail == 3 {
			return other
		}
		return 0
	case strings.IndexByte(number, other) >= 0:
		return sign
	case tail == 1 || tail == 2:
		return sign
	case tail == 3 && fraction == 0:
		return other
	}
	return 0
}

// minor gives the amount in the currency's smallest unit, which has fraction
// digits behind the decimal sign.
func (p pricing) minor(number string, fraction int) (int64, string) {
	sign := p.decimal
	if sign == "" {
		if c := evident(number, fraction); c != 0 {
			sign = string(c)
		} else if strings.ContainsAny(number, ".,") {
			return 0, "charge does not tell whether its sign groups thousands or parts the cents"
		}
	}
	whole, cents := number, ""
	if i := strings.LastIndex(number, sign); sign != "" && i >= 0 {
		whole, cents = number[:i], number[i+1:]
	}
	whole, ok := ungroup(whole, sign)
	if !ok || len(cents) > fraction || len(whole)+fraction > 15 || whole+cents == "" {
		return 0, "charge cannot be read"
	}
	cents += strings.Repeat("0", fraction-len(cents))
	n := int64(0)
	for _, c := range whole + cents {
		if c < '0' || c > '9' {
			return 0, "charge cannot be read"
		}
		n = n*10 + int64(c-'0')
	}
	return n, ""
}

// ungroup takes the signs between groups of three digits from a number.
func ungroup(whole, decimal string) (string, bool) {
	group := ","
	if decimal == "," {
		group = "."
	}
	parts := strings.Split(whole, group)
	for i, p := range parts {
		if len(parts) > 1 && (i > 0 && len(p) != 3 || i == 0 && (len(p) == 0 || len(p) > 3)) {
			return "", false
		}
	}
	return strings.Join(parts, ""), true
}
