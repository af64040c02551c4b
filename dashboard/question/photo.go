package question

import (
	"encoding/json"
	"math"

	"lobescribe/capture/rocker/photo"
	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// Photographs is what is asked about the photographs of a trial, with what is
// stored of its engine. A photograph without marks is left out.
func Photographs(e storage.Engine, t storage.Trial, list []storage.Photograph) (photo.Question, error) {
	q := photo.Question{ValveArm: e.RockerArm}
	if t.MaxLift != nil {
		q.Lift = *t.MaxLift
	}
	if e.Limits.Square > 0 {
		q.Tolerance = &e.Limits.Square
	}
	if e.BallAboveLine != nil && e.AdjusterArm > 0 {
		if sine := e.BallAboveLine.Millimetres() / e.AdjusterArm.Millimetres(); math.Abs(sine) < 0.7 {
			q.Bend = new(measure.FromDegrees(math.Asin(sine) * 180 / math.Pi))
		}
	}
	for _, p := range list {
		if len(p.Marks) == 0 {
			continue
		}
		one, err := Marks(p)
		if err != nil {
			return q, err
		}
		if one.Empty() { // just taken: its lift is known, its marks are to come
			continue
		}
		q.Photographs = append(q.Photographs, one)
	}
	if q.Lift == 0 {
		return q, worksheet.Wrongf("lift_mm", "is not known: record a turn for this trial, or type its max lift, so that half lift is known")
	}
	if len(q.Photographs) == 0 {
		return q, worksheet.Wrongf("photographs", "have no marks yet: mark the stem, the pivot and the tip")
	}
	return q, nil
}

// Marks are those of one photograph, whose size is the picture's own.
func Marks(p storage.Photograph) (photo.Photograph, error) {
	var one photo.Photograph
	err := json.Unmarshal(p.Marks, &one)
	one.Width, one.Height = p.Width, p.Height
	return one, err
}

// ByCalipers says whether the heights that were measured at a trial's half lift go
// with its photographs; nothing where one of the two is missing. Heights between
// round ends are taken as `calc rocker` takes them: to 0.2 mm, and to 0.5 mm of the
// centres.
func ByCalipers(a photo.Answer, t storage.Trial) (said worksheet.Sentence, ok bool) {
	if a.Adjuster == nil || t.AdjusterBelowValve == nil {
		return said, false
	}
	off := a.Adjuster.Below - *t.AdjusterBelowValve
	u := measure.FromMillimetres(worksheet.Combine(a.Adjuster.BelowU.Millimetres(), 0.2, 0.5))
	seen, measured := worksheet.Rounded(a.Adjuster.Below), *t.AdjusterBelowValve
	if off.Abs() <= u {
		return worksheet.Sayf("the photographs put the adjuster's end %v below the valve's, the calipers %v: they agree within ± %v", seen, measured, worksheet.Rounded(u)), true
	}
	return worksheet.Sayf("the photographs put the adjuster's end %v below the valve's, the calipers %v: more apart than their ± %v. Mark the ball and the tip again, and check which ends were measured and the sign", seen, measured, worksheet.Rounded(u)), true
}
