package storage

import (
	"errors"
	"fmt"
	"strings"

	"lobescribe/device/measure"
)

// What can stand in the way of opening a store. The errors that wrap these
// name the file and say what to do.
var (
	ErrInUse     = errors.New("the store is in use")
	ErrNewer     = errors.New("the store was written by a newer version")
	ErrNotAStore = errors.New("not a lobescribe store")
	ErrNoStore   = errors.New("there is no store")
	// ErrDamaged: the pages of the file are hurt. Everything that still reads
	// can be read with Options.ReadOnly, and Repair makes a sound store of it.
	ErrDamaged = errors.New("the store is damaged")
	// ErrEmptied: the file is empty, and beside it stands that it was not.
	ErrEmptied = errors.New("the store has been emptied")
)

// What can become of a call on an open store.
var (
	ErrNotFound = errors.New("not found")
	ErrReadOnly = errors.New("the store is open for reading only")
	ErrClosed   = errors.New("the store is closed")
	// ErrEnded: the trace was ended; nothing can be appended to it any more.
	ErrEnded = errors.New("the trace was ended")
	// ErrOrder: a reading is older than the one before it.
	ErrOrder = errors.New("readings are not in order of time")
	// ErrStale: the document was changed by somebody else since it was read.
	ErrStale = errors.New("it was changed in the meantime")
	// ErrExists: the file or the document is there already.
	ErrExists = errors.New("it exists already")
)

// FieldError says that a field of a document cannot be as it is.
type FieldError struct {
	Document string // `engine "small-block"`
	// Name is the field's path as it stands in the JSON:
	// "cam_card.ec_atdc_deg", "stack_mm[1]".
	Name string
	// Says what it is and what it should be, to be read after the name.
	Says string
}

// Field returns the path of the field.
func (e *FieldError) Field() string { return e.Name }

// Error names the document and the field, and says what is wrong with it.
func (e *FieldError) Error() string { return e.Document + ": " + e.Name + " " + e.Says }

// badField returns what makes the FieldErrors of a document.
func badField(kind, id string) func(field, format string, args ...any) error {
	return func(field, format string, args ...any) error {
		return &FieldError{fmt.Sprintf("%s %q", kind, id), field, fmt.Sprintf(format, args...)}
	}
}

// Part says what a Damage has hit.
type Part string

// The parts of a trace, and of a store, that can be hurt.
const (
	PartReadings Part = "readings"
	PartNotes    Part = "notes"
	PartHead     Part = "head"
	PartFindings Part = "findings"
	PartSummary  Part = "summary"
	PartIndex    Part = "index"
	PartDocument Part = "document"
	PartPages    Part = "pages"
	PartShop     Part = "shop" // the outbox, and what the store knows of the shop
)

// Damage is one thing in a store that does not read. It is an error; a loaded
// trace joins all of its own.
type Damage struct {
	Trace ID   `json:"trace,omitempty"`
	Part  Part `json:"part"`
	// First and Count are the readings (or notes) that are lost, as positions
	// in the trace; Count is -1 when nobody can tell how many there were.
	First uint64 `json:"first,omitempty"`
	Count int64  `json:"count,omitempty"`
	// Between these times the readings are lost: the last good one before and
	// the first good one after. Both are zero when not known.
	From  measure.Stamp `json:"from_s,omitempty"`
	Until measure.Stamp `json:"until_s,omitempty"`
	// Name is the document's, where a document is hurt.
	Name string `json:"name,omitempty"`
	// Derived: nothing was lost, it can be made again from what is whole.
	Derived bool `json:"derived,omitempty"`
	// Hole: nothing is there any more that could be hurt, as after a repair.
	Hole bool `json:"hole,omitempty"`
	// Why says what is wrong with it.
	Why string `json:"why"`
}

// Error says what is hurt, where, and why.
func (d *Damage) Error() string {
	var b strings.Builder
	if d.Trace != 0 {
		fmt.Fprintf(&b, "trace %s: ", d.Trace)
	}
	switch d.Part {
	case PartReadings, PartNotes:
		switch {
		case d.Count > 0:
			fmt.Fprintf(&b, "%d %s from number %d on are lost", d.Count, d.Part, d.First)
		default:
			fmt.Fprintf(&b, "%s from number %d on are lost", d.Part, d.First)
		}
		if d.Until > d.From {
			fmt.Fprintf(&b, ", between %s and %s", d.From, d.Until)
		}
	case PartDocument, PartShop:
		fmt.Fprintf(&b, "%q does not read", d.Name)
	case PartPages:
		b.WriteString("the file itself is hurt")
	default:
		fmt.Fprintf(&b, "its %s does not read", d.Part)
		if d.Derived {
			b.WriteString(" (nothing lost: it is made again from the readings)")
		}
	}
	b.WriteString(": " + d.Why)
	return b.String()
}

// DamagesIn returns every Damage in an error of this package, as Load joins
// them. An empty result for an error means that it is not about damage.
func DamagesIn(err error) []*Damage {
	switch e := err.(type) {
	case nil:
		return nil
	case *Damage:
		return []*Damage{e}
	case interface{ Unwrap() []error }:
		var all []*Damage
		for _, err := range e.Unwrap() {
			all = append(all, DamagesIn(err)...)
		}
		return all
	}
	return DamagesIn(errors.Unwrap(err))
}
