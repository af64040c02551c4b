package daemon

import (
	"context"
	"errors"
	"sync"
	"time"

	"lobescribe/capture"
	"lobescribe/capture/prove"
	"lobescribe/dashboard/live"
	"lobescribe/dashboard/question"
	"lobescribe/device/address"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// proofs is what is known of the indicator that is plugged in, and its proving
// while one is under way.
type proofs struct {
	mu      sync.Mutex // guards all below; nothing is waited for while it is held
	id      string     // the indicator's identity; "" while none is plugged in
	carrier *prove.Carrier
	proving *proving // nil while none is under way
	expects expected

	keeping sync.Mutex // held while it is stored, so that the newest is stored last
	telling sync.Mutex // and while it is told
}

// expected is the lift that the next turn is expected to show, and how far off
// that may be.
type expected struct{ lift, within measure.Length }

// now returns the proof as it holds now.
func (p *proofs) now() (id string, proof prove.Proof) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.carrier == nil {
		return p.id, prove.Proof{}
	}
	return p.id, p.carrier.Proof()
}

// known begins to carry a proof of an indicator.
func (p *proofs) known(id string, proof prove.Proof) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.id, p.carrier = id, prove.NewCarrier(proof)
}

// underWay returns the proving, nil while there is none.
func (p *proofs) underWay() *proving {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.proving
}

// proofOf loads what is known of an indicator that has just been plugged in.
func (d *Daemon) proofOf(a address.Address) {
	i, err := d.store.Indicator(a.Identity())
	if err != nil {
		d.log.Warn("what is known of the indicator does not read; it must be proved again", "indicator", a.Identity(), "error", err)
	}
	d.proofs.known(a.Identity(), i.Proof)
	d.tellProof()
}

// carried lets the proof go along with what the indicator says.
func (d *Daemon) carried(step func(*prove.Carrier) bool) {
	d.proofs.mu.Lock()
	changed := d.proofs.carrier != nil && step(d.proofs.carrier)
	d.proofs.mu.Unlock()
	if changed {
		d.Go(d.keepProof) // capture waits for no disk
	}
}

// keepProof stores the proof as it holds now.
func (d *Daemon) keepProof() {
	d.proofs.keeping.Lock()
	defer d.proofs.keeping.Unlock()
	id, proof := d.proofs.now()
	if err := d.store.PutIndicator(storage.Indicator{ID: id, Proof: proof}); err != nil {
		d.log.Error("what is known of the indicator is not kept", "indicator", id, "error", err)
	}
	d.tellProof()
}

// tellProof tells the live side and the page what is known of the indicator: the
// newest last.
func (d *Daemon) tellProof() {
	d.proofs.telling.Lock()
	defer d.proofs.telling.Unlock()
	_, proof := d.proofs.now()
	d.live.Prove(proof)
	d.hub.Publish(d.ProofNow(), 0)
}

// expect works out again what lift is expected of the valve on the bench.
func (d *Daemon) expect() {
	d.mu.Lock()
	s := d.selected
	d.mu.Unlock()
	var e expected
	e.lift, e.within = question.MaxLift(d.store, s.Engine, s.Valve)
	d.proofs.mu.Lock()
	changed := d.proofs.expects != e
	d.proofs.expects = e
	d.proofs.mu.Unlock()
	if changed {
		d.tellProof()
	}
}

// ProofNow returns what is known of the indicator, and how its proving goes.
func (d *Daemon) ProofNow() live.ProofNow {
	id, proof := d.proofs.now()
	now := live.ProofNow{Indicator: id, Proof: proof}
	if p := d.proofs.underWay(); p != nil {
		_, step, _ := p.proof()
		now.Proving = &step
	}
	d.proofs.mu.Lock()
	defer d.proofs.mu.Unlock()
	now.ExpectedLift, now.ExpectedWithin = d.proofs.expects.lift, d.proofs.expects.within
	return now
}

// errNoIndicator is the answer where there is nothing to prove.
var errNoIndicator = errors.New("there is no indicator to prove: choose its port first")

// BeginProving begins to prove the indicator, or starts again. Meanwhile its
// readings are no engine's: nothing is followed and no trace is kept.
func (d *Daemon) BeginProving(context.Context) error {
	d.mu.Lock()
	i, sim := d.instruments[capture.Indicator], d.simulator
	d.mu.Unlock()
	if i == nil {
		return errNoIndicator
	}
	d.live.Hold(true)
	var p *proving
	p = newProving(prove.Options{}, func(n prove.Now) {
		d.Go(func() {
			if n.Stage == prove.Done {
				d.proved(p)
			}
			d.tellProof()
		})
	})
	d.proofs.mu.Lock()
	d.proofs.proving = p
	d.proofs.mu.Unlock()
	d.tellProof()
	if sim != nil && sim.Prove != nil {
		return sim.Prove()
	}
	return nil
}

// proved keeps what a proving that has ended came to.
func (d *Daemon) proved(p *proving) {
	proof, _, ok := p.proof()
	d.proofs.mu.Lock()
	current := ok && d.proofs.proving == p
	if current {
		d.proofs.proving = nil
		proof.When = time.Now().Round(time.Second)
		d.proofs.carrier = prove.NewCarrier(proof)
	}
	d.proofs.mu.Unlock()
	if current {
		d.live.Hold(false)
		d.keepProof()
	}
}

// FinishProving does without the last step of the proving under way.
func (d *Daemon) FinishProving(context.Context) error {
	p := d.proofs.underWay()
	if p == nil {
		return errors.New("no indicator is being proved: begin first")
	}
	if _, now, _ := p.proof(); now.Stage != prove.Other {
		return errors.New("there is more to learn first: " + now.Says)
	}
	p.do((*prove.Guide).Finish)
	return nil
}

// DropProving ends the proving without keeping anything.
func (d *Daemon) DropProving() {
	d.proofs.mu.Lock()
	was := d.proofs.proving != nil
	d.proofs.proving = nil
	d.proofs.mu.Unlock()
	if was {
		d.live.Hold(false)
		d.tellProof()
	}
}

// indicatorSaid lets proof and proving hear the indicator.
func (d *Daemon) indicatorSaid(readings []measure.Reading) {
	if p := d.proofs.underWay(); p != nil {
		p.heard(readings)
		return
	}
	d.carried(func(c *prove.Carrier) bool {
		changed := false
		for _, r := range readings {
			changed = c.Step(r) || changed
		}
		return changed
	})
}

// noted lets proof and proving hear what happened to an instrument's stream.
func (d *Daemon) noted(role capture.Role, n measure.Note) {
	if role != capture.Indicator {
		return
	}
	if p := d.proofs.underWay(); p != nil {
		p.noted(n)
	}
	d.carried(func(c *prove.Carrier) bool { c.Note(n); return false })
}
