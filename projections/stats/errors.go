package stats

import (
	"errors"
	"fmt"
)

// ErrNoCases is returned when there is nothing at all to estimate from.
var ErrNoCases = errors.New("no cases")

// ErrNothingCompared is returned when groups were never watched side by side
// at the time of an event, so that no difference between them can show.
var ErrNothingCompared = errors.New("the groups have no events while both were watched")

// PastLastError is returned when a value is asked for at a time at which
// nobody was watched any more and the curve was still open.
type PastLastError struct{ Asked, Last int }

func (e *PastLastError) Error() string {
	return fmt.Sprintf("value at day %d: the last observation is of day %d and was still open", e.Asked, e.Last)
}

// TooFewError is returned when there is something to go by, but too little for
// a verdict.
type TooFewError struct {
	What       string
	Have, Need int
}

func (e *TooFewError) Error() string {
	return fmt.Sprintf("%d %s: at least %d are needed", e.Have, e.What, e.Need)
}
