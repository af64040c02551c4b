// Package keep writes traces to a store behind the back of the live side, which never
// waits for it.
//
// A [Keeper] takes readings by Begin, Append and End, and Run writes them, in a
// goroutine of its own, as one commit about twice a second. When the disk refuses, readings
// wait in memory and the listeners hear of it ([State]); what a store will never take
// goes to a rescue store. What Append of a [Writer] has taken is on disk.
package keep
