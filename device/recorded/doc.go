// Package recorded decodes a recording of raw bytes (package bytelog) as a source of
// package device would have, into a trace.
package recorded
