// Package shop carries the records of many benches into one, by way of a
// JetStream stream of NATS.
//
// # Words
//
// A bench has a name and a store; the store has an origin, a number of its own
// that outlives renaming the bench. A [Message] is what a bench says: a part of
// a trace's readings, a trace (everything but its readings), or a document
// (engine, trial, work) as it stands now. A [Publisher] carries a store's outbox
// to the stream, a [Reader] makes a store of the stream, and [Fetch] brings one
// engine from the stream to a bench that goes on with it.
//
// # The rule of subjects
//
//	lobescribe.shop.BENCH.readings.KEY        a part of a trace's readings
//	lobescribe.shop.BENCH.trace.KEY           the trace, when all parts are there
//	lobescribe.shop.BENCH.document.KIND.NAME  a document, or that it was deleted
//
// BENCH is the name of whoever speaks, so that the server's own permissions
// decide who may speak under it; a message that gives another name inside is
// refused. KEY names a trace for good: it is made of the store's origin, the
// trace's number and the moment it was started.
//
// # What is promised
//
// A message has the same bytes whenever the same errand is carried, and its ID
// is made of them. The stream drops a repeat within its window, a reader one of any
// age. An errand leaves the outbox when the stream has acknowledged all of it;
// one publisher sends one message at a time, so the order of the stream is the
// order of the bench, and what stands later in the stream is what holds.
//
// A trace appears when all its readings are there and their digest is the one
// it names; its readings never change after that, whoever says so. A reader's
// store is made of the stream alone and of nothing else (no clock, no chance):
// made again, it has the same rows, byte for byte. How far it has come stands in
// the store and is written in the transaction that applies the messages.
//
// What cannot be applied is counted, named with its place in the stream, and
// passed over.
package shop
