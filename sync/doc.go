// Package sync is the room's sign: how benches come to hold the same events. It
// declares nothing, so that any file here can import the standard library's sync
// under its own name. From the bytes upwards:
//
//	seal       bytes packed, padded and sealed with the shop's key
//	segment    a run of one feed's events, ending at a signed head
//	bundle     segments in a file
//	exchange   a place where segments lie: hosted by a bench, or a cluster
//	cluster    what servers are started with on which many shops meet
//	nearby     where an exchange is, on the local network
//	roster     who belongs to the shop, which of their events count, its keys
//	replicate  what a bench does with a segment, and what it gives to whom
//	meet       the goroutine around that
//	benchtest  a whole shop with its faults from one seed, for tests
//
// An exchange and a bundle are two doors into replicate; neither is believed.
package sync
