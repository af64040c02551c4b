// Package encoder turns what an encoder's board says into crank angle that
// grows without end: the running number of a counter, or printed degrees.
//
// # Words
//
// A count is one edge of the two tracks, so an encoder of 600 lines has 2400
// counts a turn of its shaft ("after 4x"). The shaft is what the encoder sits
// on: the crank, or the cam, which turns half as fast. A number starts again
// (wraps) where the counter is full or the printed angle comes round. The index
// is the mark that many encoders give once a turn of the shaft.
//
// # Formula
//
// Crank angle of count n = offset + sign * (n + k*period) * turn / counts, where
// turn is 360 degrees on the crank and 720 on the cam, k how often the number
// has started again, and sign -1 for an encoder that counts down as the engine
// turns. It is worked out from n each time and rounded once, to the nearest
// microdegree: nothing adds up, so count 10^9 is as good as count 1. (Geometry;
// no source needed.)
//
// # Promises
//
// An angle follows from the numbers alone, whatever their rate. Of two ways
// from one number to the next the shorter is taken. The period need not be
// said: it is found at the first jump that no hand can make, among one turn of
// the shaft and a counter of 16, 24 or 32 bits, but only where every number
// seen so far fits into it.
//
// # Assumptions
//
// Between two numbers the shaft turns by less than half a period (by less than
// a quarter while the period is being found). A board that loses its power
// starts at zero: that is another offset, which no number tells; the index
// tells it.
package encoder
