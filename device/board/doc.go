// Package board holds the firmware of a small board that counts a crank encoder
// and reads an indicator, and the tests that prove it. In Go there are its version,
// [ParseVersion], and [SelfTest], which tells how a board's wiring does.
//
// firmware/ is C for the commonest 8-bit hobby board (an ATmega328P at 16 MHz):
// protocol.c is what is said and understood, apart from any pin, and board.c the
// pins and interrupts. `make -C device/board/firmware` builds it with Debian's
// gcc-avr and avr-libc; `go build` and `go test` never need them.
//
// A line is
//
//	$710,10.668mm,37*25
//
// count of all four edges, as it stood when the indicator began to send the
// figure (with an I behind it when the index was passed since the line before);
// the figure with its unit; the number of the line, 0 to 255 and round again, so
// that a line lost is known; and the exclusive or of all between $ and *. What
// is no figure is words in its place: NO SIGNAL, BITS LOST and how many came, BITS
// WRONG, EDGE LOST; PEDAL is a press. LOBESCRIBE BOARD, its version and the bits
// that its indicator sends are the first line, alone in it, and come again every
// two seconds in a figure's place.
//
// The tests compile protocol.c with the machine's own C compiler where it has
// one. host/emulator.c runs the firmware on an emulated board; LOBESCRIBE_BOARD=1 asks
// for those tests.
package board
