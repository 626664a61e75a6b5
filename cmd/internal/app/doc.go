// Package app is the one object behind the command line and the page: a shop's
// data folder, opened, and everything that can be done with it.
//
// A data folder holds
//
//	shop.json        whose it is: the shop, the bench, the bench's number
//	keys/bench.key   the bench's secret key, readable by its owner only
//	keys/owner.key   the shop owner's secret key, on the bench that founded it
//	drafts/          what was typed on the page and is not saved (unsent.go)
//	store/           the log and what follows from it (package eventlog)
//	evidence/        photos and recordings, by their hash (package evidence)
//	backups.json     the last backup, and the last that was tried out (backupkept.go)
//	scrub.json       when everything was read last, and where that goes on (scrubkept.go)
//
// The witness of what was last saved is kept outside of it, in the platform's
// place for a program's state, so that a folder put back from a copy is found
// out (see package eventlog).
//
// A service record (servicerecord.go) is filled here from a unit's past and printed by
// package report; tags (tags.go) are drawn by package tags. What a scanner reads off a
// tag names its unit wherever one is named (Scanned).
//
// How a folder stands is said by Doctor, a list of looks; Scrubs reads everything that
// is kept once a week while the folder is served, slowly.
//
// Where the benches meet is noted in exchanges.json: by a pin, or for servers that
// somebody runs for several shops by who signs their certificates (cluster.go). The files
// of such servers are in no shop's folder; the functions for them need none.
//
// Each action of a person is one method that makes one batch of events. What
// it checks, it checks while no other action is made. Errors that a person can
// act on are types of this package; tell.go in package cli says them.
package app
