package clearance

import (
	"math"

	"lobescribe/capture/worksheet"
	"lobescribe/device/measure"
)

func (q SlotQuestion) solve() (SlotAnswer, error) {
	var a SlotAnswer
	var c worksheet.Check
	c.Positive("slot.slot_length_mm", q.Slot)
	c.Positive("slot.stud_diameter_mm", q.Stud)
	c.NotNegative("slot.height_mm", q.Height)
	c.Lean("slot.closed_deg", q.Closed, 45*measure.Degree)
	c.Lean("slot.full_deg", q.Full, 45*measure.Degree)
	c.Lean("slot.centred_deg", q.Centred, 45*measure.Degree)
	c.That(q.Closed < q.Full, "slot.full_deg", "is %v, not above closed_deg, %v: the rocker turns as the valve opens", q.Full, q.Closed)
	checkOptional(&c, "slot.limit_mm", q.Limit)
	checkOptional(&c, "slot.length_u_mm", q.U)
	if err := c.Err(); err != nil {
		return a, err
	}
	if q.Stud >= q.Slot {
		return a, worksheet.Wrongf("slot.stud_diameter_mm", "is %v, which does not pass a slot of %v: check both", q.Stud, q.Slot)
	}
	u := orDefault(q.U, 100*measure.Micrometre).Millimetres()
	for _, end := range []struct {
		dst  *Gap
		at   measure.Angle
		what string
	}{{&a.Closed, q.Closed, "slot to stud, valve closed"}, {&a.Full, q.Full, "slot to stud, full lift"}} {
		phi := (end.at - q.Centred).Degrees() * math.Pi / 180
		tan := math.Abs(math.Tan(phi))
		left := q.Slot.Millimetres()/2 - q.Height.Millimetres()*tan - q.Stud.Millimetres()/(2*math.Cos(phi))
		*end.dst = Gap{
			Left:  measure.FromMillimetres(left),
			LeftU: measure.FromMillimetres(worksheet.Combine(u/2, u*tan, u/(2*math.Cos(phi)))),
			Limit: q.Limit, Usual: usualSlot,
		}.judged(end.what)
	}
	return a, nil
}
