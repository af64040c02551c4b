// Package prove learns an indicator in ten seconds: where its spindle stops at
// either end, how well it comes back, how far it sticks, how far its figure lags
// behind the spindle, how often that figure changes, its step and its rate.
//
// [Guide] is fed readings and says in one plain sentence what to do next; when
// nothing is left to do it has a [Proof]. It is a pure state machine: no clock,
// goroutine or I/O, and the same proof whatever the readings' grouping.
//
// Words: the spindle *hangs* where its spring or its weight takes it when it
// touches nothing, which is one stop; it is *home* where it is pressed in as far
// as it goes, which is the other. The *travel* lies between. A *snap* is the
// spindle lifted off the retainer and let go. *Low* and *High* are what the
// indicator shows at the two stops, whichever is which. The spindle *arrives* on
// the retainer from one side when it snaps, and from the *other side* when the
// retainer leaves it and comes back from below.
//
// A place is the mean of the readings of the last half second of a rest that lasts
// a second. Then, with a step q,
//
//	StopU  = 2 √(q²/12 + s²)     s: of the mean (JCGM 100:2008, 4.2.3, 4.3.7)
//	Repeat = largest - least place after the snaps
//	Stick  = largest - least place after all arrivals, from either side
//	Lag    = mean of the time over which the gauge averages: see fitLag
//	Refresh = mean time between changes while each is of four steps or more
//
// That a spindle is lifted and released several times, and that the other
// direction is tried too, is how dial gauges are checked for repeatability and
// hysteresis (ISO 463, ASME B89.1.10; from memory). Lag does not hold what all
// readings are late by alike, such as the line's time: a fall does not show that.
//
// Assumed: a travel of 1 to 150 mm; a stand that does not move meanwhile; at
// least 5 readings a second. Single readings and bursts of up to ten that are
// misread, and a figure that repeats itself for up to 0.8 s, are seen through, or
// cost a snap. The order of the stops does not matter: the outermost rests are
// the stops, and the spindle goes in the way that it is lifted.
package prove
