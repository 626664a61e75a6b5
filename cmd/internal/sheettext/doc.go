// Package sheettext is a test sheet as text: easy to edit, and read back to the
// same. It is TOML, so that an editor colours it and a slip is told with its line.
//
//	name = "table radio"
//	kind = "table-radio"
//
//	[[check]]
//	label = "level on AM"
//	point = "AM"
//	measure = "audio-level-am"
//
//	[[check]]
//	label = "FM about as loud as AM"
//	point = "FM"
//	measure = "audio-level-fm"
//	limits = "within 6 dB of AM"
//	only-where = "FM"
//
// A sheet is for a kind of set, or for a maker and model. Limits are one text, in
// any form that package measure reads, and are written in one of them; so what
// Write wrote, Read reads and Write writes again to the byte. A key that means
// nothing here is refused: a misspelt one would be a check without limits.
package sheettext
