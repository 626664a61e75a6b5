package web

import (
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// Forms of the course of a visit: estimates, waits, the test, shipping.

// usualCurrency is where neither this visit nor the last unit has one.
const usualCurrency = "USD"

// price is an amount that is likely, and where it is from.
func price(d desk) (amount, currency, from string) {
	last := d.usual.Last
	switch {
	case d.unit.Estimate > 0:
		return app.MoneyTyped(d.unit.Estimate), d.unit.EstimateIn, "The estimate of this visit."
	case last != nil && last.Charge > 0:
		return app.MoneyTyped(last.Charge), last.Currency, "As for " + last.Ref + ", in on " + last.Day + "."
	}
	return "", "", "Like 120, or 120.50."
}

func moneyFields(d desk, name, label string) []*field {
	amount, currency, from := price(d)
	return []*field{
		{Name: name, Label: label, Value: amount, Echo: "money", Hint: from},
		{Name: "currency", Label: "Currency", Value: choose(currency != "", currency, usualCurrency), Suggest: withWords(d.usual.Currencies, usualCurrency)}}
}

func estimateFields(d desk) []*field {
	d.unit.Estimate = 0 // a further estimate is another one
	f := append(moneyFields(d, "amount", "Amount"), &field{Name: "text", Label: "Words", Wide: true, Hint: "What it is for."})
	f[0].Required = true
	return f
}

func estimate(s *app.Shop, unit string, w app.Who, f *form) (app.Saved, error) {
	amount, err := moneyIn(f, "amount")
	if err != nil {
		return app.Saved{}, err
	}
	return s.Record(unit, w, events.EstimateGiven{Amount: amount, Currency: currencyIn(f), Text: f.value("text")})
}

func currencyIn(f *form) string { return strings.ToUpper(f.value("currency")) }

func answerFields(desk) []*field {
	return []*field{
		{Name: "answer", Label: "The owner says", Required: true, Echo: "answer", Suggest: []string{"yes", "no"}, Hint: "Yes or no; y or n will do."},
		{Name: "text", Label: "Words", Wide: true}}
}

func answer(s *app.Shop, unit string, w app.Who, f *form) (app.Saved, error) {
	yes, err := app.YesNo(f.value("answer"))
	if err != nil {
		return app.Saved{}, err
	}
	return s.Record(unit, w, events.EstimateAnswered{Accepted: yes, Text: f.value("text")})
}

func waitFields(desk) []*field {
	return []*field{
		{Name: "for", Label: "It waits for", Kind: "select", Options: options(events.Waits...)},
		{Name: "text", Label: "Words", Wide: true}}
}

func wait(s *app.Shop, unit string, w app.Who, f *form) (app.Saved, error) {
	return s.Wait(unit, w, events.WaitingBegun{For: f.value("for"), Text: f.value("text")})
}

func resume(s *app.Shop, unit string, w app.Who, f *form) (app.Saved, error) {
	return s.Resume(unit, w, f.value("text"))
}

func testFields(desk) []*field {
	return []*field{
		{Name: "verdict", Label: "Verdict", Kind: "select", Options: options("passed", "failed", "not finished")},
		{Name: "leftout", Label: "Left out", Wide: true, Hint: "Checks that were not made, and why."},
		{Name: "text", Label: "Words", Wide: true}}
}

func test(s *app.Shop, unit string, w app.Who, f *form) (app.Saved, error) {
	return s.Record(unit, w, events.FinalTest{Verdict: f.value("verdict"), LeftOut: f.value("leftout"), Text: f.value("text")})
}

func shipFields(d desk) []*field {
	carrier, warranty := "", ""
	if last := d.usual.Last; last != nil {
		carrier, warranty = last.Carrier, numberText(last.Warranty)
	}
	fields := []*field{{Name: "outcome", Label: "Outcome", Kind: "select", Value: "repaired", Options: options(withWords(d.usual.Outcomes, "repaired")...)}}
	fields = append(fields, moneyFields(d, "charge", "Charge")...)
	return append(fields,
		&field{Name: "warranty", Label: "Warranty", Kind: "number", Value: warranty, Hint: "In days."},
		&field{Name: "carrier", Label: "Carrier", Value: carrier, Suggest: d.usual.Carriers},
		&field{Name: "text", Label: "Words", Wide: true})
}

func ship(s *app.Shop, unit string, w app.Who, f *form) (app.Saved, error) {
	b := events.Shipped{Outcome: f.value("outcome"), Carrier: f.value("carrier"), Text: f.value("text")}
	var err error
	if b.WarrantyDays, err = numberIn(f, "warranty"); err != nil {
		return app.Saved{}, err
	}
	if f.value("charge") != "" {
		if b.Charge, err = moneyIn(f, "charge"); err != nil {
			return app.Saved{}, err
		}
		b.Currency = currencyIn(f)
	}
	return s.Ship(unit, w, b)
}
