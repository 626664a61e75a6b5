package main

import (
	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

// rowTable is one of the peers' tables of rows. Both peers have the same, with
// numbers for units and visits where ours has ids, and with years and lengths
// beside days, so that they need not work out any of them when they are asked.
type rowTable struct{ name, columns string }

// The places of the tables in tables.
const (
	visitTable = iota
	faultTable
	partTable
	waitTable
	billTable
	readingTable
)

// tables are what is exported of every history. Visits are numbered over all
// units, and nr counts those of one unit from 1. Days and years are numbers.
// A reading has the unit that its value is in, and left_with is 1 where a visit ended
// with it: the last one as left at its point, unless the set left unrepaired.
// Made is the year a set was made, 0 if unknown; came and went are the years a
// visit began and ended in, days is how long it took. What is not known of a
// visit is null, and an ending is a projections.End.
var tables = []rowTable{
	visitTable: {"visit", `unit INTEGER, visit INTEGER, nr INTEGER, maker TEXT, model TEXT, made INTEGER, day INTEGER, came INTEGER,
		received INTEGER, ending INTEGER, shipped INTEGER, went INTEGER, days INTEGER, outcome TEXT`},
	faultTable:   {"fault", "unit INTEGER, visit INTEGER, made INTEGER, came INTEGER, component TEXT, mode TEXT"},
	partTable:    {"part", "component TEXT, value TEXT, year INTEGER"},
	waitTable:    {"wait", "visit INTEGER, what TEXT, days INTEGER"},
	billTable:    {"bill", "year INTEGER, currency TEXT, minor BIGINT"},
	readingTable: {"reading", "unit INTEGER, maker TEXT, model TEXT, point TEXT, measure TEXT, base TEXT, mant BIGINT, exp INTEGER, left_with INTEGER"},
}

// adding takes one row of a table, its values in the order of the columns.
type adding func(table int, values ...any) error

// exporting numbers units and visits while their rows are exported.
type exporting struct {
	add          adding
	unit, visits int
}

// exportRows gives the rows of every history in a view, unit by unit. Nothing
// of a history is kept, so a shop of any size can be exported.
func exportRows(v *eventlog.View, add adding) error {
	x := exporting{add: add}
	return projections.EachHistory(v, func(h *projections.History) (bool, error) {
		x.unit++
		for i := range h.Visits {
			if err := x.visit(h, i); err != nil {
				return false, err
			}
		}
		return true, nil
	})
}

func (x *exporting) visit(h *projections.History, i int) error {
	v := &h.Visits[i]
	x.visits++
	day := dayOf(events.EventID(v.ID), v.Received)
	var received, shipped, went, days, outcome any
	if v.Received.Precision != events.Unknown {
		received = int(v.Received.Day)
	}
	if v.End == projections.Ended && v.Shipped.Precision != events.Unknown {
		shipped, went = int(v.Shipped.Day), yearOf(v.Shipped.Day)
		if received != nil {
			days = calendarDays(v.Received.Day, v.Shipped.Day)
		}
	}
	for _, e := range v.Entries {
		if e.Kind == events.KindShipped {
			if b, ok := e.Decode().(events.Shipped); ok {
				outcome = b.Outcome
			}
		}
		if err := x.entry(h, e, yearOf(day)); err != nil {
			return err
		}
	}
	if err := x.readings(h, v, outcome); err != nil {
		return err
	}
	for _, w := range v.Waits(calendarDays) {
		if err := x.add(waitTable, x.visits, w.For, w.Days); err != nil {
			return err
		}
	}
	return x.add(visitTable, x.unit, x.visits, i+1, h.Maker, h.Model, h.YearFrom, int(day), yearOf(day),
		received, int(v.End), shipped, went, days, outcome)
}

// entry exports what is counted of one fact of a visit that began in a year.
func (x *exporting) entry(h *projections.History, e projections.Entry, came int) error {
	switch e.Kind {
	case events.KindFaultFound, events.KindPartReplaced, events.KindShipped:
	default:
		return nil // no body is read that nobody counts
	}
	year := yearOf(dayOf(e.ID, e.At))
	switch b := e.Decode().(type) {
	case events.FaultFound:
		return x.add(faultTable, x.unit, x.visits, h.YearFrom, came, b.Component, b.Mode)
	case events.PartReplaced:
		return x.add(partTable, b.Component, projections.MarkingText(b.In), year)
	case events.Shipped:
		if b.Charge > 0 {
			return x.add(billTable, year, b.Currency, b.Charge)
		}
	}
	return nil
}

// readings exports a visit's readings as left.
func (x *exporting) readings(h *projections.History, v *projections.Visit, outcome any) error {
	asItCame := outcome == "returned-unrepaired" || outcome == "declined" || outcome == "kept-for-parts"
	last := map[[2]string]int{}
	var read []events.ReadingTaken
	for _, e := range v.Entries {
		if e.Kind != events.KindReadingTaken {
			continue
		}
		if b, ok := e.Decode().(events.ReadingTaken); ok && b.Stage == events.AsLeft {
			last[[2]string{b.Point, b.Measure}] = len(read)
			read = append(read, b)
		}
	}
	for i, b := range read {
		left := choose(!asItCame && last[[2]string{b.Point, b.Measure}] == i, 1, 0)
		if err := x.add(readingTable, x.unit, h.Maker, h.Model, b.Point, b.Measure, b.Value.Unit, b.Value.Mant, int(b.Value.Exp), left); err != nil {
			return err
		}
	}
	return nil
}

// dayOf is the day of a fact: where it is not known, the day it was recorded on.
func dayOf(id events.EventID, at events.When) events.Day {
	if at.Precision == events.Unknown {
		return events.DayOf(id.Stamp().Time())
	}
	return at.Day
}

func yearOf(d events.Day) int { return d.Date().Year() }

func calendarDays(from, to events.Day) int { return max(0, int(to-from)) }
