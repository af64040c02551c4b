// Package sift decides which readings of an indicator count, before anything
// is made of them.
//
// A [Sift] is a pure state machine: [Sift.Step] takes the next reading and
// appends those that count to dst, in order of time. Most count at once. One
// that has jumped farther than a hand can move a valve is held until the
// readings behind it say what it was:
//
//   - the signal comes back to where it was: the readings between are doubted;
//   - it goes on from where it jumped to: they count after all, late.
//
// A reading is never changed, and one that is doubted is told with the reason:
// see [Doubt]. No more than [mostHeld] readings are held, and none longer than
// [longest] unless it lies where no valve can be.
//
// How far a hand can move a valve between two readings follows from the signal
// itself (how fast it moved just before) and from how fast a hand can turn back:
// out and home again within T, with the acceleration a, is a way of a T²/8.
// At 100 readings a second that is 0.02 mm, at 10 a second 2 mm: what a slow
// indicator misreads by less is for the uncertainty to hold.
//
// An indicator that repeats itself and then catches up looks like a rest that
// ends with a jump which no hand makes. Its repeats have counted by the time
// that shows: see [Frozen].
package sift
