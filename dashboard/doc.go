// Package dashboard serves the page: the HTTP API behind it, the page's files, the
// build sheet, and the way to the live socket of package live.
//
// # Parts
//
// The [Server] answers requests from the store and passes wishes on to
// the [Bench], which is the daemon seen from here. Who may ask at all is decided
// by package door before anything else.
//
// # What is promised
//
// Every connection has deadlines, every body a bound, every queue an end. A
// request body with an unknown field is refused with the field's name, because
// a misspelt wish must not look like one that was granted.
//
// Readings on the socket are what the indicator itself shows, in whole
// nanometres on the daemon's monotonic clock in whole microseconds; elsewhere
// lengths are millimetres (_mm), times seconds (_s), angles degrees (_deg).
//
// # What is assumed
//
// The page, the API and the store are of one version. There is no proxy between
// the daemon and the browser.
package dashboard
