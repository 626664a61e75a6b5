package exchange

import "errors"

// Errors of meeting an exchange.
var (
	// ErrWrongPin is returned when what answers at the address does not have
	// the key that the pin names.
	ErrWrongPin = errors.New("not the exchange that was pinned")

	// ErrNoPin is returned when a connection would have to trust whatever answers.
	ErrNoPin = errors.New("no pin to know the exchange by")

	// ErrNotAdmitted is returned when the exchange does not let this key in.
	ErrNotAdmitted = errors.New("this key is not let in")

	// ErrOffline is returned when there is no connection: nothing was sent.
	ErrOffline = errors.New("no connection to the exchange")

	// ErrClosed is returned after Close.
	ErrClosed = errors.New("the exchange is closed")

	// ErrNoStream is returned when the exchange holds nothing for this shop
	// and this bench may not make it.
	ErrNoStream = errors.New("the exchange has no place for this shop")
)

// Errors of publishing.
var (
	// ErrBehind is returned when the feed does not end where the publisher
	// thought: somebody wrote. Read back and compare.
	ErrBehind = errors.New("the feed ends elsewhere")

	// ErrBusy is returned when another message of the same feed is on its way.
	// Wait, then read back.
	ErrBusy = errors.New("another message of this feed is on its way")

	// ErrUnknown is returned when the message may or may not have been stored:
	// the answer did not come, or the connection was cut. Read back with Last
	// before anything else is published on the feed.
	ErrUnknown = errors.New("not known whether it was stored")

	// ErrFull is returned when the exchange takes no more: nothing was stored.
	ErrFull = errors.New("the exchange is full")

	// ErrTooLarge is returned when a payload passes its limit: nothing was sent.
	ErrTooLarge = errors.New("too large")
)

// ErrInUse is returned when another program hosts an exchange in the folder.
var ErrInUse = errors.New("in use by another program")

// ErrRefused is returned to a guest whose request the host did not take.
var ErrRefused = errors.New("refused")
