package sheet

import (
	"encoding/json"
	"fmt"
	"slices"
)

var curveHeading = []string{"group", "day", "share", "low", "high", "at risk"}

// curvesOf are the steps of all curves, one line each. The group is the row's
// first text: its own group, or which fault the curve is of.
func curvesOf(rows []any) ([][]cell, error) {
	var lines [][]cell
	for i, row := range rows {
		b, err := json.Marshal(row)
		if err != nil {
			return nil, fmt.Errorf("row %d: %w", i+1, err)
		}
		group, steps, err := stepsOf(b)
		if err != nil {
			return nil, fmt.Errorf("row %d: steps: %w", i+1, err)
		}
		for _, s := range steps {
			lines = append(lines, append([]cell{word(group)}, s...))
		}
	}
	return lines, nil
}

func stepsOf(object []byte) (group string, steps [][]cell, err error) {
	named := false
	err = eachPair(object, func(key string, raw json.RawMessage) error {
		if !named && raw[0] == '"' {
			named = true
			return json.Unmarshal(raw, &group)
		}
		if key != "steps" {
			return nil
		}
		var numbers [][]json.Number
		if err := json.Unmarshal(raw, &numbers); err != nil {
			return err
		}
		for _, n := range numbers {
			line, err := stepLine(n)
			if err != nil {
				return err
			}
			steps = append(steps, line)
		}
		return nil
	})
	return group, steps, err
}

// stepLine is a step in the order of its heading. A limit of -1 is one that is
// not defined there.
func stepLine(numbers []json.Number) ([]cell, error) {
	if len(numbers) != len(curveHeading)-1 {
		return nil, fmt.Errorf("a step of %d numbers, want %v", len(numbers), curveHeading[1:])
	}
	line := make([]cell, len(numbers))
	for i, n := range numbers {
		line[i] = cell{n.String(), true}
		if n == "-1" && slices.Contains([]string{"low", "high"}, curveHeading[i+1]) {
			line[i] = cell{}
		}
	}
	return line, nil
}
