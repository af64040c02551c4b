package daemon

import (
	"context"
	"fmt"
	"sync"
	"time"

	"lobescribe/capture"
	"lobescribe/capture/prove"
	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/measure"
)

// proving is an indicator's proving under way: fed by the instrument's goroutine,
// asked by anybody.
type proving struct {
	tell func(prove.Now) // of each change; must not block

	mu    sync.Mutex // guards the guide and what was told of it
	guide *prove.Guide
	told  prove.Now
}

func newProving(o prove.Options, tell func(prove.Now)) *proving {
	p := &proving{guide: prove.New(o), tell: tell}
	p.do(func(*prove.Guide) {})
	return p
}

// do does something with the guide, and tells what came of it.
func (p *proving) do(what func(*prove.Guide)) {
	p.mu.Lock()
	defer p.mu.Unlock()
	what(p.guide)
	if now := p.guide.Now(); now != p.told {
		p.told = now
		p.tell(now)
	}
}

func (p *proving) heard(readings []measure.Reading) {
	p.do(func(g *prove.Guide) {
		for _, r := range readings {
			g.Step(r)
		}
	})
}

func (p *proving) noted(n measure.Note) { p.do(func(g *prove.Guide) { g.Note(n) }) }

// stood lets time pass for an indicator that is well and speaks only when its
// figure changes.
func (p *proving) stood(s device.Status) {
	if s.State == device.StandingStill {
		p.do(func(g *prove.Guide) { g.Pass(device.Now()) })
	}
}

// proof returns what was learned, once it was.
func (p *proving) proof() (proof prove.Proof, now prove.Now, ok bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	proof, ok = p.guide.Proof()
	return proof, p.guide.Now(), ok
}

// Prove guides somebody through the proving of the indicator at an address, until
// it is proved or ctx ends. tell hears each change of what is to be done, and
// status how the link stands, each from a goroutine of its own.
func Prove(ctx context.Context, a address.Address, o device.Options, po prove.Options, tell func(prove.Now), status func(device.Status)) (prove.Proof, error) {
	ctx, enough := context.WithCancel(ctx)
	defer enough()
	p := newProving(po, func(n prove.Now) {
		tell(n)
		if n.Stage == prove.Done {
			enough()
		}
	})
	i := connect(ctx, capture.Indicator, a, o, listener{
		heard: func(_ capture.Role, r []measure.Reading) { p.heard(r) },
		noted: func(_ capture.Role, n measure.Note) { p.noted(n) },
		status: func(_ *instrument, s device.Status) {
			status(s)
			p.stood(s)
		},
	})
	<-ctx.Done()
	i.close()
	proof, now, ok := p.proof()
	if !ok {
		return prove.Proof{}, fmt.Errorf("stopped before the indicator was proved; what was still to do: %s", now.Says)
	}
	proof.When = time.Now().Round(time.Second)
	return proof, nil
}
