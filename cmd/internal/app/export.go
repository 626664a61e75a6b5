package app

import (
	"bufio"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"strconv"

	"oldhand/cmd/internal/jobbook"
	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

// cloudEvent is one line of an export: a CloudEvent 1.0 in JSON. The data are
// for people and other programs; the extension "record" holds the event's own
// bytes, from which alone it is read back.
type cloudEvent struct {
	SpecVersion string         `json:"specversion"`
	ID          string         `json:"id"`
	Source      string         `json:"source"`
	Type        string         `json:"type"`
	Subject     string         `json:"subject,omitempty"`
	Time        string         `json:"time,omitempty"`
	ContentType string         `json:"datacontenttype,omitempty"`
	Data        map[string]any `json:"data,omitempty"`
	Feed        string         `json:"feed,omitempty"`
	Sequence    string         `json:"sequence,omitempty"`
	Previous    string         `json:"previous,omitempty"` // of an event that begins another branch of its feed: the hash of the one that it follows
	Record      string         `json:"record,omitempty"`   // base64
}

// The types of lines that are not events of the log.
const (
	typeShop = "oldhand.export.shop.v1"
	typeHead = "oldhand.export.head.v1"
	typeKey  = "oldhand.export.personkey.v1"
)

func eventType(k events.Kind, version uint) string {
	return fmt.Sprintf("oldhand.%s.v%d", k, version)
}

// ExportOptions say what an export holds.
type ExportOptions struct {
	Keys     bool // also the keys that customers' names are opened with
	Progress func(done int)
}

// Exported says what an export came to.
type Exported struct {
	Events int `json:"events"`
	Feeds  int `json:"feeds"`
	Held   int `json:"held_back"` // events that no signed head covers yet
}

// ExportEvents writes the log as JSON Lines: the shop, each feed's events in
// order, and behind each run of them the signed head that covers it.
func (s *Shop) ExportEvents(w io.Writer, o ExportOptions) (res Exported, err error) {
	out := bufio.NewWriterSize(w, 1<<16)
	enc := json.NewEncoder(out)
	enc.SetEscapeHTML(false)
	source := "urn:oldhand:shop:" + s.Card.Shop
	proven, err := s.Log.Proven()
	if err != nil {
		return res, err
	}
	data := map[string]any{"shop": s.Card.Shop, "name": s.Card.Name, "software": Software}
	if left := leftBehind(proven); len(left) > 0 {
		data["left"] = left
	}
	if err := enc.Encode(cloudEvent{SpecVersion: "1.0", ID: "shop", Source: source, Type: typeShop, ContentType: "application/json", Data: data}); err != nil {
		return res, err
	}
	res.Held = held(s.Log.Branches(), proven)
	err = s.view(func(v *eventlog.View) error {
		for _, p := range proven {
			if err := s.exportBranch(v, enc, source, p, o, &res); err != nil {
				return err
			}
		}
		if o.Keys {
			return exportKeys(v, enc, source)
		}
		return nil
	})
	return res, errors.Join(err, out.Flush())
}

func held(all []eventlog.Reach, proven []eventlog.Proof) (n int) {
	covered := map[eventlog.Branch]uint64{}
	for _, p := range proven {
		covered[p.Branch] = p.Head.Seq - p.Base.Seq
	}
	for _, r := range all {
		n += int(r.Own() - covered[r.Branch])
	}
	return n
}

// leftBehind names the events that branches of feeds leave, by their hashes, so
// that whoever reads the export knows them when they come.
func leftBehind(proven []eventlog.Proof) (hashes []string) {
	for _, p := range proven {
		if p.Base.Seq > 0 {
			hashes = append(hashes, p.Base.Hash.String())
		}
	}
	return hashes
}

// exportBranch writes a branch of a feed, behind the one that it leaves.
func (s *Shop) exportBranch(v *eventlog.View, enc *json.Encoder, source string, p eventlog.Proof, o ExportOptions, res *Exported) error {
	for after := p.Base.Seq; after < p.Head.Seq; {
		evs, end, err := v.BranchRun(p.Branch, after)
		if err == nil && len(evs) == 0 {
			err = fmt.Errorf("feed %s behind %d: no signed head covers it: %w", p.Feed.Short(), after, eventlog.ErrDamaged)
		}
		if err != nil {
			return err
		}
		for _, e := range evs {
			if res.Events++; o.Progress != nil && res.Events%1000 == 0 {
				o.Progress(res.Events)
			}
			c := cloudEventOf(e, source)
			if p.Branch != eventlog.First(p.Feed) && e.Hash == p.Root {
				c.Previous = p.Base.Hash.String()
			}
			if err := enc.Encode(c); err != nil {
				return err
			}
		}
		if err := encodeHead(enc, source, end); err != nil {
			return err
		}
		after = end.Seq
	}
	if p.Branch == eventlog.First(p.Feed) {
		res.Feeds++
	}
	return nil
}

// encodeHead writes a signed head. A feed has one every few hundred events, so
// that whoever reads the export can pass the feed on in pieces that others can
// check.
func encodeHead(enc *json.Encoder, source string, h events.SignedHead) error {
	return enc.Encode(cloudEvent{SpecVersion: "1.0", ID: fmt.Sprintf("head-%s-%d", h.Feed, h.Seq), Source: source, Type: typeHead, ContentType: "application/json",
		Feed: h.Feed.String(), Sequence: strconv.FormatUint(h.Seq, 10),
		Data: map[string]any{"hash": h.Hash.String(), "signature": base64.StdEncoding.EncodeToString(h.Signature[:])}})
}

func cloudEventOf(e events.Event, source string) cloudEvent {
	c := cloudEvent{SpecVersion: "1.0", ID: e.ID.String(), Source: source + ":feed:" + e.Feed.String(), Type: eventType(e.Kind, e.Version),
		Time: e.ID.Stamp().Time().Format("2006-01-02T15:04:05.000Z"), ContentType: "application/json", Data: map[string]any{},
		Feed: e.Feed.String(), Sequence: strconv.FormatUint(e.Seq, 10), Record: base64.StdEncoding.EncodeToString(e.Record)}
	if body, err := e.Body(); err == nil {
		c.Data = plainOf(body)
	}
	if e.At.Precision != events.Unknown {
		c.Data["at"] = e.At.String()
	}
	if e.By != "" {
		c.Data["by"] = e.By
	}
	switch r, known := events.FindKind(e.Kind); {
	case known && r.Subject == events.OfPerson:
		c.Subject = events.PersonID(e.About).String()
	case !e.Unit().IsZero():
		c.Subject = e.Unit().String()
	}
	if !e.Visit.IsZero() {
		c.Data["visit"] = e.Visit.String()
	}
	return c
}

func exportKeys(v *eventlog.View, enc *json.Encoder, source string) error {
	return v.PersonKeys(func(p events.PersonID, k events.PersonKey) error {
		return enc.Encode(cloudEvent{SpecVersion: "1.0", ID: "key-" + p.String(), Source: source, Type: typeKey, Subject: p.String(),
			ContentType: "application/json", Data: map[string]any{"key": base64.StdEncoding.EncodeToString(k[:])}})
	})
}

// ExportORDS writes every visit as a row of the Open Repair Data Standard. One
// that was read in from such a file is written as it was.
func (s *Shop) ExportORDS(w io.Writer) (n int, err error) {
	err = s.view(func(v *eventlog.View) error {
		names, err := setNames(v)
		if err != nil {
			return err
		}
		var failed error
		err = jobbook.WriteORDS(w, s.standardRows(v, names, &n, &failed))
		return errors.Join(failed, err)
	})
	return n, err
}

func (s *Shop) standardRows(v *eventlog.View, names map[string]string, n *int, failed *error) iter.Seq[jobbook.Standard] {
	return func(yield func(jobbook.Standard) bool) {
		*failed = projections.EachHistory(v, func(h *projections.History) (bool, error) {
			for i := range h.Visits {
				*n++
				if !yield(s.standardOf(h, &h.Visits[i], names)) {
					return false, nil
				}
			}
			return true, nil
		})
	}
}

// statusOf is the standard's word for an outcome.
var statusOf = map[string]string{"repaired": "Fixed", "no-fault-found": "Fixed", "returned-unrepaired": "Repairable",
	"declined": "Repairable", "kept-for-parts": "End of life"}

func (s *Shop) standardOf(h *projections.History, v *projections.Visit, names map[string]string) (row jobbook.Standard) {
	p := pastVisit(v)
	row = jobbook.Standard{ID: events.EventID(v.ID).String(), DataProvider: s.Card.Name, ProductCategory: orElse(names[h.KindOfSet], h.KindOfSet),
		Brand: h.Maker, RepairStatus: orElse(statusOf[p.Outcome], "Unknown"), EventDate: v.Received.Day.String(), Problem: p.Complaint}
	row.PartnerProductCategory = row.ProductCategory
	if h.YearFrom != 0 {
		row.YearOfManufacture = strconv.Itoa(h.YearFrom)
		row.ProductAge = strconv.Itoa(max(0, v.Received.Day.Date().Year()-h.YearFrom))
	}
	for _, e := range v.Entries {
		if b, ok := e.Decode().(events.RowImported); ok && b.Format == "ords" {
			row = jobbook.Standard{}
			for name, cell := range b.Kept {
				row.SetCell(name, cell)
			}
		}
	}
	return row
}

// setNames are the names of kinds of set by their ids.
func setNames(r projections.Reader) (map[string]string, error) {
	words, err := wordsOf(r)
	names := map[string]string{}
	for _, w := range words {
		if w.Table == "kind of set" {
			names[w.ID] = w.Name
		}
	}
	return names, err
}
