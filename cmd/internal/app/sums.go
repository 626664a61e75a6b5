package app

import "oldhand/cmd/internal/sums"

// CautionOfSum is the caution that has to stand beside a sum's answer, if one does.
func CautionOfSum(t sums.Told) string {
	switch t.Caution {
	case sums.OfLeakage:
		return MeterCaution
	case sums.OfStoredCharge:
		return OpeningCaution
	}
	return ""
}
