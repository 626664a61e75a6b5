package app

import (
	"crypto/sha256"
	"fmt"
	"strings"

	"oldhand/cmd/internal/jobbook"
	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

// Imported says what reading an old book in came to.
type Imported struct {
	Rows       int                 `json:"rows"`
	Taken      int                 `json:"taken"`
	Repeated   int                 `json:"repeated"` // rows that are here already, from this file or an earlier reading of it
	Refused    []RefusedRow        `json:"refused"`
	Visits     int                 `json:"visits"`
	Units      int                 `json:"units"` // new ones
	LikelySame []SamePair          `json:"likely_same"`
	Findings   int                 `json:"findings"`
	Unmatched  []jobbook.TextCount `json:"findings_left_as_text"`
	Warnings   int                 `json:"warnings"`
	DryRun     bool                `json:"dry_run"`
	Mapping    string              `json:"mapping,omitempty"`
	unmatched  map[string]int      // counts of Unmatched
}

// RefusedRow is a row of which nothing was taken.
type RefusedRow struct {
	Row int    `json:"row"`
	Job string `json:"job,omitempty"`
	Why string `json:"why"`
}

// SamePair is two units that may be one: a serial of each is a slip of the
// hand from one of the other.
type SamePair struct {
	A        Likely  `json:"a"`
	B        Likely  `json:"b"`
	Likeness float64 `json:"likeness"`
}

// ImportOptions say how a book is read in.
type ImportOptions struct {
	DryRun   bool
	By       string
	Progress func(done int)
}

// rowsPerCommit is how many rows share a commit. A row is whole in one.
const rowsPerCommit = 250

// importer is one reading of one file.
type importer struct {
	shop    *Shop
	opt     ImportOptions
	source  events.Hash
	format  string
	res     Imported
	persons map[personSum]events.PersonID
	fresh   []events.UnitID           // those that this reading named first, in order
	paired  map[[2]events.UnitID]bool // those that are said to be likely the same
	terms   map[string]string         // kinds of set that are new, by id

	// What the shop tells of only once the commit is made: of rows taken in it.
	rows  map[[16]byte]bool
	units map[[3]string]events.UnitID // by the keys of maker, model and serial
	jobs  map[[2]string]bool          // by number and day
}

// candidate is a unit that may be the same as another, and what is said of it.
type candidate struct {
	id                   events.UnitID
	tag                  string
	maker, model, serial string
}

// ImportBook reads an old job book in.
func (s *Shop) ImportBook(data []byte, b *jobbook.Book, o ImportOptions) (Imported, error) {
	im := s.importer(data, "book", o)
	im.res.Mapping = b.Mapping.String()
	err := im.run(func(yield func(jobbook.Row, map[string]string, *jobbook.Refused) bool) {
		for row, refused := range b.Rows() {
			if !yield(row, jobKept(row), refused) {
				return
			}
		}
	})
	return im.res, err
}

// ImportORDS reads a file in the Open Repair Data Standard in: each row is a
// unit of one visit. Each of the standard's categories stays a kind of its own;
// the nearest kinds of the trade would make one of two, and a radio cabinet of
// a games console.
func (s *Shop) ImportORDS(data []byte, b *jobbook.StandardBook, o ImportOptions) (Imported, error) {
	im := s.importer(data, "ords", o)
	err := im.run(func(yield func(jobbook.Row, map[string]string, *jobbook.Refused) bool) {
		for row, refused := range b.Rows() {
			row.KindID = slug(row.Kind)
			if !yield(row.Row, standardKept(row.Standard), refused) {
				return
			}
		}
	})
	return im.res, err
}

func (s *Shop) importer(data []byte, format string, o ImportOptions) *importer {
	if o.Progress == nil {
		o.Progress = func(int) {}
	}
	return &importer{shop: s, opt: o, source: sha256.Sum256(data), format: format,
		res:    Imported{Refused: []RefusedRow{}, LikelySame: []SamePair{}, DryRun: o.DryRun, unmatched: map[string]int{}},
		paired: map[[2]events.UnitID]bool{}, terms: map[string]string{},
		rows: map[[16]byte]bool{}, units: map[[3]string]events.UnitID{}, jobs: map[[2]string]bool{}}
}

type rowSeq func(yield func(jobbook.Row, map[string]string, *jobbook.Refused) bool)

type keptRow struct {
	jobbook.Row
	kept map[string]string
}

// run takes the rows in; a dry run into a copy of the shop that is thrown away.
func (im *importer) run(rows rowSeq) error {
	if !im.opt.DryRun {
		return im.takeAll(rows)
	}
	return im.shop.trial(func(copied *Shop) error {
		im.shop = copied
		return im.takeAll(rows)
	})
}

// takeAll takes the rows in, some to a commit.
func (im *importer) takeAll(rows rowSeq) error {
	var chunk []keptRow
	var err error
	rows(func(row jobbook.Row, kept map[string]string, refused *jobbook.Refused) bool {
		im.res.Rows++
		switch {
		case refused != nil:
			im.res.Refused = append(im.res.Refused, RefusedRow{refused.Row, refused.Job, refused.Why})
		case row.Repeats != 0:
			im.res.Repeated++
		default:
			chunk = append(chunk, keptRow{row, kept})
		}
		if len(chunk) >= rowsPerCommit {
			err = im.commit(chunk)
			chunk = chunk[:0]
			im.opt.Progress(im.res.Rows)
		}
		return err == nil
	})
	if err == nil {
		err = im.commit(chunk)
	}
	im.opt.Progress(im.res.Rows)
	if err != nil {
		return err
	}
	im.res.Unmatched = topTexts(im.res.unmatched)
	return im.offer()
}

func (im *importer) commit(chunk []keptRow) error {
	err := im.shop.act(func(tx *eventlog.Tx) error {
		if err := im.loadPersons(tx); err != nil {
			return err
		}
		for _, row := range chunk {
			if err := im.take(tx, row); err != nil {
				return fmt.Errorf("row %d: %w", row.Number, err)
			}
		}
		return nil
	})
	clear(im.rows)
	clear(im.units)
	clear(im.jobs)
	return err
}

// loadPersons reads who is known, once.
func (im *importer) loadPersons(tx *eventlog.Tx) error {
	if im.persons != nil {
		return nil
	}
	im.persons = map[personSum]events.PersonID{}
	return projections.EachPerson(tx, tx, func(id events.PersonID, p events.Personal) (bool, error) {
		im.persons[personKey(p)] = id
		return true, nil
	})
}

// personSum stands for what is known of a person: a book may name hundreds of thousands.
type personSum [16]byte

func personKey(p events.Personal) (s personSum) {
	all := strings.Join([]string{events.Key(p.Name), events.Key(p.City), events.Key(p.Phone), events.Key(p.Email), events.Key(p.Address)}, " ")
	sum := sha256.Sum256([]byte(all))
	copy(s[:], sum[:])
	return s
}

// take makes the events of one row. What an old book does not date more
// closely happened, as far as it tells, on the day the unit came in.
func (im *importer) take(tx *eventlog.Tx, row keptRow) error {
	if known, err := im.isTaken(tx, row.Key); err != nil || known {
		if known {
			im.res.Repeated++
		}
		return err
	}
	by := orElse(row.Technician, im.opt.By)
	if changed, err := im.changedRow(tx, row); err != nil || changed != "" {
		if changed != "" {
			im.res.Refused = append(im.res.Refused, RefusedRow{row.Number, row.Job, changed})
		}
		return err
	}
	w := writerOf(tx, events.Draft{At: events.OnDay(dayOfBook(row.Received)), By: by})
	if err := im.addTerm(w, row.Row); err != nil {
		return err
	}
	if err := im.receive(w, row.Row); err != nil {
		return err
	}
	for _, b := range im.bodies(row) {
		w.add(b)
	}
	if !row.Shipped.IsZero() {
		w.draft.At = events.OnDay(dayOfBook(row.Shipped))
		w.add(shippedOf(row.Row))
		w.draft.At = events.OnDay(dayOfBook(row.Received))
	}
	w.add(events.RowImported{Source: im.source, Row: row.Number, Key: row.Key, Format: im.format, Kept: row.kept})
	im.rows[row.Key] = true
	if job := jobOf(row); job[0] != "" {
		im.jobs[job] = true
	}
	im.res.Taken++
	im.res.Visits++
	im.res.Warnings += len(row.Warnings)
	return w.err
}

// changedRow says of a row that is not here as it is whether it is here with
// other cells: the same job of the same day, or the same unit received on the
// same day. Taking it would make a second visit of one.
func (im *importer) changedRow(tx *eventlog.Tx, row keptRow) (string, error) {
	day := dayOfBook(row.Received)
	ids, err := projections.ByJob(tx, row.Job, day)
	if err != nil {
		return "", err
	}
	if len(ids) > 0 || im.jobs[jobOf(row)] {
		return fmt.Sprintf("job %s of %s is here already with other cells; correct the entries instead", row.Job, day), nil
	}
	h, err := sameClaim(tx, events.Received{Maker: row.Maker, Model: row.Model, Serial: row.Serial})
	if err != nil || h == nil {
		return "", err
	}
	for _, v := range h.Visits {
		if v.Received.Precision != events.Unknown && v.Received.Day == day {
			return fmt.Sprintf("unit %s was received on %s already; correct the entries instead", unitName(h), day), nil
		}
	}
	return "", nil
}

// jobOf names the job of a row.
func jobOf(row keptRow) [2]string {
	return [2]string{events.Key(row.Job), dayOfBook(row.Received).String()}
}

func (im *importer) isTaken(tx *eventlog.Tx, key [16]byte) (bool, error) {
	if im.rows[key] {
		return true, nil
	}
	ids, err := projections.ByRow(tx, key)
	return len(ids) > 0, err
}

// receive adds the intake, of a known unit or of a new one.
func (im *importer) receive(w *writer, row jobbook.Row) error {
	claim := events.Received{Maker: row.Maker, Model: row.Model, Serial: row.Serial, YearFrom: row.YearFrom, YearTo: row.YearTo,
		KindOfSet: row.KindID, Complaint: row.Complaint}
	person, err := im.person(w, row)
	if err != nil {
		return err
	}
	claim.Person = person
	key := [3]string{events.Key(row.Maker), events.Key(row.Model), events.Key(row.Serial)}
	unit, known := im.units[key]
	if !known || key[0] == "" || key[1] == "" || key[2] == "" {
		if unit, known, err = im.unitOf(w.tx, claim); err != nil {
			return err
		}
	}
	if !known {
		if claim.Tag, err = im.shop.nextTag(w.tx); err != nil {
			return err
		}
	}
	w.draft.About = unit
	id := w.add(claim)
	if w.err != nil {
		return w.err
	}
	if !known {
		unit = events.UnitID(id)
		im.res.Units++
		im.fresh = append(im.fresh, unit)
	}
	im.units[key] = unit
	w.draft.About, w.draft.Visit = unit, events.VisitID(id)
	return nil
}

func (im *importer) unitOf(tx *eventlog.Tx, claim events.Received) (events.UnitID, bool, error) {
	h, err := sameClaim(tx, claim)
	if err != nil || h == nil {
		return events.UnitID{}, false, err
	}
	return h.Root, true, nil
}

func (im *importer) person(w *writer, row jobbook.Row) (events.PersonID, error) {
	p := events.Personal{Name: row.Customer, Phone: row.Phone, Email: row.Email, Address: joinWords(row.Address, row.Postcode, row.Region), City: row.City}
	if p == (events.Personal{}) {
		return events.PersonID{}, nil
	}
	key := personKey(p)
	if id, ok := im.persons[key]; ok {
		return id, nil
	}
	id, err := newPerson(w.tx, p, w.draft.At, w.draft.By)
	im.persons[key] = id
	return id, err
}

// addTerm adds a kind of set that no table has.
func (im *importer) addTerm(w *writer, row jobbook.Row) error {
	if im.format != "ords" || row.KindID == "" || im.terms[row.KindID] != "" || isSet(row.KindID) {
		return nil
	}
	im.terms[row.KindID] = row.Kind
	_, err := w.tx.Add(events.Draft{At: w.draft.At, By: w.draft.By, Body: events.TermAdded{Table: "kind of set", ID: row.KindID, Name: row.Kind}})
	return err
}

// bodies are the facts between receiving and shipping.
func (im *importer) bodies(row keptRow) []events.Body {
	var bodies []events.Body
	for _, f := range row.Findings {
		im.res.Findings++
		if f.Component == "" {
			im.res.unmatched[f.Text]++
		}
		bodies = append(bodies, faultOf(f))
	}
	for _, p := range row.Parts {
		b, _ := partOf(p)
		bodies = append(bodies, b)
	}
	for _, d := range row.Done {
		bodies = append(bodies, events.WorkDone{Work: orElse(d.Kind, "other"), Text: d.Text})
	}
	for _, r := range row.Readings {
		b, _, err := Reading(events.ReadingTaken{Point: r.Point, Text: withUnit(r.Text, r.Unit), Stage: r.Stage})
		if err == nil {
			bodies = append(bodies, b)
		}
	}
	if row.Notes != "" {
		bodies = append(bodies, events.Note{Text: row.Notes})
	}
	if row.Charge.Text != "" && (!row.Charge.Known || row.Shipped.IsZero()) {
		bodies = append(bodies, events.Note{Text: "charge as written: " + row.Charge.Text})
	}
	return bodies
}

func shippedOf(row jobbook.Row) events.Shipped {
	b := events.Shipped{Outcome: orElse(row.OutcomeID, "unknown")}
	if row.Charge.Known && row.Charge.Minor >= 0 {
		b.Charge, b.Currency = row.Charge.Minor, row.Charge.Currency
	}
	if row.OutcomeID == "" {
		b.Text = row.Outcome
	}
	return b
}

func withUnit(text, unit string) string {
	if unit == "" || strings.ContainsFunc(text, isUnitLetter) {
		return text
	}
	return text + " " + unit
}

func dayOfBook(d jobbook.Day) events.Day { return events.NewDay(d.Year, monthOf(d), d.Day) }

// writer adds events one after the other until one fails.
type writer struct {
	tx    *eventlog.Tx
	draft events.Draft
	err   error
}

func writerOf(tx *eventlog.Tx, d events.Draft) *writer { return &writer{tx: tx, draft: d} }

func (w *writer) add(b events.Body) (id events.EventID) {
	if w.err != nil {
		return id
	}
	d := w.draft
	d.Body = b
	id, w.err = w.tx.Add(d)
	return id
}
