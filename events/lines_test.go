package events_test

import (
	"strings"
	"testing"

	"oldhand/events"
)

// The kept texts hold the lines of full and of least bodies; these are the
// shapes between.
func TestLinesSayWhatIsKnownAndNothingElse(t *testing.T) {
	for want, b := range map[string]events.Body{
		"identified: Ostrel, made 1968":                           events.Identified{Maker: "Ostrel", YearFrom: 1968, YearTo: 1968},
		"identified: MS-40, serial 7":                             events.Identified{Model: "MS-40", Serial: "7"},
		"suspected fault: C14":                                    events.FaultFound{Designator: "C14", Sure: "suspected"},
		"fault: tube weak":                                        events.FaultFound{Component: "tube", Mode: "weak", Sure: "certain"},
		"part replaced: two lamps":                                events.PartReplaced{Text: "two lamps"},
		"part replaced: V2, in 6AV6, preventive":                  events.PartReplaced{Designator: "V2", In: events.Marking{Text: "6AV6"}, Reason: "preventive", Text: "x"},
		"leakage 0.2 mA rms, over the network hot-check, as left": events.ReadingTaken{Point: "leakage", Text: "0.2 mA", Amplitude: events.RMS, Network: "hot-check", Stage: events.AsLeft},
		"cleaned S1 switch, 1 minute":                             events.WorkDone{Work: "cleaned", Component: "switch", Designator: "S1", Minutes: 1},
		"estimate given: 0.05 EUR":                                events.EstimateGiven{Amount: 5, Currency: "EUR"},
		"estimate declined, too much":                             events.EstimateAnswered{Text: "too much"},
		"waiting for donor ended":                                 events.WaitingEnded{For: "donor"},
		"shipped, repaired, charge 120.00, 1 day of warranty":     events.Shipped{Outcome: "repaired", Charge: 12000, WarrantyDays: 1},
		"attached: image/png, 88888888":                           events.EvidenceAttached{Content: fill(0x88), Type: "image/png"},
		"withdrawn 1 entry":                                       events.Withdrawn{Withdraws: make([]events.EventID, 1)},
		"withdrawn 2 entries, twice":                              events.Withdrawn{Withdraws: make([]events.EventID, 2), Why: "twice"},
		"test sheet any set with 1 check":                         events.TestSheetDefined{Name: "any set", Checks: make([]events.Check, 1)},
		"final test passed, left out phono; check 2: no cable, despite check 4: old tape": events.FinalTest{Sheet: eventID(4), Verdict: "passed", LeftOut: "phono",
			Checks: []events.CheckNote{{Number: 2, LeftOut: "no cable"}, {Number: 4, Despite: "old tape"}}},
	} {
		if got := b.Line(); got != want {
			t.Errorf("line %q, want %q", got, want)
		}
	}
}

// ISO 4217: most currencies have two decimals, the yen has none.
func TestMoneyIsWrittenWithTheDecimalsOfItsCurrency(t *testing.T) {
	for want, m := range map[string]struct {
		minor    int64
		currency string
	}{
		"185.00 USD": {18500, "USD"}, "0.07 EUR": {7, "EUR"}, "-1.50 CHF": {-150, "CHF"}, "12000 JPY": {12000, "JPY"},
		"-5 JPY": {-5, "JPY"}, "0.00": {0, ""}, "92233720368547758.07 USD": {1<<63 - 1, "USD"},
	} {
		if got := events.MoneyText(m.minor, m.currency); got != want {
			t.Errorf("%d %s is written %q, want %q", m.minor, m.currency, got, want)
		}
	}
}

func TestYearsAreWrittenAsOneOrAsARange(t *testing.T) {
	for want, y := range map[string][2]int{"": {0, 0}, "1968": {1968, 0}, "1970": {1970, 1970}, "1968 to 1971": {1968, 1971}} {
		if got := events.YearsText(y[0], y[1]); got != want {
			t.Errorf("%v is written %q, want %q", y, got, want)
		}
	}
}

// A history is read line by line, so no event's line may break in two or say
// nothing.
func TestEveryKindHasALine(t *testing.T) {
	for _, b := range append(fullBodies(), leastBodies()...) {
		if s := b.Line(); s == "" || strings.ContainsAny(s, "\n\r") || strings.TrimSpace(s) != s || strings.HasSuffix(s, ",") || strings.HasSuffix(s, ":") {
			t.Errorf("%s: line %q", b.Kind(), s)
		}
	}
}
