// Package probe finds out the speed of a serial port by listening at the usual ones.
// Nothing is written to it.
package probe
