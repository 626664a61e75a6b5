package oracle_test

import (
	"math"
	"strconv"
	"testing"

	"oldhand/events/sharedtest"
)

// The oracle's own formulas against published and computed values, so that it
// is not only another opinion. Sources: the tables of shared/checkdata, by the
// README there.

func float(t testing.TB, text string) float64 {
	t.Helper()
	if text == "" {
		return math.NaN()
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func near(t testing.TB, what string, got, want float64) {
	t.Helper()
	if math.IsNaN(got) && math.IsNaN(want) {
		return
	}
	if !(math.Abs(got-want) <= 2e-6*math.Abs(want)+1e-9) {
		t.Errorf("%s: got %v, want %v", what, got, want)
	}
}

func TestTheOraclesCurveIsThePublishedOne(t *testing.T) {
	var stays []stay
	for _, r := range sharedtest.Rows(t, "checkdata/km_lung_data.csv") {
		stays = append(stays, stay{int(float(t, r["time"])), r["status"] == "1"})
	}
	steps, i := productLimit(stays), 0
	for _, r := range sharedtest.Rows(t, "checkdata/km_lung_all_expected.csv") {
		if float(t, r["n_event"]) == 0 {
			continue
		}
		st := steps[i]
		i++
		near(t, "time", float64(st.day), float(t, r["time"]))
		near(t, "at risk", float64(st.atRisk), float(t, r["n_risk"]))
		near(t, "S at "+r["time"], st.s, float(t, r["surv"]))
		near(t, "lower at "+r["time"], st.low, float(t, r["lower_loglog"]))
		near(t, "upper at "+r["time"], st.high, float(t, r["upper_loglog"]))
	}
	equal(t, "steps", i, len(steps))
	// Shared facts, section 1: median 310 (284, 361).
	for name, got := range map[string][2]any{"median": {reaches(steps, 0.5, middle), 310.0}, "low": {reaches(steps, 0.5, lower), 284.0}, "high": {reaches(steps, 0.5, upper), 361.0}} {
		equal(t, name, got[0], got[1])
	}
}

func TestTheOraclesMeanReturnsAreThePublishedOnes(t *testing.T) {
	byEngine := map[string]*life{}
	var lives []life
	for _, r := range sharedtest.Rows(t, "checkdata/mcf_valve_seat_data.csv") {
		l := byEngine[r["id"]]
		if l == nil {
			l = &life{}
			byEngine[r["id"]] = l
		}
		if age := int(float(t, r["time"])); r["status"] == "1" {
			l.ages = append(l.ages, age)
		} else {
			l.watched = age
		}
	}
	for _, l := range byEngine {
		lives = append(lives, *l)
	}
	// Shared facts, section 2: Nelson 1995, variance by Lawless and Nadeau.
	for _, w := range []struct {
		age      int
		mean, se float64
	}{{61, 0.02439024, 0.02409097}, {139, 0.2195122, 0.07326981}, {573, 0.9585366, 0.1689581}, {653, 1.542688, 0.3116561}} {
		mean, se, _ := meanReturns(lives, w.age)
		near(t, "mean", mean, w.mean)
		near(t, "standard error", se, w.se)
	}
}

// Shared facts, section 3: Newcombe 1998, R's documentation, Fisher 1935,
// Benjamini and Hochberg 1995.
func TestTheOraclesIntervalsAndTestsAreThePublishedOnes(t *testing.T) {
	low, high := wilson(81, 263)
	near(t, "Wilson, lower", low, 0.2552885)
	near(t, "Wilson, upper", high, 0.3662096)
	per, low, high := rate(3, 41.2)
	near(t, "rate", per, 3/41.2)
	near(t, "Garwood, lower", low, 0.01501631)
	near(t, "Garwood, upper", high, 0.2127979)
	near(t, "tea", fisher(3, 4, 1, 4), 0.4857143)
	near(t, "twins", fisher(2, 17, 10, 13), 0.0005367241)
	ps := []float64{.0001, .0004, .0019, .0095, .0201, .0278, .0298, .0344, .0459, .3240, .4262, .5719, .6528, .7590, 1}
	want := []float64{.0015, .003, .0095, .035625, .0603, .06385714, .06385714, .0645, .0765, .486, .5811818, .714875, .7532308, .8132143, 1}
	for i, p := range stepUp(ps) {
		near(t, "adjusted", p, want[i])
	}
}
