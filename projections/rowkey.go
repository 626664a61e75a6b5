package projections

import (
	"bytes"
	"encoding/binary"
	"strings"
)

// rowKey builds the bytes of a row: texts end in a zero, numbers have four
// bytes, so that rows sort by their fields and read back without doubt.
type rowKey []byte

// text goes on with a text. A zero in it, which no form and no book lets through, would
// end it early: it becomes the sign for what can't be shown.
func (k rowKey) text(s string) rowKey {
	if strings.IndexByte(s, 0) >= 0 {
		s = strings.ReplaceAll(s, "\x00", "\ufffd")
	}
	return append(append(k, s...), 0)
}

func (k rowKey) byte(b byte) rowKey { return append(k, b) }

func (k rowKey) num(n int) rowKey {
	return binary.BigEndian.AppendUint32(k, uint32(n+dayZero))
}

// afterTexts is where so many texts of a row end that begin at a place; the row's
// end where it has fewer.
func afterTexts(row []byte, from, texts int) int {
	for ; texts > 0; texts-- {
		n := bytes.IndexByte(row[from:], 0)
		if n < 0 {
			return len(row)
		}
		from += n + 1
	}
	return from
}

// dayZero lets days of any time, and what is before them, sort as unsigned
// numbers.
const dayZero = 1 << 20

// rowReader takes a row's fields off again.
type rowReader struct {
	b   []byte
	bad bool
}

func (r *rowReader) text() string {
	i := bytes.IndexByte(r.b, 0)
	if r.bad || i < 0 {
		r.bad = true
		return ""
	}
	s := string(r.b[:i])
	r.b = r.b[i+1:]
	return s
}

func (r *rowReader) num() int {
	if r.bad || len(r.b) < 4 {
		r.bad = true
		return 0
	}
	n := int(binary.BigEndian.Uint32(r.b)) - dayZero
	r.b = r.b[4:]
	return n
}

// err is an error unless every byte was taken and all of it fitted.
func (r *rowReader) err() error {
	if r.bad || len(r.b) > 0 {
		return errView
	}
	return nil
}

// eachRow reads all rows of a kind.
func eachRow(t Tally, kind byte, fn func(rr *rowReader, n int)) error {
	return t.Each([]byte{kind}, func(row []byte, n int) (bool, error) {
		rr := rowReader{b: row[1:]}
		fn(&rr, n)
		return true, rr.err()
	})
}
