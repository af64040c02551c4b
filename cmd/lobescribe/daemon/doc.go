// Package daemon is the bench at run time: devices, the live side, the store and
// the page's hub, put together and kept running until they are told to stop.
//
// Words: an instrument is a device in a role (indicator or encoder) with the
// goroutine that reads it; the shelf is the store as the live side's keeper sees
// it, and the one place where a trace's head is written; a replay and the
// simulator stand in for instruments.
//
// Call [New] for the daemon behind the page ([Daemon] is the dashboard's Bench),
// [Record] for one headless recording and [MeasureDelay] for the lag between two
// instruments. All three open devices the same way and end by themselves when
// their context does; they return when every goroutine that they started has
// ended. [ExportTrace] and [ImportTrace] carry whole traces between a store and
// files.
//
// The package opens no store, no listener and no page, and reads no flags: that
// is the command's.
package daemon
