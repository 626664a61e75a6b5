package oracle_test

import (
	"bytes"
	"encoding/csv"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"

	"oldhand/cmd/internal/app"
)

// category is how many repairs of one of the standard's categories there are,
// and how many of them are "Fixed".
type category struct{ fixed, all int }

// categories reads the file with the standard library.
func categories(t testing.TB) map[string]category {
	t.Helper()
	rows, err := csv.NewReader(bytes.NewReader(shared(t, repairData))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	kind, status := slices.Index(rows[0], "product_category"), slices.Index(rows[0], "repair_status")
	found := map[string]category{}
	for _, r := range rows[1:] {
		c := found[r[kind]]
		c.all++
		if r[status] == "Fixed" {
			c.fixed++
		}
		found[r[kind]] = c
	}
	return found
}

var notInID = regexp.MustCompile(`[^a-z0-9]+`)

// Source: the counts by a plain reading of the file, Open Repair Alliance,
// release 2025-07, partner file Repair Connects, CC BY-SA 4.0; the limits are
// Wilson's by shared facts, section 3.
func TestEachCategoryOfRealRepairsIsAKindOfItsOwnWithItsShareRepaired(t *testing.T) {
	t.Parallel()
	var want []row
	for name, c := range categories(t) {
		if c.fixed == 0 {
			continue
		}
		low, high := wilson(c.fixed, c.all)
		id := strings.Trim(notInID.ReplaceAllString(strings.ToLower(name), "-"), "-")
		want = append(want, row{"group": id, "outcome": "repaired", "visits": c.fixed, "of": c.all,
			"share": float64(c.fixed) / float64(c.all), "low": low, "high": high})
	}
	if len(want) < 35 {
		t.Fatalf("only %d categories", len(want))
	}
	var got []row
	for _, r := range ask(t, repairShop(t), app.Asking{Question: "outcomes", By: "kind"}).Rows {
		if r["outcome"] == "repaired" {
			got = append(got, r)
		}
	}
	sameRows(t, "repaired by kind", got, want, "group")
	checkTwoKinds(t, got)
}

// checkTwoKinds has counts by the file as above; the limits were worked out from
// them beforehand, apart from the program and from the oracle.
func checkTwoKinds(t *testing.T, rows []row) {
	t.Helper()
	for _, w := range []struct {
		kind      string
		x, n      float64
		low, high float64
	}{{"hi-fi-separates", 83, 109, 0.6734301, 0.8317034}, {"portable-radio", 41, 81, 0.3995079, 0.6122788}} {
		i := slices.IndexFunc(rows, func(r row) bool { return r["group"] == w.kind && r["outcome"] == "repaired" })
		if i < 0 {
			t.Errorf("no row for %s", w.kind)
			continue
		}
		equal(t, w.kind+" repaired", rows[i]["visits"].(float64), w.x)
		equal(t, w.kind, rows[i]["of"].(float64), w.n)
		for column, limit := range map[string]float64{"low": w.low, "high": w.high} {
			if got := rows[i][column].(float64); math.Abs(got-limit) > 1e-6 {
				t.Errorf("%s %s: got %.7f, want %.7f", w.kind, column, got, limit)
			}
		}
	}
}
