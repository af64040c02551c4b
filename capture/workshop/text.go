package workshop

import (
	"math"
	"math/rand/v2"
	"strconv"

	"lobescribe/device/measure"
)

// What goes wrong between the gauge's display and the file.

// printed is a reading as digits: a whole number of the display's last decimal.
func (g gauge) printed(v measure.Length) (digits int64, unit measure.Length) {
	unit = 100 // 0.0001 mm
	if g.step%1000 == 0 {
		unit = 1000
	}
	if g.step%2540 == 0 || g.step%1270 == 0 {
		unit = 2540 // 0.0001 in
		if g.step%2540 != 0 {
			unit = 1270 // 0.00005 in
		}
	}
	return int64(v / unit), unit
}

func (b *bench) text(f func(s []sample)) { b.onText = append(b.onText, f) }

// misreadDigit: two readings in a thousand have one digit wrong.
func misreadDigit(b *bench, r *rand.Rand) {
	b.text(func(s []sample) {
		for i := range s {
			if r.Float64() < 0.002 {
				s[i].value = b.digitWrong(r, s[i].value)
			}
		}
	})
}

func (b *bench) digitWrong(r *rand.Rand, v measure.Length) measure.Length {
	n, unit := b.gauge.printed(v)
	minus := n < 0
	text := []byte(strconv.FormatInt(abs(n), 10))
	for len(text) < 5 {
		text = append([]byte{'0'}, text...)
	}
	i := r.IntN(len(text))
	text[i] = '0' + byte((int(text[i]-'0')+1+r.IntN(9))%10)
	n, _ = strconv.ParseInt(string(text), 10, 64)
	if minus {
		n = -n
	}
	return measure.Length(n) * unit
}

func abs(n int64) int64 {
	if n < 0 {
		return -n
	}
	return n
}

// misreadBurst: three times a session some readings are wrong together: two to
// five, or as many as ten in at most 0.3 s.
func misreadBurst(b *bench, r *rand.Rand) {
	b.text(func(s []sample) {
		for range 3 {
			at, n := r.IntN(len(s)), 2+r.IntN(4)
			if r.IntN(3) == 0 {
				n = 6 + r.IntN(5)
			}
			by := stretched(r, 0.1, 8) * float64(1-2*r.IntN(2))
			same := r.IntN(2) == 0
			for i := at; i < min(at+n, len(s)); i++ {
				if n > 5 && s[i].at > s[at].at+0.3 {
					break
				}
				d := by
				if !same {
					d = by * between(r, -1, 1)
				}
				s[i].value += measure.Length(math.Round(d*1e6/float64(b.gauge.step))) * b.gauge.step
			}
		}
	})
}

// noLift: a few values that no indicator shows on a valve.
func noLift(b *bench, r *rand.Rand) {
	b.text(func(s []sample) {
		for range 1 + r.IntN(4) {
			at := r.IntN(len(s))
			v := measure.Length(math.Round(stretched(r, 60, 2000)*1e6/float64(b.gauge.step))) * b.gauge.step
			if r.IntN(3) == 0 {
				v = -v
			}
			for i := at; i < min(at+1+r.IntN(2), len(s)); i++ {
				s[i].value = v
			}
		}
	})
}

// digitDropped: three lines in a thousand have lost a digit on their way.
func digitDropped(b *bench, r *rand.Rand) {
	b.text(func(s []sample) {
		for i := range s {
			if r.Float64() >= 0.003 {
				continue
			}
			n, unit := b.gauge.printed(s[i].value)
			text := strconv.FormatInt(abs(n), 10)
			k := r.IntN(len(text))
			m, _ := strconv.ParseInt("0"+text[:k]+text[k+1:], 10, 64)
			if n < 0 {
				m = -m
			}
			s[i].value = measure.Length(m) * unit
		}
	})
}

// minusDropped: three lines in a thousand have lost their sign, of a gauge that
// shows minus while the valve is open.
func minusDropped(b *bench, r *rand.Rand) {
	b.gauge.sign, b.gauge.zero = -1, between(r, -1, 3)
	b.text(func(s []sample) {
		for i := range s {
			if r.Float64() < 0.003 && s[i].value < 0 {
				s[i].value = -s[i].value
			}
		}
	})
}

// linesTwice: for a while each line comes twice.
func linesTwice(b *bench, r *rand.Rand) {
	b.onArrival = append(b.onArrival, func(s []sample) []sample {
		from, to := r.IntN(len(s)), r.IntN(len(s))
		var out []sample
		for i, x := range s {
			out = append(out, x)
			if from < to && i > from && i < to || from > to && (i > from || i < to) {
				x.arrives += between(r, 0.0002, 0.002)
				out = append(out, x)
			}
		}
		return out
	})
}

// portHiccups: a few times the port holds what comes and hands it over in one go.
func portHiccups(b *bench, r *rand.Rand) {
	b.onArrival = append(b.onArrival, func(s []sample) []sample {
		for range 3 + r.IntN(6) {
			from := s[r.IntN(len(s))].at
			to := from + between(r, 0.08, 0.5)
			n := 0.0
			for i := range s {
				if s[i].at >= from && s[i].at < to {
					s[i].arrives = to + n*0.0003
					n++
				}
			}
		}
		for i := 1; i < len(s); i++ {
			s[i].arrives = max(s[i].arrives, s[i-1].arrives)
		}
		return s
	})
}

// encoderGlitch: a few single angles are off.
func encoderGlitch(b *bench, r *rand.Rand) {
	b.text(func(s []sample) {
		for range 2 + r.IntN(6) {
			s[r.IntN(len(s))].angle += stretched(r, 1, 180) * float64(1-2*r.IntN(2))
		}
	})
}
