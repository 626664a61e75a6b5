package cli

import (
	"errors"
	"fmt"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/events"

	"github.com/spf13/cobra"
)

func (e *env) addBench(root *cobra.Command) {
	group(root, "bench", e.receive(), e.identify(), e.diagnose(), e.replace(), e.work(), e.measure(), e.test(), e.sheet(),
		e.estimate(), e.wait(), e.resume(), e.ship(), e.noteCmd(), e.attach(), e.correct(), e.withdraw(), e.restore(), e.same(), e.apart())
}

// act is a command that writes one action.
func (e *env) act(use, short string, least, most int, run func(s *app.Shop, w app.Who, args []string) (app.Saved, error)) *cobra.Command {
	words := use[strings.IndexByte(use, ' ')+1:]
	return e.writes(&cobra.Command{Use: use, Short: short, Args: args(least, most, words), RunE: func(_ *cobra.Command, a []string) error {
		w, err := e.who()
		if err != nil {
			return err
		}
		return e.write(func(s *app.Shop) error {
			saved, err := run(s, w, a)
			if err != nil {
				return err
			}
			return e.saved(saved)
		})
	}})
}

func (e *env) receive() *cobra.Command {
	var in app.Intake
	var year string
	c := e.writes(&cobra.Command{Use: "receive [UNIT]", Short: "take a unit in", Args: args(0, 1, "[UNIT]"),
		Long: "Take a unit in. UNIT names one that was here before; without it, a unit with an equal maker,\nmodel and serial that was here before is found by itself."})
	f := c.Flags()
	f.StringVar(&in.Claim.Maker, "maker", "", "the maker")
	f.StringVar(&in.Claim.Model, "model", "", "the model")
	f.StringVar(&in.Claim.Serial, "serial", "", "the serial, as it stands on the unit")
	f.StringVar(&year, "year", "", "the `year` made, or years like 1965-67")
	f.StringVar(&in.Claim.KindOfSet, "kind", "", "the kind of set, such as table-radio")
	f.StringVar(&in.Claim.Complaint, "complaint", "", "what is wrong, in the owner's words")
	f.StringVar(&in.Claim.Condition, "condition", "", "how it looks")
	f.StringVar(&in.Claim.Accessories, "accessories", "", "what came with it")
	f.StringVar(&in.Claim.Carrier, "carrier", "", "who brought it")
	f.StringVar(&in.Customer.Name, "customer", "", "the owner's `name`; kept sealed")
	f.StringVar(&in.Customer.Phone, "phone", "", "the owner's telephone; kept sealed")
	f.StringVar(&in.Customer.Email, "email", "", "the owner's e-mail; kept sealed")
	f.StringVar(&in.Customer.Address, "address", "", "the owner's address; kept sealed")
	f.StringVar(&in.Customer.City, "city", "", "the owner's city; kept sealed")
	c.RunE = func(_ *cobra.Command, a []string) (err error) {
		if in.Who, err = e.who(); err != nil {
			return err
		}
		if in.Claim.YearFrom, in.Claim.YearTo, err = app.Years(year); err != nil {
			return err
		}
		if len(a) == 1 {
			in.Unit = a[0]
		}
		return e.write(func(s *app.Shop) error {
			res, err := s.Receive(in)
			if err != nil {
				return err
			}
			return e.answer(res, func() { e.tellReceived(res) })
		})
	}
	return c
}

func (e *env) tellReceived(r app.ReceiveResult) {
	for _, ev := range r.Events {
		if ev.Kind != events.KindPersonRecorded.String() {
			e.printf("%s  %s: %s\n", r.Tag, r.Name, ev.Line)
		}
	}
	switch {
	case r.Before != nil:
		e.printf("%s\n", r.Before)
		for _, d := range r.Before.Done {
			e.printf("  %s\n", d)
		}
	case r.New:
		e.printf("new here; its tag is %s\n", r.Tag)
	}
	for i, l := range r.Likely {
		if i == 0 {
			e.printf("perhaps the same as one that was here before; if it is, say: oldhand same %s %s\n", l.Tag, r.Tag)
		}
		e.printf("  %s\n", l)
	}
	fmt.Fprintln(e.out, app.OpeningCaution)
	for _, n := range r.Notes {
		e.note(n)
	}
}

func (e *env) identify() *cobra.Command {
	var b events.Identified
	var year string
	var evidence []string
	c := e.act("identify UNIT", "say what a unit is", 1, 1, func(s *app.Shop, w app.Who, a []string) (app.Saved, error) {
		var err error
		if b.YearFrom, b.YearTo, err = app.Years(year); err != nil {
			return app.Saved{}, err
		}
		if b.Evidence, err = app.EvidenceFrom(evidence); err != nil {
			return app.Saved{}, err
		}
		return s.Record(a[0], w, b)
	})
	f := c.Flags()
	f.StringVar(&b.Maker, "maker", "", "the maker")
	f.StringVar(&b.Model, "model", "", "the model")
	f.StringVar(&b.Serial, "serial", "", "the serial")
	f.StringVar(&year, "year", "", "the `year` made, or years like 1965-67")
	f.StringVar(&b.KindOfSet, "kind", "", "the kind of set, such as receiver")
	f.StringArrayVar(&evidence, "evidence", nil, "what says so, as `WHAT=TEXT`, such as \"date code=274-6342\"; may be given again")
	return c
}

func (e *env) diagnose() *cobra.Command {
	var b events.FaultFound
	var none bool
	c := e.act("diagnose UNIT [FINDING]...", "say what was found wrong", 1, -1, func(s *app.Shop, w app.Who, a []string) (app.Saved, error) {
		text := strings.Join(a[1:], " ")
		if none {
			return s.Record(a[0], w, events.NoFaultFound{Text: text})
		}
		return s.Record(a[0], w, app.Faults(text, b)...)
	})
	f := c.Flags()
	f.StringVar(&b.Symptom, "symptom", "", "what it does")
	f.StringVar(&b.Component, "component", "", "the component class, such as filter-capacitor, where the words do not tell")
	f.StringVar(&b.Mode, "mode", "", "how it failed, such as leaky, where the words do not tell")
	f.StringVar(&b.Designator, "designator", "", "which one, such as C14")
	f.StringVar(&b.Cause, "cause", "", "why it failed")
	f.StringVar(&b.Sure, "sure", "", "how sure: certain, likely or suspected")
	f.BoolVar(&none, "none", false, "no fault was found")
	return c
}

func (e *env) replace() *cobra.Command {
	var p app.PartTyped
	c := e.act("replace UNIT PART [MARKING]", "say which part was replaced", 2, -1, func(s *app.Shop, w app.Who, a []string) (app.Saved, error) {
		p.Designator, p.In = a[1], strings.Join(a[2:], " ")
		b, notes := p.Body()
		saved, err := s.Record(a[0], w, b)
		saved.Notes = append(notes, saved.Notes...)
		return saved, err
	})
	c.Long = "Say which part was replaced: by its designator (C14) or by name, and the marking of what went in.\n\n  oldhand replace 10019 C14 \".047 MFD 400V\" --out \".047 MFD\" --reason failed"
	f := c.Flags()
	f.StringVar(&p.Out, "out", "", "the `marking` of what came out")
	f.StringVar(&p.Component, "component", "", "the component class, where the designator does not tell")
	f.StringVar(&p.Reason, "reason", "", "why: failed, preventive or upgraded")
	f.StringVar(&p.DateCode, "date-code", "", "the date `code` of what came out, as printed")
	return c
}

func (e *env) work() *cobra.Command {
	var b events.WorkDone
	c := e.act("work UNIT WORK [WORDS]...", "say what was done besides parts", 2, -1, func(s *app.Shop, w app.Who, a []string) (app.Saved, error) {
		b.Work, b.Text = a[1], strings.Join(a[2:], " ")
		return s.Record(a[0], w, b)
	})
	f := c.Flags()
	f.StringVar(&b.Component, "on", "", "the component class it was done on")
	f.StringVar(&b.Designator, "designator", "", "which one, such as R40")
	f.IntVar(&b.Minutes, "minutes", 0, "bench time in `minutes`")
	return c
}

func (e *env) measure() *cobra.Command {
	var b events.ReadingTaken
	var found, left, list bool
	amplitude := amplitudeFlags{}
	c := e.act("measure UNIT POINT READING", "write a reading down", 0, -1, func(s *app.Shop, w app.Who, a []string) (app.Saved, error) {
		b.Point, b.Text = a[1], strings.Join(a[2:], " ")
		switch {
		case found && left:
			return app.Saved{}, &usage{errors.New("a reading is as found or as left, not both")}
		case found:
			b.Stage = events.AsFound
		case left:
			b.Stage = events.AsLeft
		}
		var err error
		if b.Amplitude, err = amplitude.said(); err != nil {
			return app.Saved{}, err
		}
		read, notes, err := app.Reading(b)
		if err != nil {
			return app.Saved{}, err
		}
		saved, err := s.Measure(a[0], w, read)
		saved.Notes = append(notes, saved.Notes...)
		return saved, err
	})
	c.Long = "Write a reading down. Where other sets of the model were read at the point, what is usual\nthere is told.\n\n  oldhand measure 10019 AM \"95 mV\" --as-left\n\n" + app.MeterCaution
	run := c.RunE
	c.RunE = func(c *cobra.Command, a []string) error {
		if list {
			return e.measureKinds()
		}
		if len(a) < 3 {
			return &usage{errors.New("want: oldhand measure UNIT POINT READING")}
		}
		return run(c, a)
	}
	f := c.Flags()
	f.BoolVar(&found, "as-found", false, "before anything was done")
	f.BoolVar(&left, "as-left", false, "after the work")
	f.StringVar(&b.Measure, "kind", "", "the kind of measurement, such as ripple; see --kinds")
	f.StringVar(&b.Instrument, "instrument", "", "what it was read with")
	f.StringVar(&b.Limits, "limits", "", "the limits used")
	f.StringVar(&b.Conditions, "conditions", "", "how it was read")
	f.StringVar(&b.Network, "network", "", "what a leakage was read over: hot-check or iec60990")
	amplitude.add(c)
	f.BoolVar(&list, "kinds", false, "list the kinds of measurement")
	return c
}

func (e *env) estimate() *cobra.Command {
	var currency string
	var accepted, declined bool
	c := e.act("estimate UNIT [AMOUNT] [WORDS]...", "write an estimate, or its answer, down", 1, -1, func(s *app.Shop, w app.Who, a []string) (app.Saved, error) {
		if accepted || declined {
			if len(a) > 1 && a[1] != "" && a[1][0] >= '0' && a[1][0] <= '9' {
				return app.Saved{}, &usage{errors.New("an estimate is written down first, and answered with a command of its own")}
			}
			if accepted && declined {
				return app.Saved{}, &usage{errors.New("an estimate is accepted or declined, not both")}
			}
			return s.Record(a[0], w, events.EstimateAnswered{Accepted: accepted, Text: strings.Join(a[1:], " ")})
		}
		if len(a) < 2 {
			return app.Saved{}, &usage{errors.New("want: oldhand estimate UNIT AMOUNT, or --accepted, or --declined")}
		}
		amount, err := app.Money(a[1])
		if err != nil {
			return app.Saved{}, err
		}
		return s.Record(a[0], w, events.EstimateGiven{Amount: amount, Currency: currency, Text: strings.Join(a[2:], " ")})
	})
	c.Flags().StringVar(&currency, "currency", "USD", "the currency, by its ISO 4217 `code`")
	c.Flags().BoolVar(&accepted, "accepted", false, "the owner said yes")
	c.Flags().BoolVar(&declined, "declined", false, "the owner said no")
	return c
}

func (e *env) wait() *cobra.Command {
	return e.act("wait UNIT FOR [WORDS]...", "the unit waits for its owner, parts, a donor or payment", 2, -1, func(s *app.Shop, w app.Who, a []string) (app.Saved, error) {
		return s.Wait(a[0], w, events.WaitingBegun{For: a[1], Text: strings.Join(a[2:], " ")})
	})
}

func (e *env) resume() *cobra.Command {
	return e.act("resume UNIT [WORDS]...", "the wait is over", 1, -1, func(s *app.Shop, w app.Who, a []string) (app.Saved, error) {
		return s.Resume(a[0], w, strings.Join(a[1:], " "))
	})
}

func (e *env) ship() *cobra.Command {
	var b events.Shipped
	var charge string
	c := e.act("ship UNIT [WORDS]...", "the unit leaves the shop", 1, -1, func(s *app.Shop, w app.Who, a []string) (app.Saved, error) {
		b.Text = strings.Join(a[1:], " ")
		if charge != "" {
			amount, err := app.Money(charge)
			if err != nil {
				return app.Saved{}, err
			}
			b.Charge = amount
		} else {
			b.Currency = ""
		}
		return s.Ship(a[0], w, b)
	})
	f := c.Flags()
	f.StringVar(&b.Outcome, "outcome", "repaired", "repaired, returned-unrepaired, declined, kept-for-parts, no-fault-found or unknown")
	f.StringVar(&b.Carrier, "carrier", "", "who takes it")
	f.StringVar(&charge, "charge", "", "the `amount` charged")
	f.StringVar(&b.Currency, "currency", "USD", "the currency, by its ISO 4217 `code`")
	f.IntVar(&b.WarrantyDays, "warranty", 0, "`days` of warranty")
	return c
}

func (e *env) noteCmd() *cobra.Command {
	return e.act("note UNIT WORDS...", "write anything down", 2, -1, func(s *app.Shop, w app.Who, a []string) (app.Saved, error) {
		return s.Record(a[0], w, events.Note{Text: strings.Join(a[1:], " ")})
	})
}

func (e *env) correct() *cobra.Command {
	var fields []string
	var why string
	c := e.act("correct UNIT ENTRY", "replace an entry by a better one", 2, 2, func(s *app.Shop, w app.Who, a []string) (app.Saved, error) {
		if len(fields) == 0 {
			return app.Saved{}, &usage{errors.New("say with --set FIELD=VALUE what to change")}
		}
		return s.Correct(a[0], a[1], fields, why, w)
	})
	c.Long = "Replace an entry by a better one. ENTRY is the end of the entry's id, which\n\n  oldhand past UNIT --ids\n\nshows. The entry as it was is kept."
	c.Flags().StringArrayVar(&fields, "set", nil, "`FIELD=VALUE` to change, such as model=R-950, at=2026-11-20 or in.text=\"47 pF\"; may be given again")
	c.Flags().StringVar(&why, "why", "", "the reason")
	return c
}

func (e *env) withdraw() *cobra.Command {
	var why string
	c := e.act("withdraw UNIT ENTRY", "take an entry back: it was never so", 2, 2, func(s *app.Shop, w app.Who, a []string) (app.Saved, error) {
		return s.Withdraw(a[0], a[1], why, w)
	})
	c.Flags().StringVar(&why, "why", "", "the reason")
	return c
}

func (e *env) restore() *cobra.Command {
	var why string
	c := e.act("restore UNIT ENTRY", "an entry that was taken back stands again", 2, 2, func(s *app.Shop, w app.Who, a []string) (app.Saved, error) {
		return s.Restore(a[0], a[1], why, w)
	})
	c.Flags().StringVar(&why, "why", "", "the reason")
	return c
}

func (e *env) same() *cobra.Command {
	var why string
	c := e.act("same UNIT UNIT", "two units are one and the same set", 2, 2, func(s *app.Shop, w app.Who, a []string) (app.Saved, error) {
		return s.Same(a[0], a[1], why, w)
	})
	c.Flags().StringVar(&why, "why", "", "how that is known")
	return c
}

func (e *env) apart() *cobra.Command {
	var why string
	c := e.act("apart UNIT UNIT", "two units are not the same set", 2, 2, func(s *app.Shop, w app.Who, a []string) (app.Saved, error) {
		return s.Apart(a[0], a[1], why, w)
	})
	c.Flags().StringVar(&why, "why", "", "how that is known")
	return c
}

func (e *env) measureKinds() error {
	kinds := app.MeasureKinds()
	return e.answer(kinds, func() {
		for _, k := range kinds {
			e.printf("%-24s %-40s %s\n", k.ID, k.Name, fmt.Sprint(strings.Join(k.Units, ", ")))
		}
	})
}
