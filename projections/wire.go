package projections

import (
	"encoding/binary"
	"errors"

	"oldhand/events"
)

// errView is what a view that does not read gives. Views are disposable, so
// the answer to it is a rebuild.
var errView = errors.New("a projection on disk does not read; rebuild it")

// writer puts plain values end to end. Histories and rows are written with it:
// the same values have the same bytes, and reading one back allocates little.
type writer struct{ b []byte }

func (w *writer) uint(n uint64)      { w.b = binary.AppendUvarint(w.b, n) }
func (w *writer) int(n int64)        { w.b = binary.AppendVarint(w.b, n) }
func (w *writer) id(id [16]byte)     { w.b = append(w.b, id[:]...) }
func (w *writer) bytes(b []byte)     { w.uint(uint64(len(b))); w.b = append(w.b, b...) }
func (w *writer) text(s string)      { w.uint(uint64(len(s))); w.b = append(w.b, s...) }
func (w *writer) flag(on bool)       { w.b = append(w.b, choose[byte](on, 1, 0)) }
func (w *writer) when(t events.When) { writeWhen(w, t) }

func writeWhen(w *writer, t events.When) {
	w.b = append(w.b, byte(t.Precision))
	if t.Precision >= events.ToDay {
		w.int(int64(t.Day))
	}
	if t.Precision == events.ToSecond {
		w.int(int64(t.Second))
		w.int(int64(t.Offset))
	}
}

// reader takes them off again. After the first that does not fit it is bad and
// gives zeros. Bytes it gives share the memory of what is read.
type reader struct {
	b   []byte
	bad bool
}

func (r *reader) uint() uint64 {
	n, size := binary.Uvarint(r.b)
	return take(r, n, size)
}

func (r *reader) int() int64 {
	n, size := binary.Varint(r.b)
	return take(r, n, size)
}

func take[N uint64 | int64](r *reader, n N, size int) N {
	if r.bad || size <= 0 {
		r.bad = true
		return 0
	}
	r.b = r.b[size:]
	return n
}

// length reads how many of something follow, each of at least one byte.
func (r *reader) length() int {
	n := r.uint()
	if n > uint64(len(r.b)) {
		r.bad = true
		return 0
	}
	return int(n)
}

func (r *reader) fixed(n int) []byte {
	if r.bad || n > len(r.b) {
		r.bad = true
		return nil
	}
	s := r.b[:n:n]
	r.b = r.b[n:]
	return s
}

func (r *reader) id() (id [16]byte) {
	copy(id[:], r.fixed(16))
	return id
}

func (r *reader) bytes() []byte { return r.fixed(r.length()) }
func (r *reader) text() string  { return string(r.bytes()) }

func (r *reader) flag() bool {
	b := r.fixed(1)
	return len(b) == 1 && b[0] == 1
}

func (r *reader) when() (t events.When) {
	if p := r.fixed(1); len(p) == 1 {
		t.Precision = events.Precision(p[0])
	}
	if t.Precision >= events.ToDay {
		t.Day = events.Day(r.int())
	}
	if t.Precision == events.ToSecond {
		t.Second, t.Offset = int32(r.int()), int16(r.int())
	}
	return t
}

func choose[T any](yes bool, a, b T) T {
	if yes {
		return a
	}
	return b
}
