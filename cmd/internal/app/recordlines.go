package app

import (
	"fmt"
	"math"
	"strings"

	"oldhand/cmd/internal/report"
	"oldhand/events"
	"oldhand/events/evidence"
	"oldhand/projections"
)

// How entries are said to the owner of a set.

// said is a word of a table as it is said.
func said(id string) string { return strings.ReplaceAll(id, "-", " ") }

// addEntry puts one entry of the visit where it belongs on a record.
func addEntry(r *report.Record, e projections.Entry, v *projections.Visit, o Recording) {
	one := report.Entry{Event: e.ID.String(), At: dayText(e.At), Line: e.Line(), Corrected: e.Shown != e.ID}
	if one.Corrected {
		r.Corrected++
	}
	switch b := e.Decode().(type) {
	case events.Received:
		r.Accessories = orElse(r.Accessories, b.Accessories)
	case events.FaultFound:
		one.Line = faultSaid(b)
		r.Found = append(r.Found, one)
	case events.NoFaultFound:
		r.Found = append(r.Found, one)
	case events.PartReplaced:
		r.Parts = append(r.Parts, partOnRecord(b, one))
	case events.WorkDone:
		r.Work = append(r.Work, one)
	case events.FinalTest:
		if r.Test != nil {
			r.Earlier = append(r.Earlier, *r.Test)
		}
		r.Test = &report.Test{Event: one.Event, At: one.At, Verdict: b.Verdict, LeftOut: b.LeftOut, Text: b.Text, Corrected: one.Corrected}
	case events.EstimateGiven, events.EstimateAnswered:
		r.Estimates = append(r.Estimates, one)
	case events.Shipped:
		addShipping(r, b, v)
	case events.Note:
		if !o.Notes {
			r.NotesLeft++
			return
		}
		one.Line = b.Text
		r.Notes = append(r.Notes, one)
	case events.EvidenceAttached:
		r.Kept = oneMore(r.Kept, orElse(evidence.Sort(b.Type), "file"))
	}
}

// oneMore counts what is kept of a visit in words: 2 photos, 1 recording.
func oneMore(words, sort string) string {
	list := strings.Split(words, ", ")
	for i, w := range list {
		var n int
		var noun string
		if _, err := fmt.Sscanf(w, "%d %s", &n, &noun); err == nil && strings.TrimSuffix(noun, "s") == sort {
			list[i] = numbered(n+1, sort)
			return strings.Join(list, ", ")
		}
	}
	return joinWords(words, numbered(1, sort))
}

func addShipping(r *report.Record, b events.Shipped, v *projections.Visit) {
	r.Carrier, r.WarrantyDays, r.Parting = b.Carrier, b.WarrantyDays, b.Text
	if b.Charge > 0 {
		r.Charge = events.MoneyText(b.Charge, b.Currency)
	}
	if b.WarrantyDays > 0 && v.Shipped.Precision != events.Unknown {
		r.WarrantyTill = (v.Shipped.Day + events.Day(b.WarrantyDays)).String()
	}
}

// faultSaid is a fault with what was noticed of it.
func faultSaid(b events.FaultFound) string {
	line := strings.TrimPrefix(b.Line(), "fault: ")
	if b.Symptom != "" {
		line += "; noticed as: " + b.Symptom
	}
	return line
}

func partOnRecord(b events.PartReplaced, e report.Entry) report.Part {
	p := report.Part{Event: e.Event, Corrected: e.Corrected, Part: strings.TrimSpace(b.Designator + " " + said(b.Component)),
		Out: b.Out.Text, OutRead: valueRead(b.Out), In: b.In.Text, InRead: valueRead(b.In), Reason: b.Reason, Text: b.Text}
	p.Part = orElse(p.Part, orElse(b.Text, "part"))
	if p.Text == p.Part || p.Text == strings.TrimSpace(b.Designator+" "+b.In.Text) {
		p.Text = "" // typed on one line, and said in the columns
	}
	if b.DateCode != "" {
		p.Text = joinWords(p.Text, "date code of the old part "+b.DateCode)
	}
	return p
}

// valueRead is a part's value and rating as read from its marking.
func valueRead(m events.Marking) string {
	text := projections.MarkingText(m)
	if m.Volts > 0 {
		text = joinWords(text, fmt.Sprintf("%d V", m.Volts))
	}
	return text
}

func readingOnRecord(p PastReading) report.Reading {
	r := report.Reading{Point: p.Point, AsFound: p.AsFound, AsLeft: p.AsLeft, Read: p.Read, Limits: p.Limits, Safety: p.Caution != "", Gauge: report.NoGauge()}
	unit := orElse(p.left.Unit, p.found.Unit)
	if unit == "" {
		return r
	}
	number := func(q events.Quantity) float64 {
		if q.Unit != unit {
			return math.NaN()
		}
		return valueOf(q).Float()
	}
	low, high := LimitsOf(p.measure, p.Limits)
	r.Gauge = report.Gauge{Found: number(p.found), Left: number(p.left), Low: number(low), High: number(high)}
	return r
}
