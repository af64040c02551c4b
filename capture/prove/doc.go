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
// indicator shows at the two stops, whichever is which.
package prove
