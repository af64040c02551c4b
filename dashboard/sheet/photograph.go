package sheet

import (
	"encoding/base64"
	"fmt"
	"strings"

	"lobescribe/capture/rocker/photo"
	"lobescribe/storage"
)

// printedSide is a printed photograph's longer side in pixels: 70 mm at 170 dots
// an inch.
const printedSide = 480

// photographed is a photograph with its marks as an SVG that needs nothing else.
// Only numbers and the picture's own bytes in base64 go into it.
func photographed(p storage.Photograph, marks photo.Photograph) (markup, error) {
	small, err := p.Small(printedSide)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg viewBox="0 0 %d %d" role="img" aria-label="The rocker, with its marks"><image width="%[1]d" height="%[2]d" href="data:image/jpeg;base64,%s"/>`,
		p.Width, p.Height, base64.StdEncoding.EncodeToString(small))
	arm := float64(max(p.Width, p.Height)) / 60
	line := func(a, b2 []photo.Point) {
		if len(a) > 0 && len(b2) > 0 {
			for _, pen := range []string{`stroke="#fff" stroke-width="%g"`, `stroke="#111" stroke-width="%g"`} {
				width := arm / 4
				if strings.Contains(pen, "fff") {
					width = arm / 2
				}
				fmt.Fprintf(&b, `<line x1="%g" y1="%g" x2="%g" y2="%g" `+pen+`/>`, a[0].X, a[0].Y, b2[0].X, b2[0].Y, width)
			}
		}
	}
	line(marks.StemA, marks.StemB)
	line(marks.Pivot, marks.Tip)
	line(marks.Pivot, marks.Ball)
	for _, list := range [][]photo.Point{marks.StemA, marks.StemB, marks.Pivot, marks.PivotRim, marks.Tip, marks.TipRim, marks.Ball, marks.BallRim, marks.KnownA, marks.KnownB} {
		for _, at := range list {
			fmt.Fprintf(&b, `<circle cx="%g" cy="%g" r="%g" fill="none" stroke="#fff" stroke-width="%g"/><circle cx="%[1]g" cy="%[2]g" r="%[3]g" fill="none" stroke="#111" stroke-width="%[5]g"/>`,
				at.X, at.Y, arm, arm/2, arm/4)
		}
	}
	b.WriteString("</svg>")
	return markup(b.String()), nil
}
