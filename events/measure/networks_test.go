package measure_test

import (
	"regexp"
	"strings"
	"testing"

	"oldhand/events/measure"
)

// Source: rows of checkdata/leakage.csv; which of the two figures limits are
// written for is in the reference facts, section on electrical safety.
func TestANetworkGivesWhatItsLimitsAreWrittenFor(t *testing.T) {
	for _, c := range []struct {
		id, volts       string
		hz              int
		limited, really string
	}{
		{"hot-check", "0.75 V", 60, "0.500000", "0.501796"},
		{"iec60990", "0.35 V", 60, "0.700000", "0.702649"},
		{"iec60990", "0.35 V", 1000, "0.700000", "1.233790"},
	} {
		n, err := measure.FindNetwork(c.id)
		if err != nil {
			t.Fatal(err)
		}
		got, err := n.Current(value(t, c.volts, measure.Voltage), c.hz)
		if err != nil {
			t.Error(err)
		}
		agrees(t, c.id+" limited", got.Limited, c.limited)
		agrees(t, c.id+" through", got.Through, c.really)
	}
	// 0.7 mA peak is 0.4950 mA rms if sinusoidal (reference facts).
	agrees(t, "0.7 mA peak in rms", 0.7/measure.SinePeak, "0.4950")
}

func TestEveryNetworkIsWholeAndItsReadingsAreOfAKind(t *testing.T) {
	id := regexp.MustCompile(`^[a-z][a-z0-9-]*$`)
	for _, n := range measure.Networks {
		k, ok := measure.Find(n.ReadingID)
		if !id.MatchString(n.ID) || n.Name == "" || !ok || k.Quantity != measure.Voltage || n.Usual != "rms" && n.Usual != "peak" {
			t.Errorf("%+v, kind %+v", n, k)
		}
		if _, err := n.Current(value(t, "1 A", measure.Current), 60); err == nil {
			t.Errorf("%s takes a current for a voltage", n.ID)
		}
	}
	if n, err := measure.FindNetwork("wet-finger"); err == nil || !strings.Contains(err.Error(), "there are hot-check and iec60990") {
		t.Errorf("%+v, %v", n, err)
	}
}
