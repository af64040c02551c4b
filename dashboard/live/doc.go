// Package live gives what the live side says to every page that listens.
//
// # Words
//
// A message is a [capture.Message], or one of those declared here. A [Hub] takes it
// ([Hub.Publish]) and queues it, encoded once, for each [Client]; [Serve] sends a
// client's queue over its socket. The strip is the last seconds of readings, for a
// page that opens in the middle of a turn. A source is the engine, or a trace that
// is replayed.
//
// # What is promised
//
// Publishing never waits for a client. Whoever joins gets a snapshot ([Hello], the
// strip), then every message after it, none twice and none missing. A client that
// falls behind loses old readings and learns how many; it never misses a cue,
// opening, fault or device message: if it cannot keep up with those, it is sent
// away, and finds a fresh snapshot when it comes back.
//
// # What to call
//
// [NewHub] once; [Hub.Publish] from wherever something happens; [Hub.Join] and
// [Serve] for each socket. Who may open one is decided by package door, and the
// upgrade from HTTP is package dashboard's.
package live
