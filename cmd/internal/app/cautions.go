package app

import "oldhand/events"

// Cautions stand wherever a set is opened or a reading of its safety is taken.
// They are the usual ones, in our words; facts behind them: common practice,
// and US EPA fact sheet 530-F-20-005 for PCBs.

// OpeningCaution stands at intake, before anybody opens a set.
const OpeningCaution = `caution: old sets hold mains and stored charge. Unplug, then measure the filter capacitors and trust the meter, not the bleeder;
a chassis may be live, cords brittle, old capacitors may hold PCBs. Use an isolation transformer for work on a set without its own.
Fixed wiring: disconnect at the panel, follow your local electrical code, and use a licensed electrician if in doubt.`

// MeterCaution stands beside readings of leakage.
const MeterCaution = `A hot check (AC volts from exposed metal to earth over 1.5 kohm and 0.15 uF) is made WITHOUT the isolation transformer, by
someone trained for it, one hand free of the set; write the limit used with --limits, since makers' limits differ. What is
written down here is a reading. It does not declare a set safe; local code and the maker's service literature decide.`

// CautionOf is the caution that stands beside a fact, if one does.
func CautionOf(b events.Body) string {
	switch b := b.(type) {
	case events.ReadingTaken:
		switch b.Measure {
		case "touch-current", "touch-voltage", "hot-check-voltage", "insulation-resistance":
			return MeterCaution
		}
		if b.Network != "" {
			return MeterCaution
		}
	case events.FinalTest:
		return TestCaution
	}
	return ""
}

// TestCaution stands beside a verdict.
const TestCaution = `The verdict says what was seen on the bench. It is no certificate of safety.`
