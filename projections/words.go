package projections

import "strings"

// spokenFault is a fault in words.
func spokenFault(f fault) string {
	return strings.ReplaceAll(strings.TrimSpace(f.component+" "+f.mode), "-", " ")
}
