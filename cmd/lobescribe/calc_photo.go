package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"lobescribe/capture/rocker/photo"
	"lobescribe/device/measure"
)

func newCalcPhotoCommand() *cobra.Command {
	return calculation[photo.Question, photo.Answer]{
		use:   "photo",
		short: "How far a rocker stands from square, from marks on photographs",
		long: `How far the valve's arm of a rocker stands from square to the stem, and by how much
that asks the stand to be raised, from places marked on a photograph in pixels:
two on the stem's axis, the pivot, the tip (or its roller's axle), and if they can
be seen the adjuster's ball and the two ends of something of known length. A rim
instead of a centre is three marks or more around it: tip-rim, pivot-rim, ball-rim.

The picture is taken along the rocker's shaft, whole, with the tip in its middle, at
a lift that is known: at half lift or anywhere. Several photographs of one set-up
are fitted together.`,
		example: `  lobescribe calc photo --lift "0.435 in" --valve-arm "1.5 in" --photo "1600x1200: stem 810,640 812,1100; pivot 230,575; tip 808,600"
  lobescribe calc photo --lift "12 mm" --photo "1600x1200 @ 3.1 mm: stem 810,640 812,1100; pivot 230,575; tip-rim 770,600 808,640 846,600; ball 60,560" --photo "1600x1200 @ 9 mm: stem 811,650 812,1100; pivot 232,572; tip 806,690"`,
		flags: func(f *questionFlags, _ *photo.Question) {
			f.forms = map[string]func(string) (any, error){"photo": func(text string) (any, error) { return f.parsePhotograph(text) }}
		},
		compute: photo.Solve,
		table:   photoTable,
	}.command()
}

// photographForm is what --photo looks like.
const photographForm = `a photograph as in "1600x1200 @ 6.1 mm: stem 810,640 812,1100; pivot 230,575; tip 808,600"`

func (f *questionFlags) parsePhotograph(text string) (photo.Photograph, error) {
	var p photo.Photograph
	head, marks, ok := strings.Cut(text, ":")
	if !ok {
		return p, fmt.Errorf("%q: expected %s", text, photographForm)
	}
	size, lift, held := strings.Cut(head, "@")
	if _, err := fmt.Sscanf(strings.TrimSpace(size), "%dx%d", &p.Width, &p.Height); err != nil {
		return p, fmt.Errorf("%q is not a picture's size: expected %s", strings.TrimSpace(size), photographForm)
	}
	if held {
		l, err := f.parseLength(strings.TrimSpace(lift))
		if err != nil {
			return p, err
		}
		p.AtLift = &l
	}
	for part := range strings.SplitSeq(marks, ";") {
		name, rest, _ := strings.Cut(strings.TrimSpace(part), " ")
		if name == "" {
			continue
		}
		if name == "known" {
			// The length's number and unit stand before the two marks.
			at := strings.Index(rest, ",")
			number := strings.LastIndex(strings.TrimRight(rest[:max(at, 0)], "0123456789.-"), " ")
			if at < 0 || number < 0 {
				return p, fmt.Errorf("%q: expected a length and two marks, as in known 25 mm 100,200 500,200", part)
			}
			var err error
			if p.Known, err = f.parseLength(strings.TrimSpace(rest[:number])); err != nil {
				return p, err
			}
			rest = rest[number:]
		}
		points, err := parsePoints(rest)
		if err != nil {
			return p, err
		}
		two := func(a, b *[]photo.Point) error {
			if len(points) != 2 {
				return fmt.Errorf("%q has %d marks: expected two", strings.TrimSpace(part), len(points))
			}
			*a, *b = append(*a, points[0]), append(*b, points[1])
			return nil
		}
		switch name {
		case "stem":
			err = two(&p.StemA, &p.StemB)
		case "known":
			err = two(&p.KnownA, &p.KnownB)
		default:
			dst, ok := map[string]*[]photo.Point{"pivot": &p.Pivot, "pivot-rim": &p.PivotRim, "tip": &p.Tip, "tip-rim": &p.TipRim, "ball": &p.Ball, "ball-rim": &p.BallRim}[name]
			if !ok {
				return p, fmt.Errorf("%q is no place that is marked: expected stem, pivot, tip, ball, known, pivot-rim, tip-rim or ball-rim", name)
			}
			*dst = append(*dst, points...)
		}
		if err != nil {
			return p, err
		}
	}
	return p, nil
}

func parsePoints(text string) ([]photo.Point, error) {
	var points []photo.Point
	for word := range strings.FieldsSeq(text) {
		x, y, _ := strings.Cut(word, ",")
		px, errX := strconv.ParseFloat(x, 64)
		py, errY := strconv.ParseFloat(y, 64)
		if errX != nil || errY != nil {
			return nil, fmt.Errorf("%q is no mark: expected X,Y in pixels from the upper left corner", word)
		}
		points = append(points, photo.Point{X: px, Y: py})
	}
	return points, nil
}

func photoTable(t *answerTable, a photo.Answer) {
	t.line("square at half lift", "%s (to %s either way)", a.Verdict, t.length(a.Tolerance))
	t.line(either(a.Raise, "raise", "lower")+" the stand by", "%s", t.lengthU(a.Raise.Abs(), a.RaiseU))
	t.line("arm is square at", "%s of lift", t.lengthU(a.SquareAt, a.SquareAtU))
	t.line("arm at half lift", "%s %s square", angleU(measure.Angle(math.Abs(float64(a.HalfAngle))), a.HalfAngleU), armSide(a.HalfAngle))
	t.line("valve arm", "%s", t.lengthU(a.ValveArm, a.ValveArmU))
	if b := a.Adjuster; b != nil {
		t.line("adjuster arm", "%s, ratio of the arms %.3f ± %.3f", t.lengthU(b.Arm, b.ArmU), b.RockerRatio, b.RockerRatioU)
		t.line("bend", "%s, ball %s above the line of tip and pivot", angleU(b.Bend, b.BendU), t.lengthU(b.BallAboveLine, b.BallAboveLineU))
		t.line("adjuster below valve", "%s at half lift", t.lengthU(b.Below, b.BelowU))
	}
	for i, p := range a.Photographs {
		t.line(fmt.Sprintf("photograph %d", i+1), "at %s of lift: arm %s %s square, %.2f° off the fit of all", t.length(p.AtLift),
			angleU(measure.Angle(math.Abs(float64(p.Angle))), p.AngleU), armSide(p.Angle), p.Off.Degrees())
	}
	for _, d := range a.Depends {
		t.line("depends on", "%s: raise ± %s", d.On, t.length(d.RaiseU))
	}
	t.says(a.Says)
	t.basis(a.Basis)
}

func armSide(a measure.Angle) string {
	if a < 0 {
		return "above"
	}
	return "below"
}
