// Package demo tells an invented shop: three benches that repair wired
// music-and-intercom stations, table radios, receivers, tuners and phono
// amplifiers for 29 years, up to a fixed day. It is what `oldhand demo` opens
// and what the benchmarks take as their corpus. Makers, models, people, places
// and how often what fails are made up; nothing comes from a real shop.
//
// # Using it
//
// New prepares a story, Actions tells it: one action after the other in the
// order of recording, each what one person saved at once on one feed, its
// events already linked. Keys go beside the log, Heads are for who wants to
// hand the feeds on. Equal seeds and equal numbers of units tell the same story
// to the byte, on every machine: chance comes from one PCG, arithmetic is done
// on integers, no map is ranged over, and the last day is a constant. A change
// of this package may change the story, since nobody keeps a log of it.
//
// A story of a million units takes little more memory than one of two hundred.
// A unit is made when it comes in and forgotten when it has left, unless it will
// come again; all that is held is a queue of what is due (queue.go).
//
// # What is in it
//
// A visit has 11 to 12 events on average, spread over five or six actions:
// received; looked at, with readings as found and one to three faults; an
// estimate and its answer, or not; a wait for parts or a donor, or not;
// repaired; tested, with readings as left, and since June 2026 by the test
// sheets that the shop took then (bysheet.go); shipped. A unit comes 1.25 times on
// average, 3 to 4 of a hundred repairs are back within 90 days, and half of the
// visits last three weeks or less. Some families of sets are weak in some years
// (models.go), which the answers by year made and by model must show. About
// fifteen units of two thousand stand on the benches when the story ends.
//
// # What to look at
//
// Sights lists what every story has once, whatever its seed and size, with the
// maker, model and serial of the unit to look up: a correction; a conflict, and
// one that was settled; a withdrawn entry; a unit entered twice and joined; two
// joined and parted; a mistyped serial that nobody joined; a come-back; a unit
// that came six times; a laptop restored from its backup (bench 2, two feeds
// with one parent); a clock that was three years ahead for an afternoon (bench
// 3, 2019-06-11); a visit without an end although the unit came again; entries
// that only a newer program can read; a photograph; and one unit for each of
// the four waits, the one for a donor on the bench for over a year.
//
// # What it leaves out
//
// No person is forgotten, no bench is retired and no row is imported: these are
// things to try on it. The file behind the photograph is not there, only its
// hash. The rules of a draft are not checked while the story is told, because
// that doubles its time; the tests check them on every event.
package demo
