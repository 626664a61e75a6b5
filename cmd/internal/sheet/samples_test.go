package sheet

import (
	"oldhand/projections"
)

func number(v float64) *float64 { return &v }

// turnaround is an answer with curves, a list inside a row, values that are not
// there, and a row that has other keys than the one before it.
func turnaround() *projections.Result {
	return &projections.Result{
		Question: "turnaround", AsOf: "2026-11-25",
		Rows: []any{
			projections.TurnaroundRow{Group: "=1+2", Visits: 4, Closed: 3, Open: 1, Median: number(21.5), MedianLow: number(-2), P90: number(1.0 / 3),
				Split: &projections.Split{InShop: 27.5, Bench: 24.2, Owner: 0.30000000000000004},
				Steps: []projections.CurveStep{{3, 0.75, 0.2, 0.9, 4}, {5, 0, -1, -1, 2}}},
			projections.TurnaroundRow{Group: "2026", Visits: 1, Open: 1, Steps: []projections.CurveStep{{7, 1, -1, -1, 1}}},
		},
		Missing: []projections.Missing{{What: "visits that ended on a day nobody wrote down", Count: 3}},
		Notes:   []string{"do the groups differ? nobody knows, \"yet\""},
		Method:  "Kaplan-Meier; days are calendar days",
	}
}

// turnaroundLines is that answer worked by hand, line by line, as the
// spreadsheet has to read it: numbers without quotes, texts with.
const turnaroundLines = `
"group" "visits" "closed" "open" "median" "median low" "median high" "p75" "p90" "p90 low" "p90 high" "in shop" "on the bench" "waiting for owner" "waiting for parts" "waiting for donor" "waiting for payment"
"=1+2" 4 3 1 21.5 -2 "" "" 0.3333333333333333 "" "" 27.5 24.2 0.30000000000000004 0 0 0

"group" "visits" "closed" "open" "median" "median low" "median high" "p75" "p90" "p90 low" "p90 high" "split"
"2026" 1 0 1 "" "" "" "" "" "" "" ""

"question" "turnaround"
"as of" "2026-11-25"
"left out" "visits that ended on a day nobody wrote down" 3
"note" "do the groups differ? nobody knows, \"yet\""
"how" "Kaplan-Meier; days are calendar days"
"empty cells" "hold a value that is not there: not reached, not known, or with nothing to compare it with"
`

const curveLines = `
"group" "day" "share" "low" "high" "at risk"
"=1+2" 3 0.75 0.2 0.9 4
"=1+2" 5 0 "" "" 2
"2026" 7 1 "" "" 1
`

// year is an answer whose rows have lists and a sum for each currency.
func year() *projections.Result {
	return &projections.Result{Question: "year", AsOf: "2026-11-25", Method: "counts", Rows: []any{
		projections.YearRow{Year: 2026, Received: 2, Charged: map[string]string{"USD": "120.00", "EUR": "15.50"}, TopFaults: []string{"lamp open (2)", "cord brittle (1)"}, TopModels: []string{}},
		projections.YearRow{Year: 2025, Charged: map[string]string{}, TopFaults: []string{}, TopModels: nil},
	}}
}

const yearLines = `
"year" "received" "new units" "shipped" "repaired" "come backs" "come back share" "come back low" "come back high" "median days" "p90 days" "parts" "charged" "top faults" "top models"
2026 2 0 0 0 0 "" "" "" "" "" 0 "15.50 EUR, 120.00 USD" "lamp open (2), cord brittle (1)" ""
2025 0 0 0 0 0 "" "" "" "" "" 0 "" "" ""

"question" "year"
"as of" "2026-11-25"
"how" "counts"
"empty cells" "hold a value that is not there: not reached, not known, or with nothing to compare it with"
`

func nothing() *projections.Result {
	return &projections.Result{Question: "parts", AsOf: "2026-11-25", Method: "counts"}
}

const nothingLines = `
"nothing to tell yet"

"question" "parts"
"as of" "2026-11-25"
"how" "counts"
"empty cells" "hold a value that is not there: not reached, not known, or with nothing to compare it with"
`

var answers = []struct {
	name   string
	answer func() *projections.Result
	lines  string
	curve  string
}{
	{"turnaround", turnaround, turnaroundLines, curveLines},
	{"year", year, yearLines, ""},
	{"nothing", nothing, nothingLines, ""},
}
