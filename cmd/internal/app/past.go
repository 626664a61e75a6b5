package app

import (
	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

// Past is the answer to a lookup.
type Past struct {
	Matches []PastUnit `json:"matches"`
	More    bool       `json:"more,omitempty"` // there are more than were asked for
}

// PastUnit is one unit's whole past, as both the command and the page show it.
type PastUnit struct {
	Unit      string         `json:"unit"`
	Tag       string         `json:"tag"`
	Tags      []string       `json:"tags,omitempty"` // where it has more than one
	Maker     string         `json:"maker"`
	Model     string         `json:"model"`
	Serial    string         `json:"serial"`
	Serials   []string       `json:"serials,omitempty"` // where it was spelled in more than one way
	Year      *int           `json:"year"`              // made; null where it is not known
	YearTo    *int           `json:"year_to,omitempty"`
	KindOfSet string         `json:"kind_of_set,omitempty"`
	Likeness  float64        `json:"likeness"`
	Why       string         `json:"why"`
	Visits    []PastVisit    `json:"visits"`
	Loose     []PastLine     `json:"before_any_visit,omitempty"`
	Withdrawn []PastLine     `json:"withdrawn,omitempty"`
	Conflicts []PastConflict `json:"conflicts,omitempty"`
	Unread    int            `json:"made_by_a_newer_version,omitempty"`

	Attachments []Attachment `json:"attachments_before_any_visit,omitempty"`
}

// PastConflict is a fact with versions that did not see each other, the one
// shown first.
type PastConflict struct {
	Fact     string     `json:"fact"`
	Versions []PastLine `json:"versions"`
}

// PastVisit is one stay in the shop.
type PastVisit struct {
	Received  string        `json:"received"`
	Shipped   *string       `json:"shipped"` // null while it is here, "unknown" where nobody wrote the day down
	Days      *int          `json:"days,omitempty"`
	Customer  string        `json:"customer,omitempty"`
	Complaint string        `json:"complaint"`
	Condition string        `json:"condition,omitempty"`
	Faults    []PastFault   `json:"faults"`
	Parts     []PastPart    `json:"parts"`
	Readings  []PastReading `json:"readings"`
	Waits     []PastWait    `json:"waits,omitempty"`
	Outcome   string        `json:"outcome"`
	Charge    string        `json:"charge,omitempty"`
	Warranty  int           `json:"warranty_days,omitempty"`
	Tests     []PastTest    `json:"tests,omitempty"`
	Lines     []PastLine    `json:"lines"` // everything, in order

	Attachments []Attachment `json:"attachments,omitempty"` // photos, recordings and papers
}

// PastFault is a fault that was found.
type PastFault struct {
	Component  string `json:"component,omitempty"`
	Mode       string `json:"mode,omitempty"`
	Designator string `json:"designator,omitempty"`
	Symptom    string `json:"symptom,omitempty"`
	Cause      string `json:"cause,omitempty"`
	Text       string `json:"text,omitempty"`
}

// PastPart is a part that was replaced.
type PastPart struct {
	Designator string `json:"designator,omitempty"`
	Component  string `json:"component,omitempty"`
	Out        string `json:"out,omitempty"`
	In         string `json:"in,omitempty"`
	Value      string `json:"value,omitempty"` // of what went in, as read
	Reason     string `json:"reason,omitempty"`
	Text       string `json:"text,omitempty"`
}

// PastReading is what was read at one point, before and after side by side.
type PastReading struct {
	Point   string `json:"point"`
	AsFound string `json:"as_found,omitempty"`
	AsLeft  string `json:"as_left,omitempty"`
	Read    string `json:"read,omitempty"` // where it was not said whether before or after
	Limits  string `json:"limits,omitempty"`
	Caution string `json:"caution,omitempty"`

	measure     string          // id of package measure's table, of the first
	found, left events.Quantity // as read; zero where the text is no number
}

// PastWait is a time during which the bench could not go on.
type PastWait struct {
	For  string `json:"for"`
	From string `json:"from"`
	To   string `json:"to,omitempty"`
	Days *int   `json:"days,omitempty"`
}

// PastLine is one entry of the timeline.
type PastLine struct {
	Event     string `json:"event"`
	At        string `json:"at"`
	By        string `json:"by,omitempty"`
	Kind      string `json:"kind"`
	Line      string `json:"line"`
	Corrected bool   `json:"corrected,omitempty"`
}

// Past looks a unit up by tag, serial, maker and model, or customer, and gives
// the whole past of those that match, best first.
func (s *Shop) Past(query string, limit int) (Past, error) {
	p := Past{Matches: []PastUnit{}}
	err := s.view(func(v *eventlog.View) error {
		found, err := projections.Find(v, s.naming(v), Scanned(query), limit+1)
		if err != nil {
			return err
		}
		if p.More = len(found) > limit; p.More {
			found = found[:limit]
		}
		for _, m := range found {
			h, err := load(v, m.Root)
			if err != nil {
				return err
			}
			u, err := pastOf(v, h)
			if err != nil {
				return err
			}
			if err := s.addAttachments(&u, v, h); err != nil {
				return err
			}
			if err := s.addTests(&u, v, h); err != nil {
				return err
			}
			u.Likeness, u.Why = m.Likeness, m.Why
			p.Matches = append(p.Matches, u)
		}
		return nil
	})
	return p, err
}

// PastOf is the whole past of the one unit that was named.
func (s *Shop) PastOf(typed string) (u PastUnit, err error) {
	err = s.view(func(v *eventlog.View) error {
		h, err := Resolve(v, typed)
		if err != nil {
			return err
		}
		if u, err = pastOf(v, h); err != nil {
			return err
		}
		return s.addTests(&u, v, h)
	})
	return u, err
}

// opener reads what is known of a customer.
type opener interface {
	projections.Reader
	Person(events.PersonID) (events.KeyEntry, error)
}

func pastOf(r opener, h *projections.History) (PastUnit, error) {
	u := PastUnit{Unit: h.Root.String(), Tag: firstTag(h), Maker: h.Maker, Model: h.Model, Serial: h.Serial,
		KindOfSet: h.KindOfSet, Likeness: 1, Visits: []PastVisit{}, Loose: lines(h.Loose), Withdrawn: lines(h.Withdrawn)}
	if len(h.Tags) > 1 {
		u.Tags = h.Tags
	}
	if len(h.Serials) > 1 {
		u.Serials = h.Serials
	}
	if h.YearFrom != 0 {
		u.Year = &h.YearFrom
	}
	if h.YearTo != 0 && h.YearTo != h.YearFrom {
		u.YearTo = &h.YearTo
	}
	if err := u.addConflicts(r, h); err != nil {
		return u, err
	}
	for i := range h.Visits {
		v := pastVisit(&h.Visits[i])
		name, err := customer(r, h.Visits[i].Person)
		if err != nil {
			return u, err
		}
		v.Customer = name
		u.Visits = append(u.Visits, v)
		u.Unread += unread(h.Visits[i].Entries)
	}
	u.Unread += unread(h.Loose)
	return u, nil
}

// addConflicts reads the versions in dispute.
func (u *PastUnit) addConflicts(r projections.Reader, h *projections.History) error {
	if len(h.Conflicts) == 0 {
		return nil
	}
	byID, err := unitEvents(r, h)
	if err != nil {
		return err
	}
	for _, c := range h.Conflicts {
		p := PastConflict{Fact: c.Fact.String()}
		for _, id := range c.Versions {
			e := byID[id]
			p.Versions = append(p.Versions, PastLine{Event: id.String(), At: e.At.String(), By: e.By, Kind: e.Kind.String(), Line: e.Line()})
		}
		u.Conflicts = append(u.Conflicts, p)
	}
	return nil
}

func unread(entries []projections.Entry) (n int) {
	for _, e := range entries {
		if e.Decode() == nil {
			n++
		}
	}
	return n
}

// NameSealed stands for a customer's name whose key is not in this folder, as in
// a copy without keys, and NameForgotten for one that nobody is to know any more.
const (
	NameSealed    = "(name sealed, its key is not here)"
	NameForgotten = "(forgotten)"
)

// customer is a name, empty where nobody is named.
func customer(r opener, id events.PersonID) (string, error) {
	p, instead, err := personOf(r, id)
	return orElse(instead, p.Name), err
}

// personOf is what is known of a customer, or what stands instead of the name.
func personOf(r opener, id events.PersonID) (p events.Personal, instead string, err error) {
	if id.IsZero() {
		return p, "", nil
	}
	sealed, ok, err := projections.Person(r, id)
	if err != nil || !ok {
		return p, "", err
	}
	have, err := r.Person(id)
	switch {
	case err != nil:
		return p, "", err
	case have.Forgotten():
		return p, NameForgotten, nil
	case have.IsNothing():
		return p, NameSealed, nil
	}
	p, err = sealed.Open(id, have.Key)
	return p, "", err
}

func pastVisit(v *projections.Visit) PastVisit {
	p := PastVisit{Received: v.Received.String(), Faults: []PastFault{}, Parts: []PastPart{}, Readings: []PastReading{}, Lines: lines(v.Entries)}
	for _, e := range v.Entries {
		p.add(e)
	}
	switch v.End {
	case projections.Ended:
		day := v.Shipped.String()
		p.Shipped = &day
		if v.Shipped.Precision != events.Unknown && v.Received.Precision != events.Unknown {
			n := daysBetween(v.Received.Day, v.Shipped.Day)
			p.Days = &n
		}
	case projections.EndUnknown:
		unknown := "unknown"
		p.Shipped, p.Outcome = &unknown, "unknown"
	default:
		p.Outcome = "open"
	}
	return p
}

// add puts an entry in the column it belongs to.
func (p *PastVisit) add(e projections.Entry) {
	switch b := e.Decode().(type) {
	case events.Received:
		p.Complaint, p.Condition = orElse(p.Complaint, b.Complaint), orElse(p.Condition, b.Condition)
	case events.FaultFound:
		p.Faults = append(p.Faults, PastFault{b.Component, b.Mode, b.Designator, b.Symptom, b.Cause, b.Text})
	case events.PartReplaced:
		p.Parts = append(p.Parts, PastPart{b.Designator, b.Component, b.Out.Text, b.In.Text, projections.MarkingText(b.In), b.Reason, b.Text})
	case events.ReadingTaken:
		p.read(b)
	case events.WaitingBegun:
		p.Waits = append(p.Waits, PastWait{For: b.For, From: e.At.String()})
	case events.WaitingEnded:
		p.endWaits(b.For, e.At)
	case events.Shipped:
		p.Outcome, p.Warranty = b.Outcome, b.WarrantyDays
		p.endWaits("", e.At)
		if b.Charge > 0 {
			p.Charge = events.MoneyText(b.Charge, b.Currency)
		}
	}
}

func (p *PastVisit) endWaits(what string, at events.When) {
	for i := range p.Waits {
		w := &p.Waits[i]
		if w.To != "" || what != "" && w.For != what {
			continue
		}
		w.To = at.String()
		if from, err := events.ParseWhen(w.From, nil); err == nil && from.Precision != events.Unknown && at.Precision != events.Unknown {
			n := daysBetween(from.Day, at.Day)
			w.Days = &n
		}
	}
}

// read puts a reading beside an earlier one of the same point, if the place
// for it is still free.
func (p *PastVisit) read(b events.ReadingTaken) {
	for i := range p.Readings {
		if r := &p.Readings[i]; r.Point == b.Point {
			if *r.place(b.Stage) == "" {
				r.put(b)
				return
			}
		}
	}
	r := PastReading{Point: b.Point, Caution: CautionOf(b), measure: b.Measure}
	r.put(b)
	p.Readings = append(p.Readings, r)
}

// put writes a reading into its place.
func (r *PastReading) put(b events.ReadingTaken) {
	*r.place(b.Stage), r.Limits = readingText(b), orElse(r.Limits, b.Limits)
	switch b.Stage {
	case events.AsFound:
		r.found = b.Value
	case events.AsLeft:
		r.left = b.Value
	}
}

func (r *PastReading) place(stage string) *string {
	switch stage {
	case events.AsFound:
		return &r.AsFound
	case events.AsLeft:
		return &r.AsLeft
	}
	return &r.Read
}

// lines are entries as a timeline shows them. From which row of which file an
// entry came is kept and not shown here: it is not a part of the unit's past.
func lines(entries []projections.Entry) []PastLine {
	ls := make([]PastLine, 0, len(entries))
	for _, e := range entries {
		if e.Kind == events.KindRowImported {
			continue
		}
		ls = append(ls, PastLine{e.ID.String(), e.At.String(), e.By, e.Kind.String(), e.Line(), e.Shown != e.ID})
	}
	return ls
}

func orElse(s, other string) string {
	if s != "" {
		return s
	}
	return other
}
