package jobbook

import (
	"fmt"
	"testing"
)

// Spellings of old books. Common practice, no source.
func TestEachSpellingOfAYearMadeIsRead(t *testing.T) {
	for _, c := range []struct {
		text     string
		from, to int
		unread   bool
	}{
		{"1967", 1967, 1967, false}, {"'67", 1967, 1967, false}, {"67", 1967, 1967, false}, {"’67", 1967, 1967, false},
		{"c. 1967", 1967, 1967, false}, {"ca 1967", 1967, 1967, false}, {"circa 1967", 1967, 1967, false}, {"~1967", 1967, 1967, false}, {"1967?", 1967, 1967, false},
		{"1965-67", 1965, 1967, false}, {"1965-1967", 1965, 1967, false}, {"1965/67", 1965, 1967, false}, {"'65-'67", 1965, 1967, false}, {"1965-7", 1965, 1967, false}, {"1965 to 1967", 1965, 1967, false},
		{"1960s", 1960, 1969, false}, {"1960's", 1960, 1969, false}, {"60s", 1960, 1969, false}, {"'60s", 1960, 1969, false}, {"1990s", 1990, 1997, false},
		{"97", 1997, 1997, false}, {"", 0, 0, false}, {"?", 0, 0, false}, {"unknown", 0, 0, false},
		{"98", 0, 0, true}, {"05", 0, 0, true}, {"1998", 0, 0, true}, {"1867", 0, 0, true}, {"1967-65", 0, 0, true}, {"196", 0, 0, true}, {"old", 0, 0, true},
		{"1965s", 0, 0, true}, {"12/67", 0, 0, true}, {"1965-1999", 0, 0, true},
	} {
		from, to, why := yearMade(c.text, 1997)
		if from != c.from || to != c.to || (why != "") != c.unread {
			t.Errorf("%q: %d to %d, %q; want %d to %d", c.text, from, to, why, c.from, c.to)
		}
	}
}

func TestAmountsAreReadToTheCent(t *testing.T) {
	for _, c := range []struct {
		text, decimal, currency string
		minor                   int64
		code                    string
	}{
		{"$359.00", ".", "", 35900, "USD"}, {"359,00 €", ",", "", 35900, "EUR"}, {"1.234,50", ",", "EUR", 123450, "EUR"}, {"1,234.50", ".", "", 123450, ""},
		{"94", "", "", 9400, ""}, {"94", ".", "USD", 9400, "USD"}, {"$1,234", ".", "", 123400, "USD"}, {"1.234", ",", "", 123400, ""}, {"12.5", ".", "", 1250, ""}, {".50", ".", "", 50, ""},
		{"1.234,50 €", "", "", 123450, "EUR"}, {"359,00", "", "", 35900, ""}, {"1.234.567,8", "", "", 123456780, ""}, {"1,234,567", "", "", 123456700, ""},
		{"USD 45.10", ".", "", 4510, "USD"}, {"45.10 usd", ".", "", 4510, "USD"}, {"US$45", "", "", 4500, "USD"}, {"£12.50", ".", "", 1250, "GBP"},
		{"$45.10", ".", "CAD", 4510, "CAD"}, {"€45.10", ".", "CAD", 4510, "EUR"}, {"120 DM", "", "", 12000, "DEM"}, {"Fr. 94.-", ".", "", 9400, "CHF"}, {"94,-", ",", "EUR", 9400, "EUR"},
		{"1'234.50", ".", "CHF", 123450, "CHF"}, {"1 234,50", ",", "", 123450, ""}, {"1\u00a0234,50 €", ",", "", 123450, "EUR"},
		{"¥1,200", "", "", 1200, "JPY"}, {"-5.00", ".", "", -500, ""}, {"-$5.00", ".", "", -500, "USD"}, {"($5.00)", ".", "", -500, "USD"}, {"n/c", ".", "USD", 0, "USD"}, {"0", "", "", 0, ""},
	} {
		got, why := pricing{c.decimal, c.currency}.read(c.text)
		if want := (Charge{c.text, true, c.minor, c.code}); got != want || why != "" {
			t.Errorf("%q with %q: %+v %q, want %+v", c.text, c.decimal, got, why, want)
		}
	}
}

// Under US rules a reader of money takes 359,00 $ as 35,900 dollars. It has to
// stay text instead.
func TestAnAmountThatCannotBeToldStaysText(t *testing.T) {
	for _, c := range []struct{ text, decimal string }{
		{"359,00 $", "."}, {"1.234", "."}, {"12,34", "."}, {"1,23,456", "."}, {"1.2.3", "."}, {"1.234,50", "."}, {"1,234.50", ","},
		{"1,234", ""}, {"1.234", ""}, {"warranty", ""}, {"$", ""}, {"5 or 6", ""}, {"12345678901234567890", ""}, {"5.001", "."}, {".", "."}, {"12 34", ""},
	} {
		if got, why := (pricing{c.decimal, ""}).read(c.text); got != (Charge{Text: c.text}) || why == "" {
			t.Errorf("%q with %q: %+v %q", c.text, c.decimal, got, why)
		}
	}
}

func TestTheDecimalSignIsSettledByTheWholeColumn(t *testing.T) {
	for _, c := range []struct {
		cells            []string
		decimal, current string
		minor            []int64 // -1 for one that stays text
	}{
		{[]string{"$1,234", "$12.50"}, ".", "USD", []int64{123400, 1250}},
		{[]string{"1.234 €", "12,50 €", "94"}, ",", "EUR", []int64{123400, 1250, 9400}},
		{[]string{"1.234", "94"}, "", "", []int64{-1, 9400}},
		{[]string{"12.50", "12,50", "1,234"}, "", "", []int64{1250, 1250, -1}},
		{[]string{"$5", "5 €", "7"}, "", "", []int64{500, 500, 700}},
	} {
		data := "date in;make;charge\n"
		for _, cell := range c.cells {
			data += "1997-01-02;Ostrel;" + cell + "\n"
		}
		b := mustOpen(t, data, Mapping{})
		if b.Mapping.Decimal != c.decimal || b.Mapping.Currency != c.current {
			t.Errorf("%v: decimal %q, currency %q", c.cells, b.Mapping.Decimal, b.Mapping.Currency)
		}
		rows, refused := readAll(b)
		if len(refused) != 0 {
			t.Fatalf("%v: %v", c.cells, refused)
		}
		for i, r := range rows {
			if r.Charge.Known != (c.minor[i] >= 0) || r.Charge.Known && r.Charge.Minor != c.minor[i] || r.Charge.Text != c.cells[i] || r.Charge.Known == (len(r.Warnings) > 0) {
				t.Errorf("%v: %+v, warnings %v", c.cells, r.Charge, r.Warnings)
			}
		}
	}
}

func TestTheHeadingOfTheChargeMayNameItsCurrency(t *testing.T) {
	for heading, want := range map[string]string{"Charge (CAD)": "CAD", "Total $": "USD", "Preis in €": "", "Charge": "", "Betrag EUR": "EUR"} {
		b := mustOpen(t, "date in;make;"+heading+"\n1997-01-02;Ostrel;5\n", Mapping{})
		if heading == "Preis in €" {
			continue // its heading is not one that is known
		}
		if got := fmt.Sprint(b.Mapping.Currency, b.Mapping.Columns[Charged]); got != want+heading {
			t.Errorf("%s: %s", heading, got)
		}
	}
}

func TestCellsThatWereGuardedAgainstFormulasAreReadAsTyped(t *testing.T) {
	rows, _ := readAll(mustOpen(t, "date in,make,model,yr,notes\n1997-01-02,Ostrel,'=2210,'67,'-- rush\n1997-01-03,Ostrel,'2210',1967,'quoted'\n", Mapping{}))
	if rows[0].Model != "=2210" || rows[0].YearFrom != 1967 || rows[0].Notes != "-- rush" || rows[1].Model != "'2210'" || rows[1].Notes != "'quoted'" {
		t.Errorf("%+v", rows)
	}
}
