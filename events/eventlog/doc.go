// Package eventlog keeps a shop's events on one bench's disk, in Pebble.
//
// What it promises, by the numbers of package events: what Append said is
// saved is in the log after any crash (P1); what is not on disk is neither
// said to be saved nor shown to any reader (P2); an action is there whole or
// not at all, and a feed has no holes (P3); no two events of one feed share a
// number (P6); with the disk full or only readable, reading goes on and
// writing says why it does not (P13).
//
// An action is made by Append: its function adds events, reads and changes
// views, and all of that becomes one synced batch. Many callers share a sync
// (see append.go). Readers take a View, which is the log after one commit. An
// action with thousands of keys, as when a bench joins, and all views when they
// are made anew are written into sorted tables in the store's folder "making", and
// the store takes those in, all or none (tables.go, bulk.go). What a crash leaves
// there counts for nothing and goes with the next that is written so.
//
// # Keys
//
// The first byte is the family. Numbers are big endian, so that keys sort.
//
//	b feed(4)            -> feed(4) seq(8) hash(32) root(32)   that a feed's row is a branch: which row's event it leaves, and its first (branches.go)
//	c feed(4)            -> seq(8)                 how far a branch of a retired bench's feed counts (cuts.go)
//	e feed(4) seq(8)     -> record                 an event; feed is a number of this store
//	e feed(4) seq(8)     -> hash(32) record        one whose number 16 divides; in format 1 and 2, each
//	f feed(4)            -> bench(32) run(16) seq(8) hash(32)   how far a feed goes here, or a branch of it
//	s feed(4)            -> as f, then signature(64), number(8) of the kept head before, bytes(8) since
//	s feed(4) seq(8)     -> as f, then signature(64)   a signed head before the last (signed.go)
//	u subject(16)        -> (feed, seq) pairs, varints   where a unit's or person's events are
//	k person(16)         -> key(32)                the keyring, never chained (keyring.go)
//	k person(16)         -> order(64)              or that the person stays forgotten: an owner's signature (scour.go)
//	n name               -> value                  format, shop, clock, own feed, version of the views, counters
//	v ...                -> ...                    views of the projections, which own what follows the v
//	x ...                -> ...                    what sync remembers of exchanges, and, behind an f, which forms of the page were saved
//
// A store is made in format 3. One from before is of format 1 until it has a branch,
// and then of format 2. It is read and written in its own form, which programs from
// before go on with, until its views are made anew: that brings it to format 3, which
// they refuse (spread.go).
//
// The hash of an event follows from the one before and its record, and is kept with
// every sixteenth event only. Those between are read and checked together, and one
// wrong bit makes all of them unreadable (groups.go).
//
// All but v is the truth of this bench or is needed to go on with it; v can be
// thrown away and written anew (Rewrite).
//
// # Feeds
//
// A bench does not go on with one feed for ever. Each start of the machine,
// and each time the store is not what the witness outside it remembers, the
// first event written begins a new feed under a random name, which says where
// the bench stood: at the last of its own events here, whoever brought it
// (begin.go). So a laptop put back to last month's copy writes a new branch and
// never a second event under an old number, and its counters jump past what the
// other life may have counted; if that life comes back first, what is written
// goes on behind it. What the rule can't see is a running machine whose memory
// is rolled back; that is found when its feed meets what others have of it, and
// the bench leaves that feed at once.
//
// The feed has branches then: two events under one number, or two ways on behind
// one event. All are kept, count and are passed on alike. A branch has a row of
// its own in the table of feeds, from where it leaves another, and its events
// keep their numbers, hashes and bytes. Which branch came first, and so is what
// Heads, Feed and Run give, differs from bench to bench; Branches gives all.
//
// # What goes wrong
//
// See faults.go. A handle that failed to write is dead (ErrDead): nothing is
// retried on it, the program closes, and opening again reads what is there.
package eventlog
