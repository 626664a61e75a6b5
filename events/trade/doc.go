// Package trade holds the words of the bench: which components fail, in which
// way, in which kinds of set, what is done to them and how a visit ends. It is
// the one place where a word that somebody typed becomes an id that can be
// counted.
//
// There are two halves. The tables (Classes, Modes, Causes, Certainties, Sets,
// Outcomes, Works, Letters) are ordered slices of rows with a text id. An id
// stands in stored facts, so it never changes its meaning and is never taken
// away; rows are only added. A name may be bettered at any time, because a name
// is only shown. Four short lists instead of one long one: a capacitor that is
// leaky and a capacitor that is open share a class, two components that crack
// share a mode, and either can be asked about alone.
//
// The readers (Read, ReadPart, ReadParts, ReadWork, ReadSet, ReadOutcome) turn
// free text from an old book or an entry form into those ids. They look words
// up and never measure likeness: a text that no phrase fits comes back as text,
// with empty ids. Losing a count is cheap, since the text is still there for a
// better table to read later; a wrong count looks just like a right one.
//
// # How a finding is read
//
// The text is cut into words, each word is put into one spelling ("xfmr",
// "trafo" and "transformers" are one word), and two sets of phrases are laid
// over the words: those that name a component and those that name a failure
// mode. Where several components are named, the first is the subject, because
// what follows is nearly always a symptom or a place ("Q8 shorted, L speaker
// dead", "cracked joint at P2"); but in a run of nouns the last is the thing
// ("volume control switch" is a switch). A designator such as C14 suggests its
// class by its letters where no word beside it says better. Where several
// modes are named, those usual for the component come first ("FM weak,
// alignment off" is about the alignment).
//
// What the readers do not know: values and ratings (a part's marking is handed
// on as typed), languages other than English, and what a shop adds to the
// tables for itself.
//
// The package imports nothing of ours.
package trade
