package replicate

// LetLead has so many events gone through before a segment is asked whether it counts,
// and gives what puts the number back.
func LetLead(events int) (back func()) {
	was := mostLed
	mostLed = events
	return func() { mostLed = was }
}
