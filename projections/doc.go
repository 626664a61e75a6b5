// Package projections is what follows from the events of a shop: each unit's
// history, the tallies that fleet questions are answered from, and the words
// a unit is found by. All of it can be thrown away and comes out equal, to the
// byte, from the same set of events in any order (P5).
//
// # How an event becomes an answer
//
//	event -> unit -> its history before and after -> rows out, rows in -> tally -> answer
//
// revisions.go settles which version of a fact stands where facts were
// corrected or withdrawn. identity.go says which unit ids are one physical
// unit. history.go folds the standing facts of one unit, in order, into its
// visits. A question (question.go, questions.go) says which rows one history
// contributes; the engine takes out the rows of the history as it was and puts
// in the rows of the history as it is. A tally counts equal rows, so taking
// one out again is exact, and late, early, doubled, corrected and withdrawn
// events need no code of their own in any question.
//
// An answer must not cost more in a larger shop, nor where it is the first after a
// commit. So rows are of days, words and values, of which a shop has only so many,
// and hang on no day that somebody asks on; those that an answer reads by the
// thousand stand in blocks (tallyblocks.go), a key for many. What would have to be known
// of each unit by itself is known of what units have in common, where it can be: of
// those that were back, each return and each two (comebackrows.go).
//
// A question about some units or days, or a day in the past, has no tally that is kept. One
// is made of the histories concerned (concerned.go), on all processors where they are
// many (counting.go).
//
// A rebuild goes through the log once, in parts side by side (rebuild.go): it sorts all
// events by their units, through files where they don't fit into memory (sorting.go),
// folds each unit's on as many goroutines as there are processors (parcels.go), and
// writes the views in the order of their keys, so that the log can take them in whole.
// Units that were ever named as one are folded together in the end.
//
// # Keys
//
// Under the v of package eventlog:
//
//	h root(16)                    -> 1 history       of one joined unit
//	h member(16)                  -> 0 root(16)      where a unit id was joined to an older one
//	t question(1) row             -> count, varint   how often a row is contributed
//	t question(1) head            -> tails, counts   the same of all rows with that head: tallyblocks.go
//	o person(16) signature(64)    -> nothing         an order to forget a customer, for whoever can say whether an owner gave it
//	p person(16)                  -> event id(16) sealed text   latest that is known of a customer
//	g gram(3) root(16)            -> nothing         three letters of a serial, every second three
//	l class(1) text 0 root(16)    -> nothing         other ways to find a unit; classes in terms.go
//
// A lookup goes to many of these in turn, with one iterator and in their order: see
// places.go.
//
// # Order
//
// Facts of a unit are ordered by the day they happened on and, within it, by
// when they were recorded. Time of day takes no part: an old book has none,
// and an order of some by the clock and others by the day would have circles.
package projections
