// Package stats turns counts of what happened on a bench into estimates that
// say how far they can be trusted. It works on plain numbers and knows nothing
// of units, visits or events, so that every figure in it can be held against
// published tables.
//
// # Which function answers which question
//
//	how long until a set comes back, with some still out     KaplanMeier, Curve; DailyCurve of lists by day
//	do two makers' sets come back at different speeds        LogRank
//	how many repairs a set has had by an age                 MeanCumulative; MeanAges where few ages are asked for
//	is this one set getting better or worse                  ReverseArrangements, GrowthTest, Laplace, PowerLaw
//	what share of sets has it, x of n                        Wilson; ClopperPearson, Jeffreys
//	how many a year, c in so many set-years                  Garwood, GarwoodRate
//	does a fault go with a batch                             FisherExact, ChiSquareTest, YatesTest
//	the same asked of forty models at once                   BenjaminiHochberg, Bonferroni
//	a rate for a model seen three times                      MomentFit, LikelihoodFit, Prior
//	how many models have not come in yet                     SightingsOf, Sightings
//	the middle and the edges of finished jobs                Quantile
//
// # Rules all of them keep
//
// Limits are two-sided and hold at a Level, 95 % where none is given. The name
// of a method is part of the answer: a Wilson limit and a Jeffreys limit of the
// same count differ, so whoever shows a limit names its kind.
//
// What is not defined is never a number. An estimate that may be missing comes
// with a bool, as a standard error does once a survival curve has reached zero;
// an estimate that can't be given at all comes as an error that says why. No
// function hands out NaN or an infinity.
//
// Survival curves are made from counts by day rather than from a list of
// cases, because counts are what a tally keeps: the work grows with the number
// of different days and not with the number of visits.
//
// # What these numbers do not protect against
//
// A shop sees the sets that are mailed in. Shares, rates and the number of
// unseen models are about such sets and never about all that exist. Counting a
// fault on forty models and testing the worst of them finds something by
// chance: correct for the forty. The trend tests take the repairs of one set
// as they come; a set that is repaired only when three faults have gathered
// looks better than it is.
package stats
