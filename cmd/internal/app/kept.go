package app

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"oldhand/cmd/internal/jobbook"
	"oldhand/events/trade"
)

// jobKept is what of a row no event has a place for.
func jobKept(row jobbook.Row) map[string]string {
	kept := map[string]string{}
	put := func(name, s string) {
		if s != "" {
			kept[name] = s
		}
	}
	put("job", row.Job)
	put("country", row.Country)
	put("tag", row.Tag)
	if row.YearFrom == 0 {
		put("year", row.YearText)
	}
	if row.KindID == "" {
		put("kind", row.Kind)
	}
	return kept
}

// standardKept is a row of the standard, cell by cell.
func standardKept(s jobbook.Standard) map[string]string {
	kept := map[string]string{}
	for name, cell := range s.Cells() {
		if cell != "" {
			kept[name] = cell
		}
	}
	return kept
}

// slug makes an id of a table's row from a name.
func slug(name string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(name) {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	return strings.TrimRight(b.String(), "-")
}

func isSet(id string) bool {
	_, ok := trade.SetOf(id)
	return ok
}

func monthOf(d jobbook.Day) time.Month { return time.Month(d.Month) }

func joinWords(words ...string) string {
	return strings.Join(slices.DeleteFunc(words, func(w string) bool { return w == "" }), ", ")
}

// topTexts lists texts, most frequent first.
func topTexts(counts map[string]int) []jobbook.TextCount {
	list := []jobbook.TextCount{}
	for text, n := range counts {
		list = append(list, jobbook.TextCount{Text: text, Count: n})
	}
	slices.SortFunc(list, func(a, b jobbook.TextCount) int {
		return cmp.Or(cmp.Compare(b.Count, a.Count), cmp.Compare(a.Text, b.Text))
	})
	return list
}
