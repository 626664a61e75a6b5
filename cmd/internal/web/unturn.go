package web

import (
	"bytes"

	"oldhand/cmd/internal/shown"
)

// unturn shows the signs of a drawn page that turn the direction in which what follows on
// their line is read: what one bench wrote must not turn our own words behind it. In a tag,
// and in a field that is typed into, they reach no further than that, and stay as they are
// kept.
func unturn(page []byte) {
	if shown.Turn(page) < 0 {
		return
	}
	tag, field := false, false
	for i, b := range page {
		rest := page[i:]
		switch {
		case b == '<':
			tag = true
			field = bytes.HasPrefix(rest, []byte("<textarea")) || field && !bytes.HasPrefix(rest, []byte("</textarea"))
		case b == '>':
			tag = false
		case b == 0xe2 && !tag && !field && shown.Turn(rest[:min(3, len(rest))]) == 0:
			copy(rest, "\ufffd") // as long as they are
		}
	}
}
