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
// A network has few machines. On the public internet IPv6 gives each of them a
// /64 of addresses, so those are counted by it; in a workshop the /64 is the whole
// network, so private addresses are counted one by one, and all of a /64 together
// have a larger allowance. The table is bounded: when it is full of machines that
// still owe, newcomers share one allowance.
type guesses struct {
	mu     sync.Mutex
	by     map[netip.Prefix]*rate.Limiter
	shared *rate.Limiter
}

const (
	guessBurst    = 10
	guessEvery    = rate.Limit(1.0 / 3) // a second
	guessMachines = 1024
	networkBurst  = 100 // of all private addresses of one network
)

func newGuesses() *guesses {
	return &guesses{by: make(map[netip.Prefix]*rate.Limiter), shared: rate.NewLimiter(guessEvery, guessBurst)}
}

// count counts a wrong key; false when this machine has been wrong too often.
func (g *guesses) count(remote string) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	m, network := machine(remote)
	ok := g.limiter(m, guessBurst).Allow()
	if network.IsValid() {
		ok = g.limiter(network, networkBurst).Allow() && ok
	}
	return ok
}

func (g *guesses) limiter(m netip.Prefix, burst int) *rate.Limiter {
	l, known := g.by[m]
	if known {
		return l
	}
	if len(g.by) >= guessMachines {
		g.forget()
		if len(g.by) >= guessMachines {
			return g.shared
		}
	}
	l = rate.NewLimiter(guessEvery, burst)
	g.by[m] = l
	return l
}

// forget drops the machines that owe nothing any more.
func (g *guesses) forget() {
	for m, l := range g.by {
		if l.Tokens() >= float64(l.Burst()) {
			delete(g.by, m)
		}
	}
}

// machine is what a guess is counted by; network is also counted, for a private
// IPv6 address.
func machine(remote string) (m, network netip.Prefix) {
	ap, err := netip.ParseAddrPort(remote)
	if err != nil {
		return m, network
	}
	a := ap.Addr().Unmap().WithZone("")
	if a.Is6() {
		m, _ = a.Prefix(64)
		if !a.IsPrivate() && !a.IsLinkLocalUnicast() {
			return m, network
		}
		network = m
	}
	m, _ = a.Prefix(a.BitLen())
	return m, network
}
