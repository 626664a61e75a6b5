package jobbook

import (
	"errors"
	"strings"
)

// dating is how the dates of one file are read.
type dating struct {
	order      Order
	dayNumbers bool
	from1904   bool // what day numbers are counted from
	asOf       Day
}

var (
	errUnread    = errors.New("cannot be read")
	errAmbiguous = errors.New("day and month can't be told apart")
)

// read reads a date in any of the spellings of an old book: 1997-01-30,
// 1/21/97, 21.1.1997, 09 Feb 1997, Feb 9, 1997, 9-Feb-97, 19970130. A time of
// day behind it is dropped.
func (g dating) read(s string) (Day, error) {
	s = withoutTime(s)
	if d, ok := g.digitsOnly(s); ok {
		if !d.valid() {
			return Day{}, errUnread
		}
		return d, nil
	}
	if n, ok := numbersOf(s); ok {
		return g.fromNumbers(n)
	}
	return g.fromWords(s)
}

// digitsOnly reads yyyymmdd and, where the mapping says so, a day number.
func (g dating) digitsOnly(s string) (Day, bool) {
	if len(s) != 8 && (len(s) != 5 || !g.dayNumbers) {
		return Day{}, false
	}
	n := 0
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return Day{}, false
		}
		n = n*10 + int(s[i]-'0')
	}
	if len(s) == 5 {
		if g.from1904 {
			n += days1904
		}
		return dayNumber(n), true
	}
	return Day{n / 10000, n / 100 % 100, n % 100}, true
}

// numbers are the three numbers of a date without words.
type numbers struct {
	a, b, c    int
	yearFirst  bool // four digits first: year, month, day
	yearDigits int  // of c
}

// numbersOf cuts a date of three numbers parted by the same sign: a slash, a
// dash or a full stop, with a space behind it or not.
func numbersOf[T string | []byte](s T) (numbers, bool) {
	var value, digits [3]int
	at, sign := 0, byte(0)
	for i := 0; i < len(s); i++ {
		switch c := s[i]; {
		case c >= '0' && c <= '9':
			value[at] = value[at]*10 + int(c-'0')
			if digits[at]++; digits[at] > 4 {
				return numbers{}, false
			}
		case (c == '/' || c == '-' || c == '.') && digits[at] > 0 && at < 2 && (sign == 0 || sign == c):
			sign = c
			at++
		case c == ' ' && at > 0 && digits[at] == 0:
		default:
			return numbers{}, false
		}
	}
	n := numbers{value[0], value[1], value[2], digits[0] == 4, digits[2]}
	if at != 2 || digits[1] > 2 || digits[1] == 0 {
		return numbers{}, false
	}
	if n.yearFirst {
		return n, digits[2] == 1 || digits[2] == 2
	}
	return n, digits[0] <= 2 && (digits[2] == 2 || digits[2] == 4)
}

// either gives the date with the month first and with the day first; one that
// the calendar lacks is zero.
func (n numbers) either(asOf Day) (monthFirst, dayFirst Day) {
	return within(n.c, n.a, n.b, n.yearDigits, asOf), within(n.c, n.b, n.a, n.yearDigits, asOf)
}

func (g dating) fromNumbers(n numbers) (Day, error) {
	if n.yearFirst {
		return orUnread(Day{n.a, n.b, n.c})
	}
	m, d := n.either(g.asOf)
	switch {
	case g.order == MonthFirst:
		return orUnread(m)
	case g.order == DayFirst:
		return orUnread(d)
	case m == d || d.IsZero():
		return orUnread(m)
	case m.IsZero():
		return orUnread(d)
	}
	return Day{}, errAmbiguous
}

func orUnread(d Day) (Day, error) {
	if !d.valid() {
		return Day{}, errUnread
	}
	return d, nil
}

// within makes a date. A year of two digits is the latest that makes a date
// not after asOf: a book holds what has happened.
func within(year, month, day, yearDigits int, asOf Day) Day {
	if yearDigits == 4 {
		return orZero(Day{year, month, day})
	}
	for y := asOf.Year - asOf.Year%100 + year; y >= firstYear; y -= 100 {
		if d := (Day{y, month, day}); d.valid() && !asOf.Before(d) {
			return d
		}
	}
	return Day{}
}

func orZero(d Day) Day {
	if !d.valid() {
		return Day{}
	}
	return d
}

// fromWords reads a date whose month is a word.
func (g dating) fromWords(s string) (Day, error) {
	var num, digits [3]int
	n, month, monthAt := 0, 0, -1
	for i := 0; i < len(s); {
		j := i
		switch c := s[i]; {
		case c >= '0' && c <= '9':
			for j < len(s) && s[j] >= '0' && s[j] <= '9' {
				j++
			}
			if n == 2 || j-i > 4 {
				return Day{}, errUnread
			}
			for _, c := range s[i:j] {
				num[n] = num[n]*10 + int(c-'0')
			}
			digits[n] = j - i
			n++
			if low := strings.ToLower(s[j:min(len(s), j+2)]); low == "st" || low == "nd" || low == "rd" || low == "th" {
				j += 2
			}
		case isLetter(c):
			for j < len(s) && isLetter(s[j]) {
				j++
			}
			m := monthOf(s[i:j])
			if m == 0 && !isWeekday(s[i:j]) || m != 0 && month != 0 {
				return Day{}, errUnread
			}
			if m != 0 {
				month, monthAt = m, n
			}
		case strings.IndexByte(" ,./-'", c) >= 0:
			j++
		default:
			return Day{}, errUnread
		}
		i = j
	}
	if n != 2 || month == 0 || monthAt == 2 {
		return Day{}, errUnread
	}
	if digits[0] == 4 { // 1997 Feb 9
		return orUnread(Day{num[0], month, num[1]})
	}
	if digits[0] > 2 || digits[1] != 2 && digits[1] != 4 {
		return Day{}, errUnread
	}
	return orUnread(within(num[1], month, num[0], digits[1], g.asOf))
}

// isLetter takes the bytes beyond ASCII as letters, for the German month.
func isLetter(c byte) bool { return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= 0x80 }

// months are the names in English and German; three letters of one are enough.
var months = [12][]string{
	{"january", "januar", "jänner"}, {"february", "februar", "feber"}, {"march", "märz", "maerz", "mrz"}, {"april"}, {"may", "mai"},
	{"june", "juni"}, {"july", "juli"}, {"august"}, {"september", "sept"}, {"october", "oktober"}, {"november"}, {"december", "dezember"},
}

func monthOf(s string) int {
	low := strings.ToLower(s)
	if len(low) < 3 {
		return 0
	}
	for i, names := range months {
		for _, name := range names {
			if strings.HasPrefix(name, low) {
				return i + 1
			}
		}
	}
	return 0
}

func isWeekday(s string) bool {
	low := strings.ToLower(s)
	if len(low) < 2 {
		return false
	}
	for _, d := range []string{"monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday", "tues", "thurs", "montag", "dienstag", "mittwoch", "donnerstag", "freitag", "samstag", "sonntag", "sonnabend"} {
		if strings.HasPrefix(d, low) {
			return true
		}
	}
	return false
}

// withoutTime cuts a time of day from behind a date, as a spreadsheet puts it
// there: "1997-01-30 00:00:00", "1/21/97 2:05 PM", "1997-01-30T10:00Z".
func withoutTime(s string) string {
	s = strings.TrimSpace(s)
	colon := strings.IndexByte(s, ':')
	if colon < 0 {
		return s
	}
	i := strings.LastIndexAny(s[:colon], " T")
	if i <= 0 || colon-i < 2 || colon-i > 3 || !isTime(s[i+1:]) {
		return s
	}
	return strings.TrimRight(s[:i], " ,")
}

func isTime(s string) bool {
	for _, c := range s {
		if (c < '0' || c > '9') && !strings.ContainsRune(":. APMapmZ+-", c) {
			return false
		}
	}
	return true
}
