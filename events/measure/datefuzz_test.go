package measure_test

import (
	"strings"
	"testing"

	"oldhand/events/measure"
)

// A date code is read off a part. Each reading is of a year and a week there are, and
// its days hold that week; what is no code is named.
func FuzzReadDateCode(f *testing.F) {
	for _, s := range []string{"606-4-21", "134-6320", "1136352", "274 6342", "134-6354", "134-6300", "６０６-4-21", "T1 134-6320, LS1=134-6405; C4 134-7812 (replaced)", "=", ""} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		readings, err := measure.ReadDateCode(text, measure.UsualYears)
		if err != nil && (readings != nil || !strings.Contains(err.Error(), "read date code")) {
			t.Fatalf("%q: %v with %v", text, err, readings)
		}
		for _, r := range readings {
			if r.Week < 1 || r.Week > 53 || r.Year < 1900 || r.Year > 1999 || !r.From.Before(r.To) || r.From.Year() > r.Year || r.To.Year() < r.Year {
				t.Fatalf("%q is read as %+v", text, r)
			}
		}
		for _, p := range measure.ReadDatedParts(text) {
			if p.Name == "" && p.Code != "" || !strings.Contains(strings.Join(strings.Fields(text), " "), p.Code) {
				t.Fatalf("%q lists %+v", text, p)
			}
		}
	})
}
