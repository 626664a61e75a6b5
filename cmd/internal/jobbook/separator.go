package jobbook

import "fmt"

// The bytes that may part cells, in the order in which they win a draw. The
// comma is last, since it stands in addresses and amounts as well.
var separators = []byte{'\t', ';', '|', ','}

// separatorWords names those that can't be seen in a mapping.
var separatorWords = map[byte]string{'\t': "tab"}

// sampled is the number of records that are looked at to find the separator.
const sampled = 20

// guessSeparator takes the byte that cuts most of the first records into the
// same number of cells, more than one. Counting commas alone would fail on a
// file parted by semicolons whose charges have decimal commas.
func guessSeparator(data []byte) byte {
	best, most := byte(','), 0
	for _, sep := range separators {
		if n := evenness(data, sep); n > most {
			best, most = sep, n
		}
	}
	return best
}

// evenness is the number of records, of those sampled, that have the number of
// cells that most of them have, weighed by that number: of two bytes that cut
// equally many records alike, the one that makes more cells wins.
func evenness(data []byte, sep byte) int {
	const widest = 1000
	records := map[int]int{}
	s := newSplitter(data, sep)
	for range sampled {
		rec, ok := s.next()
		if !ok {
			break
		}
		if n := len(rec.cells); n > 1 && n <= widest {
			records[n]++
		}
	}
	most := 0
	for cells, n := range records {
		most = max(most, n*(widest+1)+cells)
	}
	return most
}

func readSeparator(s string) (byte, error) {
	for _, sep := range separators {
		if s == string(sep) || s == separatorWords[sep] && s != "" {
			return sep, nil
		}
	}
	return 0, fmt.Errorf("separator %q is not known: write a comma, a semicolon, a bar or the word tab", s)
}

func writeSeparator(sep byte) string {
	if w, ok := separatorWords[sep]; ok {
		return w
	}
	if sep == 0 {
		return ""
	}
	return string(sep)
}
