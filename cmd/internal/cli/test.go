package cli

import (
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/events"

	"github.com/spf13/cobra"
)

// test writes a verdict down, or walks the sheet to it.
func (e *env) test() *cobra.Command {
	var b events.FinalTest
	var walk walking
	c := e.act("test UNIT [VERDICT] [WORDS]...", "walk a unit's test sheet, or write the final test's verdict down", 1, -1, func(s *app.Shop, w app.Who, a []string) (app.Saved, error) {
		b.Verdict, b.Text = verdictOf(a[1]), strings.Join(a[2:], " ")
		return s.Record(a[0], w, b)
	})
	c.Long = `Without a verdict, walk the unit's test sheet check by check: each reading is judged as it is
typed. What was typed is kept until the verdict is saved; stop at any time and go on later,
here or on the page. With one (passed, failed or unfinished) write it down, without a sheet.

` + app.TestCaution
	verdict := c.RunE
	c.RunE = func(c *cobra.Command, a []string) error {
		if len(a) > 1 {
			return verdict(c, a)
		}
		return e.walkTest(a[0], walk, b.LeftOut)
	}
	f := c.Flags()
	f.StringVar(&b.LeftOut, "left-out", "", "checks that were not made, and why")
	f.StringVar(&walk.sheet, "sheet", "", "the `name` of another sheet than the unit's own")
	f.BoolVar(&walk.found, "as-found", false, "read the sheet's points before anything was done; there is no verdict then")
	f.BoolVar(&walk.anew, "anew", false, "throw away what was typed of it and not saved")
	return c
}

// tellTest prints a final test with its sheet's checks.
func (e *env) tellTest(t app.PastTest) {
	for _, o := range t.Over {
		e.printf("    over its limit as left: %s\n", o)
	}
	if t.Sheet == "" {
		return
	}
	e.printf("    final test by the sheet %s: %s, %d of %s made, %d within or without limits\n", t.Sheet, t.Verdict, t.Made, events.Count(len(t.Checks), "check"), t.Within)
	rows := [][]string{{"check", "reading", "limits", ""}}
	for _, c := range t.Checks {
		rows = append(rows, []string{c.Label, c.Reading, c.Limits, c.Said()})
	}
	if len(t.Checks) == 0 {
		return
	}
	for _, line := range columns(rows) {
		e.printf("      %s\n", line)
	}
}
