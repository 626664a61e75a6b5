// Package nearby lets benches of one shop find each other's exchange on the
// local network, so that nobody has to read an address from one laptop's
// screen and type it into another. It is a help and never the only way: where
// a network keeps its laptops apart, or a machine has no route to the others,
// it finds nothing, and a typed address does what it did before.
//
// It is multicast DNS (RFC 6762) with service discovery over it (RFC 6763).
// Multicast DNS stays on the wire or in the air around a machine: no router
// carries it on.
//
// # What a host shows
//
// Advertise answers questions for Service until it is closed, on every network
// this machine stands in, also on those it comes to later. The answer is an
// address, a port and these texts; they are part of the format:
//
//	txtvers=1        the version of all below (RFC 6763, section 6.7)
//	tag=xxxxxxxx     the first 8 characters of the shop's tag (segment.Tag)
//	pin=xx...xx      the first 16 bytes of the exchange's pin, in base 32 with
//	                 lower-case letters: 26 characters
//
// The tag tells shops apart and names none, and the machine's own name is not
// told either: the host is called after its pin. Whoever is on the network
// does learn that an exchange is there, and knows it again another day.
//
// # What a finder gets
//
// Look asks for a second and a half and gives addresses that showed a wanted
// pin. Anybody on the network can answer anything, so what it gives is only a
// hint of where to try: the connection is made to the key that the pin names
// or not at all, and a liar wins nothing but a try (P10, F25). Three things
// limit what he can cost. Of each network at most MaxAnswers answers are
// looked at, and at most MaxFound addresses given in all. Texts longer than their limits are not read.
// And an address must lie in the network that was asked, so that nobody can
// send a bench knocking at hosts elsewhere.
//
// # What it does not do
//
// Of IPv6 it shows and takes addresses that stay in the house or on the wire, and
// none that the world can reach; where a network has IPv4 as well, only that
// carries questions and answers. It does not see who answers first; a flood of lies can
// hide the one true answer. While it asks, which takes a second and a half
// whatever comes, the library under it keeps what it hears. It finds nothing on
// a machine without a default route, nor where the network keeps its laptops
// apart. It does not look whether another program answers under the same name.
//
// # Neighbours
//
// It knows the tag of package segment and nothing of exchanges: who asks says
// which pins it wants, and what to do with an address.
package nearby
