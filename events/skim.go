package events

import "fmt"

// Skim reads of a record only of which kind it is and what it is about, for
// whoever sorts events and reads them later. What it does not read it does not
// check.
func Skim(record []byte) (k Kind, about [16]byte, err error) {
	r := reader{b: record}
	r.want(4, 8)
	r.bytes(16, 16)
	k = Kind(r.uint(1<<16 - 1))
	r.uint(1<<16 - 1)
	about = r.id()
	if r.bad || k == 0 {
		return k, about, fmt.Errorf("record: head: %w", ErrMalformed)
	}
	return k, about, nil
}
