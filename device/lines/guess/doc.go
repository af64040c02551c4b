// Package guess makes up the [lines.Format] of an unknown device from a sample of
// what it sends: which byte ends a line, where columns are cut, which column is the
// lift and which the crank, in which unit.
//
// [Find] answers for a stream, [Again] for lines that are cut already, [Judge] for
// bytes at a baud rate that is tried, [Draft] makes a format of one line for a person
// to finish. A [Finding] says what was found, what was assumed, or what is in the
// way. Nothing here follows a stream: package find does, and asks again when lines
// stop fitting.
//
// It never takes a column because nothing speaks against it. Where nothing tells which
// one is the lift, it says what would: turn the engine, or name the column.
package guess
