package port

import (
	"errors"
	"fmt"
)

// Why a port cannot be opened: three causes, three different things to do.
var (
	ErrPermission = errors.New("permission denied")
	ErrNotFound   = errors.New("not there")
	ErrBusy       = errors.New("busy")
)

// OpenError is a port that could not be opened, with what to do about it.
type OpenError struct {
	Port  string
	Cause error  // wraps one of ErrPermission, ErrNotFound, ErrBusy, if it is one of them
	Hint  string // what to do next
}

// Error says what failed, why, and what to do next.
func (e *OpenError) Error() string {
	s := fmt.Sprintf("open %s: %v", e.Port, e.Cause)
	if e.Hint != "" {
		s += ": " + e.Hint
	}
	return s
}

// Unwrap returns the cause.
func (e *OpenError) Unwrap() error { return e.Cause }

// ErrPulled is a port that is no more.
var ErrPulled = errors.New("the port is gone")
