package sums_test

import (
	"fmt"
	"strings"
	"testing"

	"oldhand/cmd/internal/sums"
	"oldhand/events/measure"
	"oldhand/events/sharedtest"
)

func codes(text string, stated ...int) sums.DateCodesTyped {
	in := sums.DateCodesTyped{Parts: measure.ReadDatedParts(text)}
	if len(stated) == 2 {
		in.StatedFrom, in.StatedTo = stated[0], stated[1]
	}
	return in
}

// Source: the worked example of the reference facts, section on date codes.
func TestASetsCodesSayNotBeforeWhenAndProposeAYear(t *testing.T) {
	d, err := sums.ReadDateCodes(codes("T1 134-6320, V3 134-6338, LS1 134-6405, C4 134-7812 replaced"))
	said := told(t, d, err)
	wants(t, said, "LS1 | 134-6405 | 134 | 1964 | 05 | 1964-01-23 to 1964-02-10", "C4 | 134-7812 | 134 | 1978 | 12 | 1978-03-13 to 1978-03-31 | replaced, not counted",
		"Not built before 1964-01-23, by LS1 (134-6405)", "The second newest is V3 (134-6338), 134 days older.", "Proposed year made: 1964.", "may be younger")
	if d.Built.Proposed != 1964 || d.Built.Evidence != "LS1 134-6405" || d.Built.LoneNewest {
		t.Errorf("%+v", d.Built)
	}
	d, err = sums.ReadDateCodes(codes("T1 134-6320, V3 134-6338, LS1 134-6405, C4 134-7812"))
	wants(t, told(t, d, err), "Not built before 1978-03-13, by C4 (134-7812)", "C4 (134-7812) stands alone: it may have been replaced")
	d, err = sums.ReadDateCodes(codes("606-4-21"))
	wants(t, told(t, d, err), "Other readings of one-digit years would make that 1964-05-14, 1974-05-15 or 1984-05-14.", "Proposed year made: 1954, or 1964, 1974 or 1984 by other readings.")
	d, err = sums.ReadDateCodes(codes("113-7553, 113-9910"))
	wants(t, told(t, d, err), "the year has 52 weeks by ISO 8601", "outside the years asked for")
}

func TestAStatedYearStandsAndIsNeverProposedOver(t *testing.T) {
	for _, c := range []struct {
		from, to int
		want     string
	}{
		{1962, 1962, "1962 is stated as the year made, and the codes speak against it: LS1 (134-6405) was made later. What was stated stands"},
		{1964, 1966, "1964 to 1966 is stated as the year made, and stands"},
		{1971, 1971, "1971 is stated as the year made, and stands"},
	} {
		d, err := sums.ReadDateCodes(codes("LS1 134-6405", c.from, c.to))
		said := told(t, d, err)
		wants(t, said, c.want)
		if d.Built.Proposed != 0 || strings.Contains(said, "Proposed") {
			t.Errorf("%d is stated and %d proposed", c.from, d.Built.Proposed)
		}
	}
}

// Source: checkdata/date_codes.csv. Every reading and every refusal of the table is
// in the answer.
func TestEveryRowOfTheReferenceTableIsInTheAnswer(t *testing.T) {
	for _, row := range sharedtest.Rows(t, "checkdata/date_codes.csv") {
		d, err := sums.ReadDateCodes(sums.DateCodesTyped{Parts: []measure.DatedPart{{Name: "T1", Code: row["code"]}}})
		if row["status"] == "reject" {
			if err == nil {
				t.Errorf("%q is read as %+v: %s", row["code"], d, row["note"])
			}
			continue
		}
		var week int
		fmt.Sscan(row["week"], &week)
		wants(t, told(t, d, err), fmt.Sprintf("| %s | %02d | %s to %s", row["candidate_year"], week, row["earliest_any_rule"], row["latest_any_rule"]))
	}
}

func TestCodesThatCannotBeReadAreNamedBesideTheOthers(t *testing.T) {
	d, err := sums.ReadDateCodes(codes("T1 134-6320, V2 134-6354"))
	said := told(t, d, err)
	if got := d.Told().Unread; len(got) != 1 || !strings.Contains(got[0], "V2: ") || !strings.Contains(got[0], "week 54") {
		t.Errorf("unread: %q", got)
	}
	wants(t, said, "Not built before 1963-05-08")
	if d, err := sums.ReadDateCodes(codes("V2 134-6354, ABC-6320")); err == nil || !strings.Contains(err.Error(), "week 54") || !strings.Contains(err.Error(), "'A' is not a digit") {
		t.Errorf("%+v, %v", d, err)
	}
	if d, err := sums.ReadDateCodes(codes("")); err == nil {
		t.Errorf("nothing gives %+v", d)
	}
	if d, err := sums.ReadDateCodes(codes("C4 134-7812 replaced")); err != nil || d.Built != nil {
		t.Errorf("a replaced part dates the set: %+v, %v", d.Built, err)
	}
}
