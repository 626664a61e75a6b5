// Package measure reads what people type and print about electrical things: the
// value of a part, the reading of a meter, a spot on a dial, a date stamped on
// a can. It imports nothing of ours and holds no state.
//
// # What was typed comes first
//
// A Value keeps the text as typed, to the last space, beside what was read from
// it: an integer times a power of ten in a base unit, named by its UCUM code.
// No float is stored anywhere; Float is there for drawing. `47 MMF`, `47pF` and
// `47 uuF` are the same 47 x 10^-12 F, and Canonical writes all three as
// `47 pF`, so parts that were typed by three people in thirty years can be
// counted together while each keeps its own words.
//
// # Three degrees of sure
//
// A text has one sound reading: Parse gives it. It has one likely reading and a
// known trap (`2.2 M ohm`, where some old diagrams mean thousand by M): Parse
// gives it and says so in Doubt. Two readings are both real (`1,000 ohm`, a bare
// `250` on a capacitor, `10K` on a capacitor): Parse gives an *Ambiguous that
// lists them, and a person chooses. Nothing is settled by guessing, because a
// wrong guess is off by a thousand and looks as tidy as a right one.
//
// A comma follows the same rule. `0,047 uF` and `4,7 uF` can only be decimals and
// `1,000,000` only a million; `1,000` is ambiguous on purpose. A shop that always
// means a thousand loses one keystroke; a book that came from elsewhere and was
// read wrong would poison every later count.
//
// # The table of kinds
//
// Kinds is the list of things that are measured on a set, one row each. Entry
// forms, checks, charts and export range over it: one more row is one more kind.
// A range in it warns. It never refuses a reading and never changes one, since
// the surprising reading is often the one that finds the fault.
//
// # Sums that a person finishes
//
// Several readings say more than one, and never the last word. Codes bound the day
// a set was built from below and propose a year (BuiltNoEarlierThan), which stands
// behind any year that somebody stated. A dial's readings tell one error everywhere
// from a dial that does not track (Raster.FitDial), as far as the stations are known.
// Thresholds of levels (LevelRules) are the trade's, with no source, and can be
// replaced by a shop's own.
//
// # Limits
//
// ReadLimits reads what a reading is held against as it is typed ("62 to 88 mV",
// "at most 0.5 mA", "within 3 dB of AM"), and Limits.Judge holds a reading
// against it by whole numbers: a reading at a limit is within, in whatever units
// the two were typed, and a level in dB that lies nearer to its limit than
// floating point can tell is settled by powers. What can't be compared is not
// judged and says why; it is never taken for within.
//
// # Nothing here declares a set safe
//
// The functions about touch current, leakage and stored charge turn one number
// into another. None returns a verdict, and a caller must not make one of them:
// limits differ between makers and belong beside the reading, and a meter on the
// part in hand outranks any arithmetic.
//
// Sources are named where they are used. "Common practice, no source" marks what
// the trade does without a text to point to, "from memory" what was not looked
// up again.
package measure
