// Package find reads a device of unknown format. A [Finder] listens for a second,
// asks package guess for a format, hands what it listened to to a [lines.Decoder] and
// follows that from then on, until its lines stop fitting. A [Polled] device is asked
// for each line.
//
// No reading is lost over the finding: what was listened to is decoded with the times
// it came at, and so are the lines that did not fit what was found before.
package find
