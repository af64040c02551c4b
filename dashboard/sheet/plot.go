package sheet

import (
	"bytes"
	"fmt"
	"html/template"
	"image/color"
	"math"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"

	"lobescribe/capture/timing"
	"lobescribe/device/measure"
)

// line is one curve of a plot. On paper, and for eyes that tell few colours,
// the dash tells the curves apart; colour only helps.
type line struct {
	points []Point
	dash   []vg.Length
	ink    color.Color
}

var (
	intakeInk  = color.RGBA{R: 0x0b, G: 0x4f, B: 0x8a, A: 0xff}
	exhaustInk = color.RGBA{R: 0xa3, G: 0x33, B: 0x0c, A: 0xff}
	pale       = color.RGBA{R: 0xc8, G: 0xc8, B: 0xc8, A: 0xff}
)

func styleOf(v timing.Valve) (ink color.Color, dash []vg.Length) {
	if v == timing.Exhaust {
		return exhaustInk, []vg.Length{vg.Points(5), vg.Points(2.5)}
	}
	return intakeInk, nil
}

// picture draws lines and returns the SVG, ready to stand in HTML. y is in
// millimetres and printed in unit.
type picture struct {
	width, height vg.Length
	xLabel        string
	yUnit         measure.Unit
	xTicks        plot.Ticker // default: plot's own
	uprights      []float64
	levels        []float64 // mm
}

func (p picture) draw(lines []line) (template.HTML, error) {
	pl := plot.New()
	pl.X.Label.Text = p.xLabel
	pl.Y.Label.Text = "lift, " + p.yUnit.String()
	small := vg.Points(7.5)
	pl.X.Label.TextStyle.Font.Size, pl.Y.Label.TextStyle.Font.Size = small, small
	pl.X.Tick.Label.Font.Size, pl.Y.Tick.Label.Font.Size = small, small
	pl.X.Tick.Length, pl.Y.Tick.Length = vg.Points(3), vg.Points(3)
	pl.BackgroundColor = nil // the paper's
	if p.xTicks != nil {
		pl.X.Tick.Marker = p.xTicks
	}
	one := p.yUnit.Length().Millimetres()
	left, right, top := math.Inf(1), math.Inf(-1), 0.0
	for _, l := range lines {
		for _, pt := range l.points {
			left, right, top = min(left, pt.X), max(right, pt.X), max(top, pt.Y/one)
		}
	}
	if left >= right || top == 0 {
		return "", fmt.Errorf("drawing a lift curve: there is nothing in it")
	}
	grid := plotter.NewGrid()
	grid.Horizontal.Color, grid.Vertical.Color = pale, pale
	grid.Horizontal.Width, grid.Vertical.Width = vg.Points(0.4), vg.Points(0.4)
	pl.Add(grid)
	for _, x := range p.uprights {
		if err := addLine(pl, plotter.XYs{{X: x, Y: 0}, {X: x, Y: top * 1.05}}, color.Gray{Y: 0x60}, vg.Points(0.7), []vg.Length{vg.Points(1), vg.Points(2)}); err != nil {
			return "", err
		}
	}
	for _, y := range p.levels {
		if err := addLine(pl, plotter.XYs{{X: left, Y: y / one}, {X: right, Y: y / one}}, color.Gray{Y: 0x60}, vg.Points(0.7), []vg.Length{vg.Points(1), vg.Points(2)}); err != nil {
			return "", err
		}
	}
	for _, l := range lines {
		xys := make(plotter.XYs, len(l.points))
		for i, pt := range l.points {
			xys[i] = plotter.XY{X: pt.X, Y: pt.Y / one}
		}
		if err := addLine(pl, xys, l.ink, vg.Points(1.1), l.dash); err != nil {
			return "", err
		}
	}
	pl.X.Min, pl.X.Max = left, right
	pl.Y.Min, pl.Y.Max = min(0, pl.Y.Min), top*1.05
	c := vgsvg.New(p.width, p.height)
	pl.Draw(draw.New(c))
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return "", fmt.Errorf("drawing a lift curve: %w", err)
	}
	// In HTML an SVG begins with its element; what a file has before it would
	// be taken for text.
	svg := b.Bytes()
	svg = svg[max(0, bytes.Index(svg, []byte("<svg"))):]
	// Drawn from numbers and fixed words alone: nothing that a person typed is
	// in it.
	return template.HTML(svg), nil
}

func addLine(pl *plot.Plot, xys plotter.XYs, ink color.Color, width vg.Length, dash []vg.Length) error {
	l, err := plotter.NewLine(xys)
	if err != nil {
		return fmt.Errorf("drawing a lift curve: %w", err)
	}
	l.Color, l.Width, l.Dashes = ink, width, dash
	pl.Add(l)
	return nil
}

// crankTicks marks every 90 degrees, in the words of the trade at the dead
// centres.
type crankTicks struct{}

// Ticks returns the marks between min and max.
func (crankTicks) Ticks(min, max float64) []plot.Tick {
	var out []plot.Tick
	for a := math.Ceil(min/90) * 90; a <= max; a += 90 {
		label := strconv.FormatFloat(a, 'f', -1, 64)
		switch int(math.Abs(a)) % 360 {
		case 0:
			label = "TDC"
		case 180:
			label = "BDC"
		}
		out = append(out, plot.Tick{Value: a, Label: label})
	}
	return out
}

// valvePicture draws a valve by itself: against the crank when it was timed,
// else as it was turned.
func valvePicture(v Valve, unit measure.Unit) (template.HTML, error) {
	ink, dash := styleOf(v.Kind)
	p := picture{width: 8.2 * vg.Centimeter, height: 4.4 * vg.Centimeter, yUnit: unit, levels: []float64{v.Findings.HalfLift.Millimetres()}}
	points := v.Drawn
	p.xLabel = "seconds from the nose, as it was turned"
	if v.Timed != nil {
		points = curvePoints(v.Timed.Curve)
		p.xLabel, p.xTicks, p.uprights = "crank, degrees after TDC of the overlap", crankTicks{}, []float64{0}
	}
	return p.draw([]line{{points, dash, ink}})
}

// together draws all timed valves over one another.
func together(valves []Valve, unit measure.Unit) (template.HTML, error) {
	p := picture{width: 17 * vg.Centimeter, height: 7.5 * vg.Centimeter, yUnit: unit,
		xLabel: "crank, degrees after TDC of the overlap", xTicks: crankTicks{}, uprights: []float64{0}}
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
