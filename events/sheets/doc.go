// Package sheets is what a test sheet is for: which of its checks are made on a
// unit, what came of each, and whether a set may be said to have passed. It
// works on facts that are handed to it and keeps nothing.
//
// # Which reading is a check's
//
// What was read is not said twice: a final test names its sheet, and the readings
// stand in the visit. Hold puts the two together. A check takes the last reading
// of the visit at its point and stage, by its kind of measurement; so a reading
// that was corrected counts as corrected, and one that was taken before anybody
// opened the sheet counts too. A check without a point is read at what its label
// says. Limits that are relative to a point take the reading of the check at that
// point.
//
// # The verdict
//
// A set passed when every check was made and is within its limits (Lacks). A
// check that was left out needs words that say why; so does one that failed, or
// that can't be judged, where the set is to pass all the same. A check without
// limits is a reading that is wanted and held against nothing.
//
// One thing no words help against: a hot check or a touch current that was over
// its limit when last read (StillOver). Only a later reading at the same point
// lifts that, and it has to be within every limit that was used there: a second
// reading beside a laxer limit is not a better set. What was read before the work
// does not count, and a reading of which nobody said when it was taken does.
//
// # Nothing here declares a set safe
//
// The rule can withhold a word. It has no word to give: a set of which all
// readings are within somebody's limits is one of which that was read.
//
// # Good sheets
//
// Good (good.go) is a table of sheets for the usual kinds of set, for a shop to
// take and change. Each limit names its source, or says that it is common
// practice without one. None is taken from a maker's or a product's papers.
package sheets
