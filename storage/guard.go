package storage

import (
	"fmt"
	"runtime/debug"
)

// panicked is a panic of the database made into an error.
type panicked struct {
	what  any
	stack string
}

func (p *panicked) Error() string {
	return fmt.Sprintf("%v: the database stopped at %v; close the store, keep a copy of the file, and verify it", ErrDamaged, p.what)
}

func (p *panicked) Unwrap() error { return ErrDamaged }

// guard runs fn, which is about to touch the mapped file, and makes an error of
// a panic. The pages were checked on opening, so a panic means that the file
// was changed or cut by somebody else since, or that the disk fails under the
// mapping (SIGBUS, which SetPanicOnFault turns into a panic of this goroutine).
// Inputs are checked before guard, so that no mistake of a caller hides here.
func guard(fn func() error) (err error) {
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() {
		if p := recover(); p != nil {
			err = &panicked{p, string(debug.Stack())}
		}
	}()
	return fn()
}
