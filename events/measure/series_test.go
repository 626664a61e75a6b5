package measure_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"oldhand/events/measure"
	"oldhand/events/sharedtest"
)

// Source: checkdata/e_series.csv (IEC 60063). For every value of three figures
// the nearest is found again by trying all of the table.
func TestNearestPreferredValueAgreesWithTheTablesOfTheStandard(t *testing.T) {
	rows := sharedtest.Rows(t, "checkdata/e_series.csv")
	for _, row := range rows {
		var table []int
		for _, cell := range strings.Fields(row["values"]) {
			f, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				t.Fatal(err)
			}
			table = append(table, int(math.Round(f*100)))
		}
		table = append(table, 1000)
		for have := 100; have < 1000; have++ {
			best := table[0]
			for _, c := range table {
				if abs(c-have) < abs(best-have) {
					best = c
				}
			}
			v := measure.Value{Mant: int64(have), Exp: -2, Unit: measure.Ohm}
			got, off, err := measure.NearestE(row["series"], v)
			want := measure.Value{Mant: int64(best), Exp: -2, Unit: measure.Ohm}
			if err != nil || !got.Same(want) {
				t.Fatalf("%s: nearest to %s is %s, %v; want %s", row["series"], v.Canonical(), got.Canonical(), err, want.Canonical())
			}
			if exact := 1000 * float64(best-have) / float64(have); math.Abs(float64(off)-exact) > 0.501 {
				t.Fatalf("%s: %s is %d tenths of a percent off, want %.2f", row["series"], v.Canonical(), off, exact)
			}
		}
	}
	if len(rows) != 5 {
		t.Errorf("%d series in the table", len(rows))
	}
}

func abs(n int) int { return max(n, -n) }

// Source: the worked figure for 500 ohm in the reference facts; old values are
// from the same place, their nearest ones follow from the tables.
func TestOldValuesGetAnOfferAndItsDistance(t *testing.T) {
	for _, c := range []struct {
		text   string
		want   measure.Quantity
		series string
		form   string
		tenths int
	}{
		{"500 ohm", measure.Resistance, "E6", "470 Ω", -60},
		{"250k", measure.Resistance, "E12", "270 kΩ", 80},
		{".05 MFD", measure.Capacitance, "E12", "0.047 µF", -60},
		{"8 MF", measure.Capacitance, "E6", "6.8 µF", -150},
		{"50 ohm", measure.Resistance, "E24", "51 Ω", 20},
		{"999 ohm", measure.Resistance, "E6", "1 kΩ", 1},
		{"123456789012345678 ohm", measure.Resistance, "E24", "120000000 GΩ", -28},
	} {
		got, tenths, err := measure.NearestE(c.series, value(t, c.text, c.want))
		if err != nil || got.Canonical() != c.form || tenths != c.tenths {
			t.Errorf("%s in %s: %s, %d, %v; want %s, %d", c.text, c.series, got.Canonical(), tenths, err, c.form, c.tenths)
		}
	}
	ohm := measure.Value{Mant: 1, Unit: measure.Ohm}
	if _, _, err := measure.NearestE("E7", ohm); err == nil {
		t.Error("series E7 is known")
	}
	if _, _, err := measure.NearestE("E6", measure.Value{Unit: measure.Ohm}); err == nil {
		t.Error("zero has a preferred value")
	}
}
