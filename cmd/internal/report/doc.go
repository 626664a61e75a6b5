// Package report is the service record: the paper that goes into the box with a
// set that was mended, for an owner far away. It says what came in, what was
// found and done, what was read before and after, what the last test said, what
// was left out, and how to live with an old set.
//
// A Record is finished: package app fills it from a unit's past, and nothing is
// looked up or worked out here. Text prints it for a terminal, PDF on paper, and
// the page of package web draws the same value. So the three can't say different
// things.
//
// # Two sheets
//
// A record is one sheet, or two where the visit was long. What an owner must have
// is always whole: the set, the complaint's beginning, the verdict, warranty and
// charge, cautions. Where more is left than two sheets hold, texts are cut to some
// lines, and then every list to the same number of entries, as large as fits; each
// list says how many it leaves out, and the sheet says where all of it is. Nothing
// goes missing in silence.
//
// # What is not on it
//
// No other customer, and of this one no more than the name, unless contact data
// was asked for. Notes of the shop are for the shop, and are on it only if they
// were asked for. What was taken back is not shown, of what was corrected the
// version that stands; both are counted. Signs that the fonts lack are counted
// where they stood and said at the end (package paper).
//
// A record never says that a set is safe.
package report
