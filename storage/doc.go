// Package storage keeps everything that was recorded and set down in one file:
// traces, what was found in them, engines, trials, the questions that were
// worked on and the state of the bench.
//
// # Words
//
// A trace is started ([Store.Begin]), grows by batches ([Writer.Append]) and is
// ended ([Writer.End]). Its head says when, on what and with what it was
// recorded; a [Summary] is its line in a list. Engines, trials, works and the
// bench are documents with a revision.
//
// # What is promised
//
// When Append returns nil, the readings are on disk: written, and flushed by
// fdatasync, in one transaction of the file. After a power cut or kill -9 the
// file opens at its last transaction; a trace that was in the making is kept
// and marked as cut short. When Append fails, nothing of the batch counts as
// written: append the same readings again (and later ones with them), however
// the failed attempt really ended on disk.
//
// Raw readings are never changed and never rounded. Findings, summaries and
// the indexes are made of them and can be made again.
//
// Every stored value carries a CRC-32C that also covers its key. Damage costs
// what it hit: a flipped bit one chunk, which is at most 16,384 readings. The pages of the
// file are checked, by a reader that trusts nothing, before the database may
// touch them, or, if the file is as the last [Store.Close] left it and the
// caller wants to start at once, soon after ([Store.Prove]); a file whose pages are hurt is opened for reading by that reader
// alone and can be repaired into a new one ([Open], [Repair], [VerifyFile]).
//
// # Inside
//
// One bbolt file. Readings stand in package chunk's coding under the key
// (trace, position of the first reading): fresh batches in a small bucket,
// merged into large chunks in the other as they grow. That the key is a
// position makes writing twice harmless and a hole plain to see.
//
// Methods of a Store may be called from several goroutines at once; so may
// those of a Writer.
package storage
