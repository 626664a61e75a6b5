package events

import (
	"math"
	"unicode/utf8"
)

// quickRow is a row for one of the kinds that every rebuild reads by the hundred
// thousand.
func quickRow[B Body](name string, s Subject, quick func(*bodyReader) Body) KindRow {
	r := row[B](name, s)
	r.quick = quick
	return r
}

// readQuickly reads a body in the one form in which EncodeBody writes it, and gives
// false for any other: that the library reads, or says what is wrong. What both read is
// the same (FuzzReadQuickly). The library finds each field's place anew, and makes each
// text by itself.
func readQuickly(raw []byte, read func(*bodyReader) Body) (Body, bool) {
	r := bodyReader{reader: reader{b: raw}, all: string(raw)}
	b := read(&r)
	return b, !r.bad && len(r.b) == 0
}

// bodyReader takes the values of a body off its front. All texts share the memory of
// one.
type bodyReader struct {
	reader
	all string // the bytes as they were before any was taken
}

// fields is where the reading of a map stands whose keys are numbers that rise.
type fields struct {
	r    *bodyReader
	left uint64
	key  uint64
}

func (r *bodyReader) fields() fields { return fields{r: r, left: r.head(5)} }

// next goes to the next key; false where there is none, or where it is not above the last.
func (f *fields) next() bool {
	if f.r.bad || f.left == 0 {
		return false
	}
	f.left--
	last := f.key
	f.key = f.r.head(0)
	f.r.bad = f.r.bad || f.key <= last
	return !f.r.bad
}

func (r *bodyReader) text() string {
	n := r.head(3)
	from := len(r.all) - len(r.b)
	if r.take(n, MaxRecord) == nil {
		return ""
	}
	s := r.all[from : from+int(n)]
	r.bad = r.bad || !utf8.ValidString(s)
	return s
}

// number takes an integer of at most 31 bits and a sign.
func (r *bodyReader) number() int { return int(r.int(1<<31 - 1)) }

// amount takes an integer of any 64 bits: one below zero is written as what it is short of
// -1 (RFC 8949, 3.1).
func (r *bodyReader) amount() int64 {
	if r.bad || len(r.b) == 0 || r.b[0]>>5 != 1 {
		return int64(r.uint(math.MaxInt64))
	}
	n := r.head(1)
	r.bad = r.bad || n > math.MaxInt64
	return -1 - int64(min(n, math.MaxInt64))
}

// unknown is for a key that a body does not have.
func (r *bodyReader) unknown() { r.bad = true }

func readReceived(r *bodyReader) Body {
	var b Received
	for f := r.fields(); f.next(); {
		switch f.key {
		case 1:
			b.Maker = r.text()
		case 2:
			b.Model = r.text()
		case 3:
			b.Serial = r.text()
		case 4:
			b.YearFrom = r.number()
		case 5:
			b.YearTo = r.number()
		case 6:
			b.KindOfSet = r.text()
		case 7:
			b.Tag = r.text()
		case 8:
			b.Complaint = r.text()
		case 9:
			b.Condition = r.text()
		case 10:
			b.Accessories = r.text()
		case 11:
			b.Carrier = r.text()
		case 12:
			copy(b.Person[:], r.bytes(16, 16))
		default:
			r.unknown()
		}
	}
	return b
}

func readFaultFound(r *bodyReader) Body {
	var b FaultFound
	for f := r.fields(); f.next(); {
		switch f.key {
		case 1:
			b.Symptom = r.text()
		case 2:
			b.Component = r.text()
		case 3:
			b.Designator = r.text()
		case 4:
			b.Mode = r.text()
		case 5:
			b.Cause = r.text()
		case 6:
			b.Sure = r.text()
		case 7:
			b.Text = r.text()
		default:
			r.unknown()
		}
	}
	return b
}

func readPartReplaced(r *bodyReader) Body {
	var b PartReplaced
	for f := r.fields(); f.next(); {
		switch f.key {
		case 1:
			b.Designator = r.text()
		case 2:
			b.Component = r.text()
		case 3:
			b.Out = r.marking()
		case 4:
			b.In = r.marking()
		case 5:
			b.DateCode = r.text()
		case 6:
			b.Reason = r.text()
		case 7:
			b.Text = r.text()
		default:
			r.unknown()
		}
	}
	return b
}

func (r *bodyReader) marking() (m Marking) {
	for f := r.fields(); f.next(); {
		switch f.key {
		case 1:
			m.Text = r.text()
		case 2:
			n := r.head(4)
			if n == 0 || n > MaxList {
				r.bad = true
				return m
			}
			m.Sections = make([]Quantity, n)
			for i := range m.Sections {
				m.Sections[i] = r.quantity()
			}
		case 3:
			m.Volts = r.number()
		default:
			r.unknown()
		}
	}
	return m
}

func (r *bodyReader) quantity() (q Quantity) {
	for f := r.fields(); f.next(); {
		switch f.key {
		case 1:
			q.Mant = r.amount()
		case 2:
			q.Exp = int8(r.int(1<<7 - 1))
		case 3:
			q.Unit = r.text()
		default:
			r.unknown()
		}
	}
	return q
}

func readReadingTaken(r *bodyReader) Body {
	var b ReadingTaken
	for f := r.fields(); f.next(); {
		switch f.key {
		case 1:
			b.Point = r.text()
		case 2:
			b.Measure = r.text()
		case 3:
			b.Text = r.text()
		case 4:
			b.Value = r.quantity()
		case 5:
			b.Stage = r.text()
		case 6:
			b.Instrument = r.text()
		case 7:
			b.Limits = r.text()
		case 8:
			b.Conditions = r.text()
		case 9:
			b.Network = r.text()
		case 10:
			b.Amplitude = r.text()
		default:
			r.unknown()
		}
	}
	return b
}

func readWaitingBegun(r *bodyReader) Body {
	var b WaitingBegun
	b.For, b.Text = r.waiting()
	return b
}

func readWaitingEnded(r *bodyReader) Body {
	var b WaitingEnded
	b.For, b.Text = r.waiting()
	return b
}

// waiting takes the two texts that both have.
func (r *bodyReader) waiting() (reason, text string) {
	for f := r.fields(); f.next(); {
		switch f.key {
		case 1:
			reason = r.text()
		case 2:
			text = r.text()
		default:
			r.unknown()
		}
	}
	return reason, text
}

func readShipped(r *bodyReader) Body {
	var b Shipped
	for f := r.fields(); f.next(); {
		switch f.key {
		case 1:
			b.Outcome = r.text()
		case 2:
			b.Carrier = r.text()
		case 3:
			b.WarrantyDays = r.number()
		case 4:
			b.Charge = r.amount()
		case 5:
			b.Currency = r.text()
		case 6:
			b.Text = r.text()
		default:
			r.unknown()
		}
	}
	return b
}
