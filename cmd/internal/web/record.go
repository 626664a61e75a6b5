package web

import (
	"bytes"
	"fmt"
	"html/template"
	"net/url"
	"strconv"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/paper"
	"oldhand/cmd/internal/picture"
	"oldhand/cmd/internal/report"
)

// recordView is the service record of a visit, as the owner gets it, with the ways
// to have it on paper.
type recordView struct {
	report.Record
	Ref            string
	Tables         []gauged
	Drawn, Banded  bool // a reading has a picture, with limits in it
	A4, Letter     string
	Visits         []int
	Contact, Notes bool
	Tag            string // where its tag is printed
}

// gauged is a reading with its picture.
type gauged struct {
	report.Reading
	Picture template.HTML
}

func recordPage(q *request) error {
	o, err := q.recording()
	if err != nil {
		return err
	}
	r, err := q.shop.ServiceRecord(q.r.PathValue("unit"), o)
	if err != nil {
		return err
	}
	v := recordView{Record: r, Ref: refOf(r.Unit.Tag, r.Unit.ID), Contact: o.Contact, Notes: o.Notes, Tag: "/tags?" + url.Values{"units": {r.Unit.Tag}}.Encode()}
	for i := range r.Of {
		v.Visits = append(v.Visits, i+1)
	}
	for _, p := range r.Readings {
		one := gauged{Reading: p}
		if p.Gauge.Drawn() {
			_, _, banded := p.Gauge.Band()
			one.Picture, v.Drawn, v.Banded = gaugeOf(p), true, v.Banded || banded
		}
		v.Tables = append(v.Tables, one)
	}
	v.A4, v.Letter = recordAddress(v.Ref, r.Visit, o, paper.A4), recordAddress(v.Ref, r.Visit, o, paper.Letter)
	return q.show("record", "Service record of "+r.Title(), &v)
}

// recording is what of a record the address asks for.
func (q *request) recording() (o app.Recording, err error) {
	if typed := q.asked("visit"); typed != "" {
		if o.Visit, err = strconv.Atoi(typed); err != nil || o.Visit < 1 {
			return o, &app.Wrong{What: "visit " + typed, Why: "want its number, from 1"}
		}
	}
	o.Contact, o.Notes = q.asked("contact") != "", q.asked("notes") != ""
	return o, nil
}

func recordAddress(ref string, visit int, o app.Recording, size paper.Size) string {
	v := url.Values{"visit": {strconv.Itoa(visit)}, "paper": {size.Name}}
	if o.Contact {
		v.Set("contact", "yes")
	}
	if o.Notes {
		v.Set("notes", "yes")
	}
	return "/unit/" + url.PathEscape(ref) + "/record/pdf?" + v.Encode()
}

// gaugeOf draws a reading beside its limits.
func gaugeOf(p report.Reading) template.HTML {
	g := p.Gauge
	at := picture.Gauge{Found: g.At(g.Found), Left: g.At(g.Left)}
	at.From, at.To = g.At(g.Low), g.At(g.High)
	if from, to, ok := g.Band(); ok {
		at.From, at.To = from, to
	}
	if lo, _ := g.Span(); lo == 0 {
		at.Zero = true
	}
	return inPage(picture.DrawGauge(at, p.Point, picture.GaugeDesc(p.AsFound, p.AsLeft, p.Limits)))
}

// recordPDF sends the record for paper.
func recordPDF(q *request) error {
	o, err := q.recording()
	if err != nil {
		return err
	}
	size, err := paper.SizeOf(q.asked("paper"))
	if err != nil {
		return &app.Wrong{What: "paper", Why: "there are a4 and letter"}
	}
	r, err := q.shop.ServiceRecord(q.r.PathValue("unit"), o)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if _, err := report.PDF(&b, &r, size); err != nil {
		return err
	}
	return q.sendBytes(b.Bytes(), "application/pdf", fmt.Sprintf("service-record-%s-%d.pdf", refOf(r.Unit.Tag, "untagged"), r.Visit))
}
