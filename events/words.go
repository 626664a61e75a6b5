package events

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// MaxTag is the length of the longest tag in digits.
const MaxTag = 12

// MaxBenches is how many benches can have numbers for their tags.
const MaxBenches = 107

// word, text, list and the like are the clauses that many kinds share.

func word(what, s string) error { return words(what, s, MaxWord) }

func text(what, s string) error { return words(what, s, MaxText) }

func words(what, s string, most int) error {
	return firstOf(clause(len(s) <= most, "%s: %d bytes, at most %d", what, len(s), most), clause(utf8.ValidString(s), "%s: not UTF-8", what),
		clause(strings.IndexByte(s, 0) < 0, "%s: there is a zero byte in it", what))
}

func list(what string, n int) error {
	return clause(n <= MaxList, "%s: %d entries, at most %d", what, n, MaxList)
}

func oneOf(what, s string, allowed ...string) error {
	for _, a := range allowed {
		if s == a {
			return nil
		}
	}
	return clause(false, "%s: %q is none of %s", what, s, strings.Join(allowed, ", "))
}

// tableID wants the form of a table's id. Whether the table has it is not
// asked: another bench may have added it, and its event may not be here yet.
func tableID(what, s string) error {
	for i := range len(s) {
		c := s[i]
		if !(c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c == '-' && i > 0) {
			return clause(false, "%s: %q is not the id of a table's row", what, s)
		}
	}
	return word(what, s)
}

func years(what string, from, to int) error {
	return firstOf(
		clause(from == 0 || from >= minYearMade && from <= maxYearMade, "%s: year made %d", what, from),
		clause(to == 0 || from != 0 && to >= from && to <= maxYearMade, "%s: years made %d to %d", what, from, to),
	)
}

func money(what string, minor int64, currency string) error {
	return firstOf(
		clause(minor >= 0, "%s: an amount below nothing", what),
		clause(currency == "" || isCurrency(currency), "%s: currency %q", what, currency),
	)
}

// isCurrency reports whether a text has the form of an ISO 4217 code.
func isCurrency(s string) bool {
	return len(s) == 3 && strings.Trim(s, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") == ""
}

func marking(what string, m Marking) error {
	err := firstOf(word(what, m.Text), list(what, len(m.Sections)),
		clause(m.Volts >= 0 && m.Volts <= 1_000_000, "%s: rated %d volts", what, m.Volts))
	for _, q := range m.Sections {
		err = firstOf(err, quantity(what, q))
	}
	return err
}

func quantity(what string, q Quantity) error {
	return firstOf(word(what+": unit", q.Unit), clause(q.Exp >= -30 && q.Exp <= 30, "%s: ten to the %d", what, q.Exp))
}

func allDigits(s string) bool {
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return true
}

// The rest puts lines together.

// phrase joins what is not empty with commas.
func phrase(parts ...string) string { return strings.Join(present(parts), ", ") }

// joined joins what is not empty with spaces.
func joined(parts ...string) string { return strings.Join(present(parts), " ") }

func present(parts []string) []string {
	var kept []string
	for _, p := range parts {
		if p != "" {
			kept = append(kept, p)
		}
	}
	return kept
}

func choose(yes bool, a, b string) string {
	if yes {
		return a
	}
	return b
}

func orElse(s, other string) string { return choose(s != "", s, other) }

// spoken is the id of a table's row as words.
func spoken(id string) string { return strings.ReplaceAll(id, "-", " ") }

func quoted(s string) string { return choose(s != "", "\u201c"+s+"\u201d", "") }

func named(name, s string) string { return choose(s != "", name+" "+s, "") }

func with(s string) string { return named("with", s) }

func by(s string) string { return named("by", s) }

// Count is a number with its noun, whose plural adds an s or is given.
func Count(n int, one string, many ...string) string {
	noun := one
	if n != 1 {
		noun = one + "s"
		if len(many) > 0 {
			noun = many[0]
		}
	}
	return fmt.Sprintf("%d %s", n, noun)
}
