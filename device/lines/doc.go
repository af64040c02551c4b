// Package lines reads instruments that print their reading as a line of text.
//
// A [Format] is data: what stands before the number, how its sign, digits and
// point are written, the unit, what may follow, what ends the line, and how
// several columns are told apart. A [Decoder] follows a Format.
//
// Three packages stand on this one, and a reader of the way from bytes to readings
// may leave two of them shut: find listens to an unknown device and follows a Decoder
// from then on; guess, behind it, makes up the Format; formats holds the built-in ones
// and reads a person's own.
//
// Promises. The same bytes give the same readings however they are cut. A
// stream may begin in the middle of a line: what comes before the first end of
// line is dropped. Ends of line may be CR, LF, both, or mixed. A line that is
// not a reading is counted by the reason why and is never a reading; a word
// the format knows ("LOW BATTERY") is a condition of the device. A line
// without end is bounded. A reading costs no allocation.
//
// A number is exact: 0.00005 in is 1270 nm, and never passes through a float.
//
// Two things cannot be told from one line alone, so a doubtful reading is held
// until the next line and then either counts with it or is refused: a number of
// another shape than its neighbours (a digit was lost; or the instrument was
// switched from 0.01 mm to 0.0005 in without printing a unit), and a jump that
// no spindle makes.
package lines
