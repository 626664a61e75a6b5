package app

import (
	"strconv"
	"strings"
)

// newerProgram reports whether a program's name and version, as a feed's first
// event says them, are of a later version of the same program than another's.
// Versions are numbers with points between, and what can't be read is not newer.
func newerProgram(theirs, ours string) bool {
	name, version, ok := strings.Cut(theirs, " ")
	ourName, ourVersion, fine := strings.Cut(ours, " ")
	if !ok || !fine || name != ourName {
		return false
	}
	a, b := strings.Split(version, "."), strings.Split(ourVersion, ".")
	for i := range max(len(a), len(b)) {
		x, okX := numberAt(a, i)
		y, okY := numberAt(b, i)
		if !okX || !okY || x != y {
			return okX && okY && x > y
		}
	}
	return false
}

// numberAt is a part of a version; those that are not said are zero.
func numberAt(parts []string, i int) (int, bool) {
	if i >= len(parts) {
		return 0, true
	}
	n, err := strconv.Atoi(parts[i])
	return n, err == nil
}
