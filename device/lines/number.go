package lines

import (
	"fmt"

	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// lineNumbers follows the numbers that a device gives its lines. It is a pure
// state machine; its zero value has seen none.
type lineNumbers struct {
	round   int64 // after how many lines the number starts again at zero
	last    int64
	known   bool
	refused int64 // lines that came since the last and were not understood: not lost
}

// reset says that bytes were lost, which is told elsewhere.
func (n *lineNumbers) reset() { n.known, n.refused = false, 0 }

// next takes the number of a line that was understood, and tells how many before
// it never came. More than a whole round lost is told as less than one: a link
// that is silent for so long is told of as such.
func (n *lineNumbers) next(number int64, at measure.Stamp, out *wire.Out) {
	if number < 0 || number >= n.round {
		return // no number that it gives
	}
	missing := ((number-n.last-1)%n.round+n.round)%n.round - n.refused
	if n.known && missing > 0 {
		out.Refused.Missing += missing
		says := "a line was lost on its way here"
		if missing > 1 {
			says = fmt.Sprintf("%d lines were lost on their way here", missing)
		}
		out.Condition(at, says+": look at the USB plug and hub, or ask another program to let go of the port")
	}
	n.last, n.known, n.refused = number, true, 0
}
