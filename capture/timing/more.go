package timing

import (
	"cmp"
	"slices"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// MoreInput asks for what follows from a valve's curve beyond its timing. Every
// part is optional.
type MoreInput struct {
	// Lobe asks for the lobe's own motion, worked out from a curve at the valve.
	Lobe bool `json:"lobe_motion,omitempty"`
	// LashStep is a change of the lash whose effect on the events is asked for.
	LashStep measure.Length `json:"lash_step_mm,omitzero" bound:"lash step"`
	// Port is what the gas passes at the valve; Cylinder what an intake that closes
	// traps.
	Port     *PortInput     `json:"port,omitempty"`
	Cylinder *CylinderInput `json:"cylinder,omitempty"`
}

func (m MoreInput) check(c *worksheet.Check, field string) {
	c.That(m.LashStep.Abs() <= 2*measure.Millimetre, field+".lash_step_mm", "is %v: expected a change of lash of at most 2 mm either way", m.LashStep)
	if m.Port != nil {
		m.Port.check(c, field+".port")
	}
	if m.Cylinder != nil {
		m.Cylinder.check(c, field+".cylinder")
	}
}

// More is what follows from a valve's curve beyond its timing.
type More struct {
	Lobe    *LobeMotion          `json:"lobe_motion,omitempty"`
	Lash    []LashEffect         `json:"lash_effects,omitempty"`
	Port    *PortFlow            `json:"port,omitempty"`
	Trapped []Trapped            `json:"trapped,omitempty"`
	Says    []worksheet.Sentence `json:"says"`
}

// More works out what is asked. What cannot be told (a trace too coarse for a
// velocity) is said, and takes nothing else away. t is the curve's own timing.
func (c *Curve) More(in MoreInput, t ValveTiming, basis *worksheet.Basis) (*More, error) {
	m := &More{Says: []worksheet.Sentence{}}
	say := func(format string, args ...any) { m.Says = append(m.Says, worksheet.Sayf(format, args...)) }
	if in.Lobe {
		l, err := c.LobeMotion()
		if err != nil {
			say("the lobe's motion: %s", err)
		} else {
			m.Lobe = &l
			m.Says = append(m.Says, l.Says...)
			basis.Cite("the lobe's motion through the ratio: chain rule over the fitted lift at the valve, derived here")
		}
	}
	if in.LashStep != 0 {
		for _, p := range t.Passages {
			e, err := c.lashEffect(p, in.LashStep)
			if err != nil {
				say("lash and events: %s", err)
				continue
			}
			if m.Lash = append(m.Lash, e); len(m.Lash) == 1 { // at the next it is much the same
				m.Says = append(m.Says, e.Says)
			}
		}
	}
	if in.Port != nil {
		f, err := c.portFlow(*in.Port)
		if err != nil {
			say("curtain area: %s", err)
		} else {
			m.Port = &f
			m.Says = append(m.Says, f.Says)
			basis.Assume("the port's least area is that of seat and throat; what the gas makes of it (a coefficient of discharge) is not in it")
			basis.Cite("least flow area of a poppet valve: Heywood, Internal Combustion Engine Fundamentals, eqs 6.7-6.9, from memory")
		}
	}
	if err := m.traps(in.Cylinder, c.options.Valve, t, basis); err != nil {
		return nil, err
	}
	return m, nil
}

// typedMore is More of a valve whose events were typed: what it traps.
func typedMore(in MoreInput, v Valve, t ValveTiming, basis *worksheet.Basis) (*More, error) {
	if in.Lobe || in.LashStep != 0 || in.Port != nil {
		return nil, worksheet.Wrongf("", "asks for what only a lift curve tells (lobe_motion, lash_step_mm, port): give the points, not two events")
	}
	m := &More{Says: []worksheet.Sentence{}}
	return m, m.traps(in.Cylinder, v, t, basis)
}

// traps works out what an intake that closes shuts in.
func (m *More) traps(k *CylinderInput, v Valve, t ValveTiming, basis *worksheet.Basis) error {
	if k == nil {
		return nil
	}
	if v != Intake {
		return worksheet.Wrongf("cylinder", "is given for a valve that is no intake: what is trapped hangs on when the intake closes")
	}
	for _, p := range t.Passages {
		if p.Closes == nil {
			m.Says = append(m.Says, worksheet.Sayf("effective compression: the curve does not come down to %v on its closing side", p.CheckingLift))
			continue
		}
		m.Trapped = append(m.Trapped, k.trapped(p))
	}
	if len(m.Trapped) > 0 { // the least checking lift is nearest to where it seats
		m.Says = append(m.Says, slices.MinFunc(m.Trapped, func(a, b Trapped) int { return cmp.Compare(a.CheckingLift, b.CheckingLift) }).Says)
	}
	basis.Assume("gas is trapped from where the intake passes the checking lift: it seats a little later, and at speed the charge comes in for longer. No cranking pressure follows from that")
	basis.Cite("effective compression: the volume left at intake closing over that at top dead centre, by piston motion (Heywood, eqs 2.4-2.6, from memory)")
	return nil
}
