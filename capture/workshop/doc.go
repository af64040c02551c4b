// Package workshop makes recordings as workshops have them, with the truth
// beside: lobes, hands, gauges and troubles. It is a judge for tests and nothing
// else: no part of the product imports it.
//
// It shares no code and no assumption with package simulator, from which parts of
// the product were learned. Here lift is what a table or a law of speed along a
// flank gives; the hand is a torque with noise on an inertia with friction and the
// springs of the valves; a trouble is a function on the signal, put in where it
// arises: at the valve and its gauge, in the drive of the encoder, or in the digits
// on their way.
//
// [Make] plays one session of a kind. [Kinds] lists the kinds. The same seed and
// options give the same engine, hand and gauge for every kind, so that a trouble
// can be held against the sound session that it spoils.
//
// Everything is in millimetres, degrees and seconds until it becomes a
// [measure.Trace].
package workshop
