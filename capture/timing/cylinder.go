package timing

import (
	"math"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

// CylinderInput is what an intake valve shuts in.
type CylinderInput struct {
	// Compression is the compression ratio of the whole stroke; CompressionU its
	// expanded uncertainty (k = 2), default 0.1 (volumes poured in; common practice,
	// no source).
	Compression  float64  `json:"compression" bound:"compression"`
	CompressionU *float64 `json:"compression_u,omitempty" bound:"compression u"`
	// Bore gives the swept volume left in cm3.
	Bore measure.Length `json:"bore_mm,omitzero" bound:"bore"`
	// Crank is, in JSON, that of the request.
	Crank Crank `json:"-"`
}

const compressionU = 0.1

func (k CylinderInput) check(c *worksheet.Check, field string) {
	c.Within(field+".compression", k.Compression, 1.5, 40)
	if k.CompressionU != nil {
		c.Within(field+".compression_u", *k.CompressionU, 0, 10)
	}
	c.NotNegative(field+".bore_mm", k.Bore)
	if err := k.Crank.Check(); err != nil {
		c.That(false, "crank", "%s (what is trapped needs stroke_mm and rod_mm)", err)
	}
}

// Trapped is what is shut in when the intake closes at one checking lift, with the
// piston s below its top there (package comment of [Crank]):
//
//	swept volume left     s/stroke
//	effective compression 1 + (compression - 1) s/stroke
type Trapped struct {
	CheckingLift measure.Length `json:"checking_lift_mm"`
	ClosesAt     string         `json:"closes_says"`
	// Share of the swept volume that is left; Volume in cm3 where the bore is known.
	Share   float64  `json:"swept_left"`
	ShareU  float64  `json:"swept_left_u"`
	Volume  *float64 `json:"swept_left_cm3,omitempty"`
	VolumeU *float64 `json:"swept_left_u_cm3,omitempty"`
	// Ratio is the effective compression.
	Ratio  float64            `json:"effective_compression"`
	RatioU float64            `json:"effective_compression_u"`
	Says   worksheet.Sentence `json:"says"`
}

// lengthU is how well stroke and rod are known: a tape and a maker's figure (k = 2;
// common practice, no source).
const lengthU = 0.2 // mm

func (k CylinderInput) trapped(p Passage) Trapped {
	at := 360 - p.Closes.Angle.Degrees() // before the firing top dead centre
	stroke := k.Crank.Stroke.Millimetres()
	share := func(c Crank, at float64) float64 { return c.travel(at) / c.Stroke.Millimetres() }
	s := share(k.Crank, at)
	u := math.Abs(share(k.Crank, at+p.Closes.U.Degrees())-share(k.Crank, at-p.Closes.U.Degrees())) / 2
	longer := k.Crank
	longer.Rod += measure.FromMillimetres(lengthU)
	u = math.Hypot(u, share(longer, at)-s)
	longer = k.Crank
	longer.Stroke += measure.FromMillimetres(lengthU)
	u = math.Hypot(u, share(longer, at)-s)
	t := Trapped{CheckingLift: p.CheckingLift, ClosesAt: p.Closes.Says, Share: s, ShareU: u}
	t.Ratio = 1 + (k.Compression-1)*s
	t.RatioU = math.Hypot(orElse(k.CompressionU, compressionU)*s, (k.Compression-1)*u)
	t.Says = worksheet.Sayf("closing at %v, %s, leaves %.1f ± %.1f %% of the swept volume and an effective compression of %.2f ± %.2f (of %.4g)",
		p.CheckingLift, t.ClosesAt, 100*s, 100*u, t.Ratio, t.RatioU, k.Compression)
	if k.Bore > 0 {
		bore := k.Bore.Millimetres()
		v := math.Pi / 4 * sq(bore) * stroke * s / 1000
		t.Volume = &v
		t.VolumeU = new(v * worksheet.Combine(2*caliperU.Millimetres()/bore, u/s, lengthU/stroke))
	}
	return t
}
