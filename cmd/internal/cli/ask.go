package cli

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/events"

	"github.com/spf13/cobra"
)

func (e *env) addAsk(root *cobra.Command) {
	group(root, "ask", e.past(), e.attachments(), e.record(), e.tags(), e.today(), e.ask())
}

func (e *env) past() *cobra.Command {
	var ids bool
	var limit int
	c := &cobra.Command{Use: "past QUERY", Short: "a unit's whole past, by tag, serial, model or customer", Args: args(1, -1, "QUERY"),
		Long: "Show the whole past of the units that QUERY may mean, best match first: a tag, a serial or a\npiece of it, also mistyped; a maker or model; a customer's name."}
	c.RunE = func(_ *cobra.Command, a []string) error {
		query := strings.Join(a, " ")
		if limit < 1 {
			return &usage{errors.New("--limit: want at least 1")}
		}
		return e.read(func(s *app.Shop) error {
			p, err := s.Past(query, limit)
			if err != nil {
				return err
			}
			if len(p.Matches) == 0 && !e.json {
				return &app.Unclear{Typed: query, Why: "finds nothing"}
			}
			return e.answer(p, func() { e.tellPast(p, ids) })
		})
	}
	c.Flags().BoolVar(&ids, "ids", false, "show the end of each entry's id, to correct or withdraw it by")
	c.Flags().IntVar(&limit, "limit", 10, "how many `units` at most")
	return c
}

// tellPast prints the best match whole, and those less like it as a line each.
func (e *env) tellPast(p app.Past, ids bool) {
	best := p.Matches[0]
	whole := 0
	for _, m := range p.Matches {
		if m.Likeness == best.Likeness {
			whole++
		}
	}
	if whole > 3 {
		whole = 0
	}
	for i, m := range p.Matches {
		switch {
		case i < whole:
			e.tellUnit(m, ids)
		case i == whole && i > 0:
			e.printf("also like it:\n")
			fallthrough
		default:
			e.printf("  %-8s %s, %s (%s)\n", m.Tag, head(m), events.Count(len(m.Visits), "visit"), m.Why)
		}
	}
	if p.More {
		e.printf("  and more; say more of it, or ask for more with --limit\n")
	}
}

func head(m app.PastUnit) string {
	s := strings.TrimSpace(m.Maker + " " + m.Model)
	if s == "" {
		s = m.KindOfSet
	}
	if s == "" {
		s = "maker and model not known"
	}
	if m.Serial != "" {
		s += ", serial " + m.Serial
	}
	if m.Year != nil {
		s += fmt.Sprintf(", made %d", *m.Year)
		if m.YearTo != nil {
			s += fmt.Sprintf(" to %d", *m.YearTo)
		}
	}
	return s
}

func (e *env) tellUnit(m app.PastUnit, ids bool) {
	e.printf("%s  %s\n", m.Tag, head(m))
	if m.Likeness < 1 {
		e.printf("  found by its %s\n", m.Why)
	}
	if len(m.Tags) > 1 {
		e.printf("  also has the tags %s\n", strings.Join(m.Tags[1:], ", "))
	}
	if len(m.Serials) > 1 {
		e.printf("  serial also written %s\n", strings.Join(m.Serials[1:], ", "))
	}
	for i, v := range m.Visits {
		e.tellVisit(i+1, v, ids)
	}
	pieces := piecesByEvent(m.Attachments)
	for _, l := range m.Loose {
		e.printf("  %s%s  %s\n", id(l, ids), l.At, lineOf(l, pieces))
	}
	for _, l := range m.Withdrawn {
		e.printf("  withdrawn: %s%s  %s\n", id(l, ids), l.At, l.Line)
	}
	for _, c := range m.Conflicts {
		e.printf("  in conflict, since one did not see the other; settle it: oldhand settle %s --keep N\n", m.Tag)
		e.tellVersions(c)
	}
	if m.Unread > 0 {
		e.printf("  %s made by a newer version: kept, and not read here\n", events.Count(m.Unread, "entry", "entries"))
	}
}

func (e *env) tellVisit(n int, v app.PastVisit, ids bool) {
	e.printf("  visit %d: received %s", n, day(v.Received))
	if v.Customer != "" {
		e.printf(" from %s", v.Customer)
	}
	switch {
	case v.Shipped == nil:
		e.printf("; on a bench now\n")
	case *v.Shipped == "unknown":
		e.printf("; left on a day nobody wrote down\n")
	default:
		e.printf("; shipped %s", day(*v.Shipped))
		if v.Days != nil {
			e.printf(" after %s", events.Count(*v.Days, "day"))
		}
		e.printf(", %s", outcome(v.Outcome))
		if v.Charge != "" {
			e.printf(", charge %s", v.Charge)
		}
		e.printf("\n")
	}
	pieces := piecesByEvent(v.Attachments)
	for _, l := range v.Lines {
		if l.Kind == "reading.taken" && !ids {
			continue // they stand side by side below
		}
		mark := ""
		if l.Corrected {
			mark = " (corrected)"
		}
		e.printf("    %s%s  %s%s\n", id(l, ids), day(l.At), lineOf(l, pieces), mark)
	}
	e.tellReadings(v.Readings)
	for _, t := range v.Tests {
		e.tellTest(t)
	}
	for _, w := range v.Waits {
		if w.Days != nil {
			e.printf("    waited for %s: %s\n", w.For, events.Count(*w.Days, "day"))
		}
	}
}

// tellReadings prints readings before and after side by side.
func (e *env) tellReadings(readings []app.PastReading) {
	if len(readings) == 0 {
		return
	}
	rows := [][]string{{"reading", "as found", "as left", "before or after not said", "limits"}}
	for _, r := range readings {
		rows = append(rows, []string{r.Point, r.AsFound, r.AsLeft, r.Read, r.Limits})
	}
	for _, line := range columns(rows) {
		e.printf("    %s\n", line)
	}
	for _, r := range readings {
		if r.Caution != "" {
			e.printf("    these are readings; they do not declare the set safe\n")
			return
		}
	}
}

func id(l app.PastLine, show bool) string {
	if !show {
		return ""
	}
	return l.Event[len(l.Event)-6:] + "  "
}

// day leaves the time of day out: a timeline is read by days.
func day(at string) string {
	if len(at) > 10 {
		return at[:10]
	}
	return at
}

func outcome(id string) string {
	if id == "unknown" {
		return "outcome not written down"
	}
	return strings.ReplaceAll(id, "-", " ")
}

func (e *env) today() *cobra.Command {
	return &cobra.Command{Use: "today", Short: "what stands on the benches", Args: args(0, 0, ""), RunE: func(*cobra.Command, []string) error {
		return e.read(func(s *app.Shop) error {
			t, err := s.Today()
			if err != nil {
				return err
			}
			return e.answer(t, func() { e.tellToday(t) })
		})
	}}
}

func (e *env) tellToday(t app.Today) {
	if len(t.Units) == 0 {
		e.printf("nothing stands on the benches; receive a unit with: oldhand receive --maker M --model M --serial S\n")
		return
	}
	rows := [][]string{{"tag", "unit", "received", "days", "waits for", "last"}}
	for _, u := range t.Units {
		days, wait := "?", ""
		if u.Days != nil {
			days = fmt.Sprint(*u.Days)
		}
		if u.Waiting != nil {
			wait = *u.Waiting
			if u.WaitDays != nil {
				wait += fmt.Sprintf(", %s", events.Count(*u.WaitDays, "day"))
			}
		}
		rows = append(rows, []string{u.Tag, strings.TrimSpace(u.Maker + " " + u.Model), day(u.Received), days, wait, u.Last})
	}
	for _, line := range columns(rows) {
		e.printf("%s\n", line)
	}
	e.printf("%s on the benches, as of %s\n", events.Count(len(t.Units), "unit"), t.AsOf)
}

func (e *env) ask() *cobra.Command {
	var in app.Asking
	var as showing
	c := &cobra.Command{Use: "ask [QUESTION]", Short: "a question about the whole fleet", Args: args(0, 2, "[QUESTION], or: year YYYY"),
		Long: "Ask a question about the whole fleet. Without one, the questions are listed.\n\n  oldhand ask failures --by model --maker Ostrel\n  oldhand ask turnaround --by year --as-of 2020-12-31"}
	c.RunE = func(_ *cobra.Command, a []string) error {
		if len(a) == 0 {
			return e.questions()
		}
		in.Question = a[0]
		if len(a) == 2 {
			year, err := strconv.Atoi(a[1])
			if err != nil || a[0] != "year" || len(a[1]) != 4 {
				return &usage{errors.New("want: oldhand ask QUESTION, or: oldhand ask year YYYY")}
			}
			in.Year = year
		}
		return e.read(func(s *app.Shop) error {
			res, err := s.Ask(in)
			if err != nil {
				return err
			}
			return e.show(res, as)
		})
	}
	f := c.Flags()
	f.StringVar(&as.format, "format", "text", "text, csv or xlsx")
	f.StringVar(&as.out, "out", "", "the `file` to write; standard output if it is not said")
	f.StringVar(&as.svg, "svg", "", "also draw the answer's picture into this `file`")
	f.StringVar(&in.AsOf, "as-of", "", "the `day` asked for; today if it is not said")
	f.StringVar(&in.From, "from", "", "visits received on this `day` or later only")
	f.StringVar(&in.To, "to", "", "visits received up to this `day` only")
	f.StringVar(&in.Maker, "maker", "", "units of this maker only")
	f.StringVar(&in.Model, "model", "", "units of this model only")
	f.StringVar(&in.By, "by", "", "how to `group`: year, decade, maker, model (failures); year, model, outcome (turnaround); kind, model, maker, year (outcomes); model, point (norms)")
	f.StringArrayVar(&in.Groups, "group", nil, "this `group` only, of those that --by makes; said twice, whether the two differ (turnaround)")
	f.StringVar(&in.Unit, "unit", "", "also about one `unit`, by its tag or serial (rarity, comebacks)")
	f.StringVar(&in.Working, "working", "", "count working days by a `calendar`: weekdays, or us for its federal holidays (turnaround)")
	f.IntVar(&in.Days, "days", 0, "the number of `days` (comebacks: within; turnaround: mean up to)")
	return c
}
