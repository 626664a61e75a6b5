package app

import (
	"errors"
	"net/http"

	"oldhand/cmd/internal/photo"
	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/evidence"
	"oldhand/projections"
)

// Class is a sort of error as the outside sees it: the exit code of a command,
// the status of a page, and what the page says above the error's own words.
type Class struct {
	Exit, Status int
	Title        string
}

// Exit codes. They are in the command line's help and never change.
const (
	ExitDone     = 0
	ExitFailed   = 1
	ExitMisused  = 2
	ExitUnclear  = 3
	ExitNotSaved = 4
	ExitDamaged  = 5
)

// ErrNotSound is returned when a check finds what it looked for.
var ErrNotSound = errors.New("the check found damage")

// classes is the one table from what happened to what the outside sees. The
// first row that fits counts.
var classes = []struct {
	is func(error) bool
	Class
}{
	{of[*Unclear], Class{ExitUnclear, http.StatusNotFound, "Which unit?"}},
	{anyOf(eventlog.ErrDamaged, ErrNotSound, evidence.ErrDamaged), Class{ExitDamaged, http.StatusInternalServerError, "Damage was found"}},
	{anyOf(eventlog.ErrReadOnly, eventlog.ErrDead, eventlog.ErrDiskFull, evidence.ErrFull), Class{ExitNotSaved, http.StatusServiceUnavailable, "Not saved"}},
	{anyOf(eventlog.ErrInUse, eventlog.ErrClosed), Class{ExitFailed, http.StatusServiceUnavailable, "The shop's folder is busy"}},
	{of[*NoQuestion], Class{ExitFailed, http.StatusNotFound, "No such question"}},
	{of[*projections.NothingBehind], Class{ExitFailed, http.StatusNotFound, "No units behind this"}},
	{of[*NoModel], Class{ExitUnclear, http.StatusNotFound, "No such model here"}},
	{of[*NoShop], Class{ExitFailed, http.StatusNotFound, "No shop here yet"}},
	{of[*HasShop], Class{ExitFailed, http.StatusConflict, "There is a shop already"}},
	{of[*NotAllowed], Class{ExitFailed, http.StatusForbidden, "Not from this device"}},
	{of[*NotHere], Class{ExitFailed, http.StatusConflict, "That does not go now"}},
	{of[*Twice], Class{ExitFailed, http.StatusConflict, "That was saved already"}},
	{of[*PhotosBusy], Class{ExitFailed, http.StatusConflict, "The folder for photos is busy"}},
	{of[*NotPassed], Class{ExitFailed, http.StatusUnprocessableEntity, "It has not passed"}},
	{of[*Wrong], Class{ExitFailed, http.StatusUnprocessableEntity, "Something can't be taken as it is"}},
	{anyOf(evidence.ErrNotHere), Class{ExitFailed, http.StatusNotFound, "It is not at this bench"}},
	{of[*NoView], Class{ExitFailed, http.StatusNotFound, "There is no picture of it"}},
	{anyOf(photo.ErrTooLarge, photo.ErrUnreadable), Class{ExitFailed, http.StatusUnprocessableEntity, "The picture can't be shown"}},
	{of[*events.Invalid], Class{ExitFailed, http.StatusUnprocessableEntity, "Something can't be taken as it is"}},
	{anyOf(events.ErrTooLarge), Class{ExitFailed, http.StatusRequestEntityTooLarge, "Too much at once"}},
	{of[*http.MaxBytesError], Class{ExitFailed, http.StatusRequestEntityTooLarge, "Too much at once"}},
	{of[*NotWhole], Class{ExitFailed, http.StatusUnprocessableEntity, "The file is not whole"}},
	{of[*PlacesLost], Class{ExitFailed, http.StatusConflict, "No place to meet is known"}},
	{of[*NoExchange], Class{ExitFailed, http.StatusConflict, "No place to meet is known"}},
	{of[Unmet], Class{ExitFailed, http.StatusBadGateway, "The others were not met"}},
}

func of[E error](err error) bool {
	var e E
	return errors.As(err, &e)
}

func anyOf(which ...error) func(error) bool {
	return func(err error) bool {
		for _, w := range which {
			if errors.Is(err, w) {
				return true
			}
		}
		return false
	}
}

// ClassOf sorts an error. None at all is done.
func ClassOf(err error) Class {
	if err == nil {
		return Class{ExitDone, http.StatusOK, ""}
	}
	for _, row := range classes {
		if row.is(err) {
			return row.Class
		}
	}
	return Class{ExitFailed, http.StatusInternalServerError, "Something went wrong"}
}

// HintFor is what to do next, where that can be said.
func HintFor(err error) string {
	var invalid *events.Invalid
	var unmet Unmet
	var places *PlacesLost
	switch {
	case errors.Is(err, eventlog.ErrDead):
		return "nothing more is written in this state; run the command again: it reads what is really on the disk"
	case errors.Is(err, eventlog.ErrDiskFull), errors.Is(err, evidence.ErrFull):
		return "free some space and try again; looking things up and export work meanwhile"
	case errors.Is(err, eventlog.ErrInUse):
		return "another oldhand has this folder open; let it finish, or close it"
	case errors.Is(err, eventlog.ErrDamaged):
		return "keep the folder as it is; read an export or a copy of another bench into a new folder with: oldhand import FILE --shop NEW"
	case errors.As(err, &invalid):
		return "nothing was saved"
	case errors.As(err, new(*NoShop)):
		return "a code comes from oldhand invite, at the bench with the owner's key while it hosts (oldhand host); a bundle lets nobody in"
	case errors.As(err, new(*NotWhole)):
		return "copy it again and read it once more; what is here already is not taken twice"
	case errors.As(err, &unmet):
		return unmet.Next()
	case errors.As(err, &places):
		return placesHelp
	case errors.As(err, new(*Torn)):
		return tornHelp
	}
	return ""
}
