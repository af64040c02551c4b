package door

import (
	"net/netip"
	"sync"

	"golang.org/x/time/rate"
)

// guesses counts wrong keys by machine. A machine has ten to begin with and
// gets one back every three seconds: plenty for a mistyped link, and at 128
// bits nothing for somebody who tries.
//
// A network has few machines, but IPv6 gives each of them any number of
// addresses, so those are counted by their /64, and the whole table is bounded:
// when it is full of machines that still owe, newcomers share one allowance.
type guesses struct {
	mu     sync.Mutex
	by     map[netip.Prefix]*rate.Limiter
	shared *rate.Limiter
}

const (
	guessBurst    = 10
	guessEvery    = rate.Limit(1.0 / 3) // a second
	guessMachines = 1024
)

func newGuesses() *guesses {
	return &guesses{by: make(map[netip.Prefix]*rate.Limiter), shared: rate.NewLimiter(guessEvery, guessBurst)}
}

// try looks at a key with check, unless this machine has been wrong too often:
// then not even the right key is looked at, so that a machine that guesses
// learns nothing. Looking is done under the lock, so that many guesses at once
// cannot share one allowance.
func (g *guesses) try(remote string, check func() bool) (looked, right bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	m := machine(remote)
	l, known := g.by[m]
	if !known && len(g.by) >= guessMachines {
		g.forget()
		if len(g.by) >= guessMachines {
			l = g.shared
		}
	}
	if l != nil && l.Tokens() < 1 {
		return false, false
	}
	if check() {
		return true, true
	}
	if l == nil {
		l = rate.NewLimiter(guessEvery, guessBurst)
		g.by[m] = l
	}
	l.Allow()
	return true, false
}

// forget drops the machines that owe nothing any more.
func (g *guesses) forget() {
	for m, l := range g.by {
		if l.Tokens() >= guessBurst {
			delete(g.by, m)
		}
	}
}

func machine(remote string) netip.Prefix {
	ap, err := netip.ParseAddrPort(remote)
	if err != nil {
		return netip.Prefix{}
	}
	a := ap.Addr().Unmap().WithZone("")
	bits := 32
	if a.Is6() {
		bits = 64
	}
	p, err := a.Prefix(bits)
	if err != nil {
		return netip.Prefix{}
	}
	return p
}
