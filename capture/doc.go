// Package capture is the live side: what the valve is doing now, what is called
// out of it, and the trace that is kept of it.
//
// Words: a [Role] says what an instrument measures; the [lobescribe/capture/join.Joiner] puts an angle to
// each lift; the [Follower] says where the valve is ([Position]) and calls out
// ([Cue]) max lift and half lift; the [Recorder] decides when a trace begins and
// ends. Package keep hands it to a store, whatever the disk does meanwhile, and package
// replay plays a kept trace through a Follower of its own.
//
// Call [NewLive] first: a [Live] owns one of each, in one goroutine, Run. Readings
// and notes go in by its methods and messages come out by LiveOptions.Tell, which
// must not block. Follower, Joiner and Recorder are pure state machines and may be
// used alone.
//
// Promised: a call is made when it is credible and taken back once when it turns
// out false; the openings told live are those of the finished trace; capture never
// waits for a disk or a client. Assumed: readings of one instrument come in order
// of their stamps.
package capture
