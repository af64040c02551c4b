package sheet

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"lobescribe/capture/timing"
	"lobescribe/device/measure"
)

// line is one curve of a plot. On paper, and for eyes that tell few colours,
// the dash tells the curves apart; colour only helps.
type line struct {
	points    []Point
	dash, ink string // as SVG has them
}

const (
	intakeInk  = "#0b4f8a"
	exhaustInk = "#a3330c"
	pale       = "#c8c8c8"
	grey       = "#606060"
)

func styleOf(v timing.Valve) (ink, dash string) {
	if v == timing.Exhaust {
		return exhaustInk, "5,2.5"
	}
	return intakeInk, ""
}

// picture draws lines and returns the SVG, ready to stand in HTML. y is in
// millimetres and printed in unit.
type picture struct {
	width, height float64 // points
	xLabel        string
	yUnit         measure.Unit
	xTicks        func(from, to float64) []tick // default: round numbers
	uprights      []float64
	levels        []float64 // mm
}

// tick is a mark on an axis.
type tick struct {
	at    float64
	label string
}

const (
	centimetre = 72 / 2.54 // in points
	letters    = 7.5       // their height, in points
	digit      = 0.56      // the width of one, of that height, in the usual sans serif
	tickLength = 3.0
)

func (p picture) draw(lines []line) (markup, error) {
	one := p.yUnit.Length().Millimetres()
	left, right, low, top := math.Inf(1), math.Inf(-1), 0.0, 0.0
	for _, l := range lines {
		for _, pt := range l.points {
			left, right = min(left, pt.X), max(right, pt.X)
			low, top = min(low, pt.Y/one), max(top, pt.Y/one)
		}
	}
	if left >= right || top == 0 {
		return "", fmt.Errorf("drawing a lift curve: there is nothing in it")
	}
	highest := top * 1.05
	if p.xTicks == nil {
		p.xTicks = roundTicks
	}
	xs, ys := p.xTicks(left, right), roundTicks(low, highest)

	// The axes stand as far in as their numbers and names need.
	widest := 0
	for _, t := range ys {
		widest = max(widest, len(t.label))
	}
	x0 := letters*1.5 + float64(widest)*digit*letters + tickLength + 3
	y0 := p.height - letters*2.6 - tickLength
	x1, y1 := p.width-letters, letters*0.7
	x := func(v float64) float64 { return x0 + (v-left)/(right-left)*(x1-x0) }
	y := func(v float64) float64 { return y0 - (v-low)/(highest-low)*(y0-y1) }

	var b strings.Builder
	fmt.Fprintf(&b, `<svg viewBox="0 0 %.4g %.4g" font-size="%g" font-family="sans-serif" fill="none">`, p.width, p.height, letters)
	stroke := func(ax, ay, bx, by float64, pen string) {
		fmt.Fprintf(&b, `<path d="M%.2f,%.2fL%.2f,%.2f" %s/>`, ax, ay, bx, by, pen)
	}
	text := func(x, y float64, anchor, more, says string) {
		fmt.Fprintf(&b, `<text x="%.2f" y="%.2f" text-anchor="%s" fill="#000"%s>%s</text>`, x, y, anchor, more, says)
	}
	const grid, axis, dotted = `stroke="` + pale + `" stroke-width="0.4"`, `stroke="#000" stroke-width="0.5"`, `stroke="` + grey + `" stroke-width="0.7" stroke-dasharray="1,2"`
	for _, t := range xs {
		stroke(x(t.at), y0, x(t.at), y1, grid)
		stroke(x(t.at), y0, x(t.at), y0+tickLength, axis)
		text(x(t.at), y0+tickLength+letters, "middle", "", t.label)
	}
	for _, t := range ys {
		stroke(x0, y(t.at), x1, y(t.at), grid)
		stroke(x0-tickLength, y(t.at), x0, y(t.at), axis)
		text(x0-tickLength-2, y(t.at)+letters*0.36, "end", "", t.label)
	}
	for _, at := range p.uprights {
		if left <= at && at <= right {
			stroke(x(at), y(0), x(at), y(highest), dotted)
		}
	}
	for _, at := range p.levels {
		stroke(x0, y(at/one), x1, y(at/one), dotted)
	}
	for _, l := range lines {
		b.WriteString(`<path d="`)
		for i, pt := range l.points {
			fmt.Fprintf(&b, "%c%.2f,%.2f", "ML"[min(i, 1)], x(pt.X), y(pt.Y/one))
		}
		fmt.Fprintf(&b, `" stroke="%s" stroke-width="1.1" stroke-linejoin="round"`, l.ink)
		if l.dash != "" {
			fmt.Fprintf(&b, ` stroke-dasharray="%s"`, l.dash)
		}
		b.WriteString(`/>`)
	}
	stroke(x0, y0, x1, y0, axis)
	stroke(x0, y0, x0, y1, axis)
	text((x0+x1)/2, p.height-letters*0.4, "middle", "", p.xLabel)
	text(0, 0, "middle", fmt.Sprintf(` transform="translate(%.2f,%.2f)rotate(-90)"`, letters, (y0+y1)/2), "lift, "+p.yUnit.String())
	b.WriteString("</svg>")
	// Drawn from numbers and fixed words alone: nothing that a person typed is
	// in it.
	return markup(b.String()), nil
}

// roundTicks are steps of 1, 2 or 5 times a power of ten, five of them at the most.
func roundTicks(from, to float64) []tick {
	step := math.Pow(10, math.Floor(math.Log10(to-from)))
	for step *= 0.1; (to-from)/step > 5; {
		for _, larger := range []float64{2, 2.5, 2} { // 2, 5, 10
			if step *= larger; (to-from)/step <= 5 {
				break
			}
		}
	}
	places := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	var out []tick
	for n := math.Ceil(from / step); n*step <= to; n++ {
		out = append(out, tick{n * step, strconv.FormatFloat(n*step+0, 'f', places, 64)})
	}
	return out
}

// crankTicks marks every 90 degrees, in the words of the trade at the dead
// centres.
func crankTicks(from, to float64) []tick {
	var out []tick
	for a := math.Ceil(from/90) * 90; a <= to; a += 90 {
		label := strconv.FormatFloat(a, 'f', -1, 64)
		switch int(math.Abs(a)) % 360 {
		case 0:
			label = "TDC"
		case 180:
			label = "BDC"
		}
		out = append(out, tick{a, label})
	}
	return out
}

// valvePicture draws a valve by itself: against the crank when it was timed,
// else as it was turned.
func valvePicture(v Valve, unit measure.Unit) (markup, error) {
	ink, dash := styleOf(v.Kind)
	p := picture{width: 8.2 * centimetre, height: 4.4 * centimetre, yUnit: unit, levels: []float64{v.Findings.HalfLift.Millimetres()}}
	points := v.Drawn
	p.xLabel = "seconds from the nose, as it was turned"
	if v.Timed != nil {
		points = curvePoints(v.Timed.Curve)
		p.xLabel, p.xTicks, p.uprights = "crank, degrees after TDC of the overlap", crankTicks, []float64{0}
	}
	return p.draw([]line{{points, dash, ink}})
}

// together draws all timed valves over one another.
func together(valves []Valve, unit measure.Unit) (markup, error) {
	p := picture{width: 17 * centimetre, height: 7.5 * centimetre, yUnit: unit,
		xLabel: "crank, degrees after TDC of the overlap", xTicks: crankTicks, uprights: []float64{0}}
	var lines []line
	for _, v := range valves {
		if v.Timed != nil {
			ink, dash := styleOf(v.Kind)
			lines = append(lines, line{curvePoints(v.Timed.Curve), dash, ink})
		}
	}
	return p.draw(lines)
}

// curvePoints takes what lies around the opening of a curve, thinned.
func curvePoints(curve []timing.Point) []Point {
	top := measure.Length(0)
	for _, p := range curve {
		top = max(top, p.Lift)
	}
	first, last := 0, len(curve)-1
	for first < last && curve[first].Lift < top/100 {
		first++
	}
	for last > first && curve[last].Lift < top/100 {
		last--
	}
	const room = 40 // points of half a degree
	first, last = max(0, first-room), min(len(curve)-1, last+room)
	var out []Point
	for _, p := range curve[first : last+1] {
		out = append(out, Point{p.Angle.Degrees(), p.Lift.Millimetres()})
	}
	return thinned(out)
}
