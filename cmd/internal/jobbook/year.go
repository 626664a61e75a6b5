package jobbook

import (
	"fmt"
	"strings"
)

// firstSet is the earliest year in which a set could have been made that a
// shop of this kind repairs: broadcasting began about 1920 (from memory).
const firstSet = 1915

// yearMade reads when a set was made: 1967, '67, 67, c. 1967, 1965-67, 1960s.
// latest is the year in which it came in; nothing comes in before it is made,
// which settles the century of two digits. What is blank or says that nobody
// knows gives no year and no complaint.
func yearMade(s string, latest int) (from, to int, why string) {
	t := strings.TrimSpace(strings.ToLower(s))
	if unsaid[t] {
		return 0, 0, ""
	}
	for _, about := range []string{"circa", "approx.", "approx", "about", "abt.", "abt", "ca.", "ca", "c.", "c", "~", "um"} {
		if rest, ok := strings.CutPrefix(t, about); ok {
			t = strings.TrimSpace(rest)
			break
		}
	}
	t = strings.TrimSpace(strings.TrimSuffix(t, "?"))
	if decade, ok := strings.CutSuffix(strings.Replace(t, "'s", "s", 1), "s"); ok {
		if from = oneYear(decade, latest); from%10 != 0 || from == 0 {
			return 0, 0, yearUnread(s)
		}
		return from, min(from+9, latest), ""
	}
	first, last, isRange := cutRange(t)
	if from = oneYear(first, latest); from == 0 {
		return 0, 0, yearUnread(s)
	}
	if !isRange {
		return from, from, ""
	}
	if to = lastYearOf(last, from, latest); to < from {
		return 0, 0, yearUnread(s)
	}
	return from, to, ""
}

var unsaid = map[string]bool{"": true, "?": true, "??": true, "-": true, "--": true, "unknown": true, "unk": true, "unk.": true, "n/a": true, "na": true, "none": true, "unbekannt": true}

func yearUnread(s string) string { return fmt.Sprintf("year made cannot be read: %s", s) }

func cutRange(s string) (first, last string, ok bool) {
	for _, sign := range []string{"-", "–", "/", " to ", " bis "} {
		if first, last, ok = strings.Cut(s, sign); ok {
			return strings.TrimSpace(first), strings.TrimSpace(last), true
		}
	}
	return s, "", false
}

// oneYear reads a year of four digits, or of two with or without an apostrophe
// as the latest that is not after latest. It is 0 where no set was made then.
func oneYear(s string, latest int) int {
	s = strings.TrimLeft(s, "'’`")
	n, ok := digits(s)
	switch {
	case !ok:
		return 0
	case len(s) == 2:
		y := latest - latest%100 + n
		if y > latest {
			y -= 100
		}
		n = y
	case len(s) != 4:
		return 0
	}
	if n < firstSet || n > latest {
		return 0
	}
	return n
}

// lastYearOf reads the second year of a range: in 1965-67 it has the century
// of the first, and in 1965-7 its decade too.
func lastYearOf(s string, from, latest int) int {
	s = strings.TrimLeft(s, "'’`")
	n, ok := digits(s)
	if !ok {
		return 0
	}
	switch len(s) {
	case 1:
		n += from - from%10
	case 2:
		n += from - from%100
	}
	if n > latest {
		return 0
	}
	return n
}

func digits(s string) (int, bool) {
	n := 0
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' || i > 8 {
			return 0, false
		}
		n = n*10 + int(s[i]-'0')
	}
	return n, len(s) > 0
}
