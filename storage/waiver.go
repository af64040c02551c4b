package storage

import (
	"time"
	"unicode/utf8"
)

// Waiver says that somebody takes an open point of the list before metal is
// cut on themselves; for a second person's look, that they had it.
type Waiver struct {
	Item string    `json:"item"` // of the list
	By   string    `json:"by"`
	Why  string    `json:"why"`
	At   time.Time `json:"at"`
}

// mostWaivers bounds what is kept: one for each point.
const mostWaivers = 32

func (e Engine) checkWaivers(bad func(field, format string, args ...any) error) error {
	if len(e.Waived) > mostWaivers {
		return bad("waived", "holds %d points; at most %d are kept", len(e.Waived), mostWaivers)
	}
	for _, w := range e.Waived {
		if w.Item == "" || w.By == "" || w.Why == "" {
			return bad("waived", "must say of each point its item, who (by) and why")
		}
		if utf8.RuneCountInString(w.By+w.Why) > 2000 {
			return bad("waived", "says more than 2000 letters of %s", w.Item)
		}
		if err := checkText(bad, "waived", w.By+w.Why); err != nil {
			return err
		}
	}
	return nil
}
