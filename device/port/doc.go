// Package port is what bytes come from: the [Link] that a source reads, the [Batch] of
// what some reads gave, each with its time, and the reader of a serial port.
//
// On Linux the port is polled by the runtime itself, so that a reading wakes no thread;
// elsewhere by the serial library. [Open] opens one by its name; package dial knows
// when and how to.
package port
