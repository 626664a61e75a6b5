// Package cluster is for who runs servers on which the benches of many shops meet.
// It writes what those servers are started with, and reads what a shop hands over
// to be let in. It starts nothing itself: the servers are NATS servers with
// JetStream, version 2.15 or later, on machines of somebody's own.
//
// # What is written
//
// New lays a folder: a plan (cluster.json), from which all else follows, a signer of
// certificates, and a folder for each server. In that one lie
//
//	server.conf   how a server runs; the same on each, kept in this package as it is
//	place.conf    in what it differs: name, addresses, files, disk
//	shops.conf    one account for each shop; the only one that changes
//	server.pem    its certificate, of the folder's signer; and its key, server.key
//	ca.pem        the signer, by which benches and the other servers know it
//
// Let puts a shop's benches into the plan, Save writes shops.conf anew. It is then
// brought to the servers, which are told to read it again; nobody who stays is cut off.
//
// # What keeps shops apart
//
// Each shop has an account of its own, which neither imports nor exports: the same
// subject in two accounts is two subjects, so no bench can even name what another
// shop has. Within its account a bench may do what exchange.Account says. An account
// has limits of disk, streams, readings and connections, so that one that is full, by
// mistake or on purpose, takes nothing from the others but the servers' time: the
// servers do not share their time out by account.
//
// What a shop hands over names keys and nothing else, and comes as text that is read
// word by word (ReadBenches): were it a piece of settings, a stranger could write
// himself a larger account, or into another's.
//
// # What this does not do
//
// It does not know whether who hands over a list is the shop: a tag is no secret.
// Let says which keys come and go, and who runs the cluster asks the shop. A stranger
// who was let in for a shop's tag could read nothing and forge nothing, by what
// package exchange says of who runs an exchange, but could fill the shop's disk.
//
// The plan may promise more disk than the servers have; Promised tells how much.
// Certificates end after CertLife; a bench whose clock is years off can't tell one
// that is good. A shop that is ended keeps its streams until they are taken away by hand.
package cluster
