package jobbook

import (
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"iter"
	"unicode/utf8"

	"oldhand/events/trade"
)

// Rows reads the book and gives, for each record, a Row or the reason why none
// could be made of it; one of the two is there. Records are given in the
// file's order. A row that stands in the file before is given with Repeats set.
func (b *Book) Rows() iter.Seq2[Row, *Refused] {
	return func(yield func(Row, *Refused) bool) {
		r := newReader(b)
		whole := true
		b.records(func(n int, rec record) bool {
			row, refused := r.read(n, rec)
			r.counts.add(&row, refused)
			whole = yield(row, refused)
			return whole
		})
		if whole {
			b.counts = r.counts
		}
	}
}

// Seen is one record of a preview.
type Seen struct {
	Row     Row
	Refused *Refused
}

// Preview gives the first n records as they are read, to be shown.
func (b *Book) Preview(n int) []Seen {
	var out []Seen
	if n <= 0 {
		return nil
	}
	for row, refused := range b.Rows() {
		if out = append(out, Seen{row, refused}); len(out) == n {
			break
		}
	}
	return out
}

// reader makes rows of records.
type reader struct {
	book   *Book
	dating dating
	price  pricing
	seen   map[[16]byte]int32
	counts *Counts

	letters []byte   // all cells of a record that are used, one behind the other
	ends    []int    // where each ends in letters
	cells   []string // by slot
	keyBuf  []byte
}

func newReader(b *Book) *reader {
	m := b.Mapping
	slots := nFields + len(b.cols.readings)
	return &reader{
		book:   b,
		dating: dating{m.Dates, m.DayNumbers == "yes", b.content.from1904, b.asOf},
		price:  pricing{m.Decimal, m.Currency},
		seen:   map[[16]byte]int32{},
		counts: newCounts(),
		ends:   make([]int, slots),
		cells:  make([]string, slots),
	}
}

func (r *reader) read(n int, rec record) (Row, *Refused) {
	refuse := func(why string) (Row, *Refused) {
		return Row{}, &Refused{Row: n, Line: rec.line, Job: r.cells[atJob], Why: why}
	}
	clear(r.cells)
	if rec.broken != "" && !r.book.content.isSheet {
		return refuse(rec.broken)
	}
	if why := r.take(rec); why != "" || rec.broken != "" {
		return refuse(cmp.Or(rec.broken, why))
	}
	row := Row{Number: n, Line: rec.line}
	if why := r.visit(&row); why != "" {
		return refuse(why)
	}
	r.fill(&row)
	if len(rec.cells) < len(r.book.Headings) && !r.book.content.isSheet {
		row.Warnings = append(row.Warnings, fmt.Sprintf("has %d cells of %d: the rest is taken as empty", len(rec.cells), len(r.book.Headings)))
	}
	r.key(&row)
	return row, nil
}

// take puts the text of the used cells into slots, in one string for all.
func (r *reader) take(rec record) string {
	b := r.book
	for _, extra := range rec.cells[min(len(rec.cells), len(b.Headings)):] {
		if len(tidy(extra)) > 0 {
			return fmt.Sprintf("has %d cells where the heading has %d", len(rec.cells), len(b.Headings))
		}
	}
	r.letters = r.letters[:0]
	for slot := range r.cells {
		if col := b.cols.column(slot); col >= 0 && col < len(rec.cells) {
			start := len(r.letters)
			r.letters = b.content.appendLetters(r.letters, rec.cells[col])
			cell := tidy(r.letters[start:])
			r.letters = append(r.letters[:start], cell...)
		}
		r.ends[slot] = len(r.letters)
	}
	if !b.content.checked && !utf8.Valid(r.letters) {
		return "holds bytes that are not " + b.content.encoding
	}
	all, start := string(r.letters), 0
	for slot, end := range r.ends {
		r.cells[slot] = all[start:end]
		start = end
	}
	return ""
}

// column gives the column of a slot, -1 for none.
func (c *columns) column(slot int) int {
	if slot < nFields {
		return c.of[slot]
	}
	return c.readings[slot-nFields].col
}

// visit reads what a row can't do without, and says why it is refused where
// that is not there.
func (r *reader) visit(row *Row) string {
	var why string
	if row.Received, why = r.day(atReceived); why != "" {
		return why
	}
	if row.Received.IsZero() {
		return "date in is missing"
	}
	if r.cells[atMaker] == "" && r.cells[atModel] == "" && r.cells[atSerial] == "" {
		return "no maker, model or serial"
	}
	if row.Shipped, why = r.day(atShipped); why != "" {
		return why
	}
	if !row.Shipped.IsZero() && row.Shipped.Before(row.Received) {
		return fmt.Sprintf("out before in: in %s, out %s", row.Received, row.Shipped)
	}
	return ""
}

// day reads a date. A dash says that there is none.
func (r *reader) day(slot int) (Day, string) {
	text := r.cells[slot]
	if text == "" || text == "-" || text == "--" || text == "—" {
		return Day{}, ""
	}
	name := headings[slot].cell
	d, err := r.dating.read(text)
	switch {
	case err == errAmbiguous:
		return Day{}, fmt.Sprintf("%s: %v: %s", name, err, text)
	case err != nil:
		return Day{}, fmt.Sprintf("%s %v: %s", name, err, text)
	case r.dating.asOf.Before(d):
		return Day{}, fmt.Sprintf("%s is later than %s: %s", name, r.dating.asOf, text)
	}
	return d, ""
}

// fill reads the rest of a row. What can't be read stays text, with a warning.
func (r *reader) fill(row *Row) {
	row.Job, row.Tag = r.cells[atJob], r.cells[atTag]
	row.Customer, row.Address, row.City = r.cells[atCustomer], r.cells[atAddress], r.cells[atCity]
	row.Region, row.Postcode, row.Country = r.cells[atRegion], r.cells[atPostcode], r.cells[atCountry]
	row.Phone, row.Email = r.cells[atPhone], r.cells[atEmail]
	row.Maker, row.Model, row.Serial = r.cells[atMaker], r.cells[atModel], r.cells[atSerial]
	row.Kind, row.Complaint = r.cells[atKind], r.cells[atComplaint]
	row.FoundText, row.Work, row.PartsText = r.cells[atFound], r.cells[atWorkDone], r.cells[atPartsUsed]
	row.Notes, row.Technician, row.Outcome = r.cells[atNotes], r.cells[atTechnician], r.cells[atOutcome]
	row.Findings = trade.Read(row.FoundText)
	row.Parts = trade.ReadParts(row.PartsText)
	row.Done = trade.ReadWork(row.Work)
	if row.Kind != "" {
		row.KindID = trade.ReadSet(row.Kind)
	}
	if row.Outcome != "" {
		row.OutcomeID = trade.ReadOutcome(row.Outcome)
	}
	var why string
	row.YearText = r.cells[atYear]
	row.YearFrom, row.YearTo, why = yearMade(row.YearText, row.Received.Year)
	row.warn(why)
	row.Charge, why = r.price.read(r.cells[atCharged])
	row.warn(why)
	r.readings(row)
	row.warn(r.book.content.rows.remarks[row.Number])
	if r.book.content.lossy && hasLost(r.letters) {
		row.warn("holds letters that the encoding does not have")
	}
}

func (row *Row) warn(why string) {
	if why != "" {
		row.Warnings = append(row.Warnings, why)
	}
}

func hasLost(letters []byte) bool {
	for i := 0; i < len(letters); {
		c, n := utf8.DecodeRune(letters[i:])
		if c == utf8.RuneError {
			return true
		}
		i += n
	}
	return false
}

func (r *reader) readings(row *Row) {
	for i, c := range r.book.cols.readings {
		if text := r.cells[nFields+i]; text != "" {
			row.Readings = append(row.Readings, Reading{c.Point, c.Heading, text, c.Unit, c.Stage})
		}
	}
}

// key makes the row's key and looks it up among the earlier rows. Empty cells
// are left out, so that a column that nobody ever filled changes no key. The
// lengths before names and cells keep two rows apart whose cells run together.
func (r *reader) key(row *Row) {
	r.keyBuf = r.keyBuf[:0]
	for _, k := range r.book.cols.keyed {
		if cell := r.cells[k.slot]; cell != "" {
			r.keyBuf = appendSized(r.keyBuf, k.name)
			r.keyBuf = appendSized(r.keyBuf, cell)
		}
	}
	row.Key = keyOf(r.keyBuf)
	if earlier, ok := r.seen[row.Key]; ok {
		row.Repeats = int(earlier)
		return
	}
	r.seen[row.Key] = int32(row.Number)
}

func keyOf(cells []byte) [16]byte {
	sum := sha256.Sum256(cells)
	return [16]byte(sum[:16])
}

// appendSized appends a text with its length before it.
func appendSized(to []byte, s string) []byte {
	return append(binary.AppendUvarint(to, uint64(len(s))), s...)
}
