package app

import (
	"cmp"
	"fmt"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/tag"
	"oldhand/projections"
)

// Intake is a unit that comes in.
type Intake struct {
	Unit     string // the tag or serial of a unit that was here before; empty to go by the claim
	Claim    events.Received
	Customer events.Personal
	Who
}

// ReceiveResult says what an intake found.
type ReceiveResult struct {
	Saved
	New    bool     `json:"new"`
	Before *Before  `json:"before,omitempty"`
	Likely []Likely `json:"likely_same,omitempty"` // units that may be this one under another spelling
}

// Before is what a unit that was here before had last time.
type Before struct {
	Visits       int      `json:"visits"`
	Received     string   `json:"received"`
	Shipped      string   `json:"shipped,omitempty"`
	Outcome      string   `json:"outcome,omitempty"`
	Done         []string `json:"done"`
	DaysSince    *int     `json:"days_since_shipped,omitempty"`
	ComeBack     bool     `json:"come_back"` // within ComeBackDays of shipping
	WarrantyDays int      `json:"warranty_days,omitempty"`
	WarrantyTill string   `json:"warranty_till,omitempty"`
	InWarranty   bool     `json:"in_warranty"`
}

// ComeBackDays is how soon after shipping a return counts as a come-back.
// Common practice, no source: many shops stand behind their work for 90 days.
const ComeBackDays = 90

// Receive takes a unit in. One with an equal maker, model and serial that was
// here before is the same unit; near ones are offered.
func (s *Shop) Receive(in Intake) (res ReceiveResult, err error) {
	err = s.act(func(tx *eventlog.Tx) error {
		res = ReceiveResult{}
		h, err := s.known(tx, in)
		if err != nil {
			return err
		}
		at, note := s.afterLast(h, in.Who)
		if err := s.notLater(at); err != nil {
			return err
		}
		if s.Card.Number == 0 {
			return &NotHere{"this folder", "is a copy of the shop and its bench is not admitted, so nothing is received here"}
		}
		if h != nil {
			if err := cmp.Or(s.farAhead(h, in.Who), notOnBench(h, at)); err != nil {
				return err
			}
			res.Before = beforeOf(h, at.Day)
			fillClaim(tx, &in.Claim, h)
		}
		if err := s.receive(tx, in, h, at, &res); err != nil {
			return err
		}
		res.note(note)
		return nil
	})
	return res, err
}

func (s *Shop) receive(tx *eventlog.Tx, in Intake, h *projections.History, at events.When, res *ReceiveResult) error {
	if in.Customer != (events.Personal{}) {
		id, err := s.person(tx, in.Customer, at, in.By)
		if err != nil {
			return err
		}
		in.Claim.Person = id
	}
	d := events.Draft{At: at, By: in.By}
	if h == nil {
		number, err := s.nextTag(tx)
		if err != nil {
			return err
		}
		in.Claim.Tag, res.New = number, true
		res.Saved = Saved{Tag: number, Name: nameOf(in.Claim.Maker, in.Claim.Model)}
		if res.Likely, err = nearUnits(tx, in.Claim); err != nil {
			return err
		}
	} else {
		d.About = h.Root
		res.Saved = savedOf(h)
	}
	bodies, err := knownWords(tx, []events.Body{in.Claim})
	if err != nil {
		return err
	}
	d.Body = bodies[0]
	if err := res.add(tx, d); err != nil {
		return err
	}
	if h == nil {
		res.unit = events.UnitID(res.Events[0].ID)
		res.Unit = res.unit.String()
	}
	s.sending.about(res.Unit)
	return nil
}

// known is the unit an intake is of, nil for one that was never here.
func (s *Shop) known(tx *eventlog.Tx, in Intake) (*projections.History, error) {
	if in.Unit != "" {
		return Resolve(tx, in.Unit)
	}
	return sameClaim(tx, in.Claim)
}

// sameClaim finds the unit with an equal maker, model and serial, all three
// given, compared without case, spaces and dashes.
func sameClaim(r projections.Reader, c events.Received) (*projections.History, error) {
	if events.Key(c.Maker) == "" || events.Key(c.Model) == "" {
		return nil, nil
	}
	ids, err := projections.BySerial(r, c.Serial)
	if err != nil {
		return nil, err
	}
	for _, id := range ids {
		h, err := load(r, id)
		if err != nil {
			return nil, err
		}
		if events.Key(h.Maker) == events.Key(c.Maker) && events.Key(h.Model) == events.Key(c.Model) {
			return h, nil
		}
	}
	return nil, nil
}

// nearUnits are units of the same model whose serial is one or two slips from
// the claimed one: perhaps the same, for a person to say.
func nearUnits(r projections.Reader, c events.Received) ([]Likely, error) {
	if events.Key(c.Serial) == "" {
		return nil, nil
	}
	found, err := projections.FindSerial(r, c.Serial, 8*mostLikely)
	if err != nil {
		return nil, err
	}
	var likely []Likely
	for _, m := range found {
		h, err := load(r, m.Root)
		if err != nil {
			return nil, err
		}
		if m.Why != projections.PartOfSerial && (m.Likeness == 1 || agree(h.Model, c.Model) && agree(h.Maker, c.Maker)) {
			likely = append(likely, likelyOf(h, m.Likeness, m.Why))
		}
	}
	return likely[:min(len(likely), mostLikely)], nil
}

// agree reports whether two names are one, or one of them is not known.
func agree(a, b string) bool {
	return events.Key(a) == events.Key(b) || events.Key(a) == "" || events.Key(b) == ""
}

func notOnBench(h *projections.History, at events.When) error {
	v := h.OpenVisit()
	if v == nil || dayOf(v.Received, events.EventID(v.ID)) > at.Day {
		return nil // a visit of the past, written down late
	}
	return &NotHere{unitName(h), fmt.Sprintf("stands on a bench since %s; ship it before it is received again", v.Received.Day)}
}

// fillClaim leaves out of a returning unit's claim nothing that is known, but for what
// can't be said by the rules of a claim: another bench may have said it all the same, and a
// set that stands at the counter is taken in. What the unit's history has stays there.
func fillClaim(r projections.Reader, c *events.Received, h *projections.History) {
	for _, f := range []struct{ claim, known *string }{{&c.Maker, &h.Maker}, {&c.Model, &h.Model}, {&c.Serial, &h.Serial}, {&c.KindOfSet, &h.KindOfSet}} {
		if *f.claim == "" {
			one := *c
			*f.claim = *f.known
			if !sayable(r, *c) {
				*c = one
			}
		}
	}
}

// sayable reports whether a claim could be saved.
func sayable(r projections.Reader, c events.Received) bool {
	bodies, err := knownWords(r, []events.Body{c})
	return err == nil && bodies[0].Validate() == nil
}

// nextTag gives a tag that no unit has.
func (s *Shop) nextTag(tx *eventlog.Tx) (string, error) {
	if s.Card.Number == 0 {
		return "", nil // a bench that is not admitted yet gives no tags: nobody knows its number
	}
	var text string
	_, err := tx.NextFree("tag", func(n uint32) (bool, error) {
		body, err := tag.Body(s.Card.Number, n)
		if err != nil {
			return false, err
		}
		text = tag.Append(body)
		ids, err := projections.ByTag(tx, text)
		return len(ids) > 0, err
	})
	return text, err
}

// person is the customer's id: of one who is known by the same name and place,
// or of a new one, recorded and sealed.
func (s *Shop) person(tx *eventlog.Tx, p events.Personal, at events.When, by string) (events.PersonID, error) {
	known, err := s.findPerson(tx, p)
	if err != nil || !known.IsZero() {
		return known, err
	}
	return newPerson(tx, p, at, by)
}

// findPerson opens those only who have the name, since a shop has thousands of
// customers and somebody stands at the counter.
func (s *Shop) findPerson(tx *eventlog.Tx, p events.Personal) (found events.PersonID, err error) {
	if p.Name == "" {
		return found, nil
	}
	var alike []events.PersonID
	err = s.viewKeys(func(v *eventlog.View) error {
		alike, err = s.customers.Namesakes(v, tx, p.Name)
		return err
	})
	if err != nil {
		return found, err
	}
	for _, id := range alike {
		have, err := projections.PersonOf(tx, tx, id)
		if err != nil {
			return found, err
		}
		if samePerson(have, p) {
			return id, nil
		}
	}
	return found, nil
}

// samePerson takes two records for one customer when nothing that both say
// differs and both say a name and something else.
func samePerson(a, b events.Personal) bool {
	agree := 0
	for _, f := range [][2]string{{a.Phone, b.Phone}, {a.Email, b.Email}, {a.Address, b.Address}, {a.City, b.City}} {
		if f[0] != "" && f[1] != "" {
			if events.Key(f[0]) != events.Key(f[1]) {
				return false
			}
			agree++
		}
	}
	return a.Name != "" && events.Key(a.Name) == events.Key(b.Name) && agree > 0
}

func newPerson(tx *eventlog.Tx, p events.Personal, at events.When, by string) (id events.PersonID, err error) {
	var key events.PersonKey
	var nonce [24]byte
	for _, b := range [][]byte{id[:], key[:], nonce[:]} {
		if err := random(b); err != nil {
			return id, err
		}
	}
	sealed, err := p.Seal(id, key, nonce)
	if err != nil {
		return id, err
	}
	if err := tx.PutPersonKey(id, key); err != nil {
		return id, err
	}
	_, err = tx.Add(events.Draft{About: id, At: at, By: by, Body: sealed})
	return id, err
}

// beforeOf is what a unit's last visit before a day came to, as of that day,
// and the warranty of any visit that runs longest.
func beforeOf(h *projections.History, on events.Day) *Before {
	var b *Before
	for _, v := range h.Visits {
		if dayOf(v.Received, events.EventID(v.ID)) > on {
			break
		}
		last := b
		b = beforeVisit(v, on)
		if last == nil {
			continue
		}
		b.Visits = last.Visits + 1
		if last.WarrantyTill > b.WarrantyTill {
			b.WarrantyDays, b.WarrantyTill, b.InWarranty = last.WarrantyDays, last.WarrantyTill, last.InWarranty
		}
	}
	return b
}

func beforeVisit(v projections.Visit, on events.Day) *Before {
	b := &Before{Visits: 1, Received: v.Received.Day.String(), Done: []string{}}
	for _, e := range v.Entries {
		switch body := e.Decode().(type) {
		case events.FaultFound, events.PartReplaced, events.WorkDone:
			b.Done = append(b.Done, e.Line())
		case events.Shipped:
			b.Outcome, b.WarrantyDays = body.Outcome, body.WarrantyDays
		}
	}
	if v.End != projections.Ended {
		b.Outcome = "unknown"
		return b
	}
	if v.Shipped.Precision == events.Unknown {
		return b
	}
	b.Shipped = v.Shipped.Day.String()
	since := daysBetween(v.Shipped.Day, on)
	b.DaysSince, b.ComeBack = &since, since <= ComeBackDays
	if b.WarrantyDays > 0 {
		till := v.Shipped.Day + events.Day(b.WarrantyDays)
		b.WarrantyTill, b.InWarranty = till.String(), on <= till
	}
	return b
}

// String tells a counter what it should know at once.
func (b *Before) String() string {
	s := fmt.Sprintf("was here before: %s, last received %s", visits(b.Visits), b.Received)
	switch {
	case b.Shipped == "" || b.DaysSince == nil:
		s += ", left on a day nobody wrote down"
	case b.ComeBack:
		s += fmt.Sprintf(", shipped %s (%s); a come-back after %s", b.Shipped, b.Outcome, days(*b.DaysSince))
	default:
		s += fmt.Sprintf(", shipped %s (%s), %s ago", b.Shipped, b.Outcome, days(*b.DaysSince))
	}
	switch {
	case b.WarrantyTill == "":
		return s + "; no warranty written down"
	case b.InWarranty:
		return s + "; warranty still running, until " + b.WarrantyTill
	}
	return s + "; warranty ran out on " + b.WarrantyTill
}

func visits(n int) string { return numbered(n, "visit") }
func days(n int) string   { return numbered(n, "day") }

func numbered(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
