package replicate

import (
	"oldhand/events"
	"oldhand/events/eventlog"
)

// Input is something that happened.
type Input interface{ input() }

// Met is that an exchange answers, and what is remembered of that epoch of it.
type Met struct {
	Epoch string
	Read  uint64 // the last message that was read of it
	Spots map[eventlog.Branch]Spot
}

// Parted is that the exchange no longer answers: nothing is on its way any more.
type Parted struct{}

// Grew is how far branches of feeds go in the log here.
type Grew struct{ Branches []eventlog.Reach }

// Passed is that a message of the exchange was read and dealt with. Along says
// what it holds, by branch, where that is in the log here; it is empty where not.
type Passed struct {
	Epoch   string
	Message uint64
	Feed    events.FeedID
	Along   []eventlog.Stretch
}

// Level is that the messages which the exchange had when it was met have passed.
type Level struct{}

// Posted is that a message was stored.
type Posted struct {
	eventlog.Branch
	Message uint64
	First   uint64
	Head    events.Head
}

// Failed is that a message was not stored, or that it is not known.
type Failed struct {
	eventlog.Branch
	Why Failure
}

// Failure is why.
type Failure uint8

// The failures.
const (
	Behind   Failure = iota + 1 // the feed ends elsewhere there
	Busy                        // another message of the feed is on its way
	Unclear                     // it may have been stored
	Full                        // the exchange takes nothing more
	TooLarge                    // it can't be one message
	Unproven                    // no signed head covers it
	Forked                      // what is known there does not lead to what is here
	Offline                     // there is no connection
)

// Found is the last message of a feed, as asked for. Message is zero where there
// is none; Along is empty where what it holds is not in the log here.
type Found struct {
	Feed    events.FeedID
	Message uint64
	Along   []eventlog.Stretch
}

// Tick is that time has passed.
type Tick struct{}

func (Met) input()    {}
func (Parted) input() {}
func (Grew) input()   {}
func (Passed) input() {}
func (Level) input()  {}
func (Posted) input() {}
func (Failed) input() {}
func (Found) input()  {}
func (Tick) input()   {}

// Effect is something to do.
type Effect interface{ effect() }

// Post is to give the exchange the next events of a branch, behind the event
// After, whose hash must be Prev here too, as the message that follows Expect.
type Post struct {
	eventlog.Branch
	After  uint64
	Prev   events.Hash
	Expect uint64
}

// Ask is to ask for the last message of a feed, before a branch of it is given.
type Ask struct{ eventlog.Branch }

// Wake is to step again at a time, in milliseconds.
type Wake struct{ At int64 }

func (Post) effect() {}
func (Ask) effect()  {}
func (Wake) effect() {}
