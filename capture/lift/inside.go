package lift

// What an opening holds that is more than one.

// judgeInside tells of an opening that holds more than one: the valve was all but shut
// between noses, or the crank went farther than any valve stays open. A hand that turns
// back from one flank to the foot of it, and on again, leaves one such valley.
func (g *Segmenter) judgeInside(m measured) (told bool) {
	parts := g.signedOutline(g.account.within(float64(m.Open), float64(m.Close)))
	if len(parts) == 0 {
		return false
	}
	lift := float64(m.MaxLift)
	turned, _ := extremes(parts, swing*lift)
	valleys, noses := 0, 0
	for _, t := range turned {
		switch {
		case t.high && parts[t.at].hi-m.before.y > openFully*lift:
			noses++
		case !t.high && parts[t.at].lo-m.before.y < shutBetween*lift:
			valleys++
		}
	}
	least, most := parts[0].least, parts[0].most
	for _, s := range parts {
		least, most = min(least, s.least), max(most, s.most)
	}
	several := noses > 1 && (valleys > 1 || g.stoodShut(parts, m, turned, shutBetween, max(restedOpen, shutFlanks*m.flank))) ||
		g.stoodShut(parts, m, turned, shutHome, max(restedShut, m.flank/2))
	if !several && !(most-least > openAtMost) {
		return false
	}
	g.fault(NotCounted, m.Open, "what counts as one opening here holds more than one: between its noses the valve was all but shut. The heel moved, the indicator shakes or hangs, or the engine was turned back over the nose; see to it, and turn again one way")
	return true
}

// stoodShut says whether the valve stood below a share of its lift, between two noses of an
// opening, for longer than a hand rests there that has gone back over the nose.
func (g *Segmenter) stoodShut(parts []stretch, m measured, turned []extreme, share, long float64) bool {
	from := -1
	for _, t := range turned {
		if !t.high || parts[t.at].hi-m.before.y < openNearly*float64(m.MaxLift) {
			continue
		}
		shut := 0.0
		for _, s := range parts[max(from, 0):t.at] {
			if s.hi-m.before.y < share*float64(m.MaxLift) {
				shut += s.to - s.from + g.stream.typical
			}
		}
		if from >= 0 && shut > long {
			return true
		}
		from = t.at
	}
	return false
}

// shutFlanks is how many times as long as a flank a valve stands shut at the least. On a
// heel, or beside one that has moved a little, it stands for restedShut.
const shutFlanks, restedShut = 3.0, 2 * s

// shutBetween is the share of the lift below which a valve is all but shut, shutHome that
// below which it is but for what a heel moves, openFully that above which it has all but
// reached its nose, openNearly that to which no hand goes up and back to the heel.
const shutBetween, shutHome, openFully, openNearly = 0.15, 0.05, 0.96, 0.75
