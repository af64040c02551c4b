// Package chunk packs readings into the bytes that are stored, and back again
// without the loss of a nanometre, a microdegree or a microsecond.
//
// A chunk is one run of readings of one trace. It says of itself which trace
// it belongs to and at which reading of the trace it begins, so that chunks
// found loose in a damaged file can still be put in order.
//
//	offset  bytes  what
//	0       2      'L' 'c'
//	2       1      version: 1, or 2 where a sweep occurs
//	3       1      every quantity that occurs (the or of all measure.Has)
//	4       4      CRC-32C of all other bytes, little-endian
//	8       -      uvarint trace, first, count; svarint first time, last time (µs)
//	        -      columns: has, time, lift, angle and in version 2 sweep,
//	        -      each uvarint length + bits
//
// The has column gives has[i] xor has[i-2], which is zero all through both
// for a steady stream and for two instruments taking turns. Time has a value a
// reading; lift, angle and sweep have one for each reading that carries them.
//
// A column stands as its first value, the greatest common divisor of its steps
// (an indicator's resolution, an encoder's angle a count, the tick of a clock)
// and blocks of 128 steps, counted in that divisor. Each block chooses what
// costs it least: the values themselves about a base (a valve at rest, with
// noise), their steps about a base (a steady rate, with jitter), or the change
// of the steps (a valve in motion). What is left over is Golomb-Rice coded
// (R. F. Rice, "Some Practical Universal Noiseless Coding Techniques", JPL
// Publication 79-22, 1979), with an escape for what no rule foretells, so that
// any 64-bit number goes through. A general compressor on top of that (zstd at
// its best level) was measured to save under three parts in a hundred, and is
// left out.
//
// All sums wrap, which makes the coding exact over the whole range. Decode
// takes bytes from anywhere: it never panics and never allocates more than
// [MaxReadings] allows.
package chunk
