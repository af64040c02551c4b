package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"lobescribe/capture/clearance"
	"lobescribe/device/measure"
)

func newCalcClearanceCommand() *cobra.Command {
	return calculation[clearance.Question, clearance.Answer]{
		use:   "clearance",
		short: "Valve to piston through the overlap, coil bind, retainer to seal, slot to stud",
		long: `What is left between parts that must not meet, against limits that you give: valve
to piston through the overlap (from the valve's lift curve and one measured
clearance, for several lashes and cam timings), coils at full lift, retainer to
seal, rocker slot to stud. Ask for one or for several.

The usual minimums stand beside the answer as common practice. The maker's
figures go before all of it.`,
		example: `  lobescribe calc clearance --stroke "69 mm" --con-rod "137 mm" --curve intake.csv --measured "3.1 mm" --measured-at 10 --piston-limit "2 mm"
  lobescribe calc clearance --installed "1.800 in" --lift "0.480 in" --solid "1.150 in" --coil-limit "0.060 in" --retainer-gap "0.560 in"`,
		flags:   clearanceFlags,
		compute: clearance.Solve,
		table:   clearanceTable,
	}.command()
}

func clearanceFlags(f *questionFlags, q *clearance.Question) {
	var (
		piston   clearance.PistonQuestion
		coils    clearance.CoilBindQuestion
		retainer clearance.RetainerQuestion
		slot     clearance.SlotQuestion
		lift     measure.Length
	)
	length := func(dst *measure.Length, asked func(), name, usage string) {
		f.value(name, "length", usage, func(text string) (err error) {
			asked()
			*dst, err = f.parseLength(text)
			return err
		})
	}
	aPiston := func() { q.Piston = &piston }
	aSlot := func() { q.Slot = &slot }

	length(&piston.Stroke, aPiston, "stroke", "stroke of the crank; asks for valve to piston")
	length(&piston.Rod, aPiston, "con-rod", "connecting rod between its centres")
	f.word(&piston.Valve, "valve", "intake or exhaust (default intake)")
	f.value("curve", "FILE", "lift curve: CSV with a header row, columns angle_deg and lift_mm, angles rising", func(path string) (err error) {
		aPiston()
		piston.Curve, err = readLiftCurve(path)
		return err
	})
	f.angle(&piston.TDC, "tdc", "angle of the curve at top dead centre of the overlap (default 0)")
	f.lengthOrNone(&piston.Measured, "measured", "clearance measured by pushing the valve open until it touched")
	f.angleOrNone(&piston.MeasuredAt, "measured-at", "angle of the curve at which that was")
	f.angle(&piston.ValveLean, "valve-lean", "the valve's lean against the cylinder")
	f.word(&piston.Crown, "crown", "parallel (a pocket square to the valve, default) or flat")
	f.length(&piston.CurveLash, "curve-lash", "lash at the valve with which the curve was taken")
	f.lengths(&piston.Lashes, "lash", "lashes to work it out for, by commas")
	f.angles(&piston.Cam, "cam", "cam advance in crank degrees to work it out for, by commas (default -8 to 8 by 2)")
	f.lengthOrNone(&piston.Limit, "piston-limit", "least clearance to keep between valve and piston")

	f.length(&lift, "lift", "full lift at the valve, for coils and retainer")
	length(&coils.Installed, func() { q.CoilBind = &coils }, "installed", "installed height of the spring; asks for coil bind")
	f.length(&coils.Solid, "solid", "solid height of the spring")
	f.lengthOrNone(&coils.Limit, "coil-limit", "what is to be left to coil bind")
	length(&retainer.Closed, func() { q.Retainer = &retainer }, "retainer-gap", "retainer to seal with the valve closed; asks for it at full lift")
	f.lengthOrNone(&retainer.Limit, "retainer-limit", "least to keep between retainer and seal")

	length(&slot.Slot, aSlot, "slot", "length of the rocker's slot; asks for slot to stud")
	f.length(&slot.Stud, "stud", "diameter of the stud")
	f.length(&slot.Height, "slot-height", "pivot's centre to the farther face of the slot")
	f.angle(&slot.Closed, "closed-angle", "rocker's angle with the valve closed, as calc rocker gives it")
	f.angle(&slot.Full, "full-angle", "rocker's angle at full lift")
	f.angle(&slot.Centred, "slot-centred", "angle at which the slot stands even about the stud (default 0)")
	f.lengthOrNone(&slot.Limit, "slot-limit", "least to keep between slot and stud")

	// One lift serves coils and retainer, and may stand before or after them.
	f.finish = func() { coils.Lift, retainer.Lift = lift, lift }
}

// mostCurveBytes bounds a lift curve's file: a tenth of a degree is a
// hundredth of it.
const mostCurveBytes = 8 << 20

// readLiftCurve reads a CSV with the columns angle_deg and lift_mm; others are
// left alone.
func readLiftCurve(path string) ([]clearance.CurvePoint, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("opening the lift curve: %w", err)
	}
	defer file.Close()
	if info, err := file.Stat(); err == nil && info.Size() > mostCurveBytes {
		return nil, fmt.Errorf("%s is larger than %d MB: thin the curve out", path, mostCurveBytes>>20)
	}
	in := csv.NewReader(io.LimitReader(file, mostCurveBytes))
	in.TrimLeadingSpace = true
	header, err := in.Read()
	if err != nil {
		return nil, fmt.Errorf("%s has no header row: expected the columns angle_deg and lift_mm", path)
	}
	for i := range header {
		header[i] = strings.TrimSpace(strings.TrimPrefix(header[i], "\ufeff"))
	}
	angle, lift := slices.Index(header, "angle_deg"), slices.Index(header, "lift_mm")
	if angle < 0 || lift < 0 {
		return nil, fmt.Errorf("%s has the columns %s: expected angle_deg and lift_mm", path, strings.Join(header, ", "))
	}
	var curve []clearance.CurvePoint
	for {
		row, err := in.Read()
		if errors.Is(err, io.EOF) {
			return curve, nil
		}
		if err != nil {
			return nil, fmt.Errorf("reading %s: %w", path, err)
		}
		line, _ := in.FieldPos(angle)
		a, err := measure.ParseAngle(row[angle])
		if err != nil {
			return nil, fmt.Errorf("%s, line %d: %w", path, line, err)
		}
		l, err := measure.ParseLengthIn(row[lift], measure.InMillimetres)
		if err != nil {
			return nil, fmt.Errorf("%s, line %d: %w", path, line, err)
		}
		curve = append(curve, clearance.CurvePoint{Angle: a, Lift: l})
	}
}

func clearanceTable(t *answerTable, a clearance.Answer) {
	if p := a.Piston; p != nil {
		t.gap("valve to piston", p.Least)
		t.line("nearest at", "%s, lift %s, piston %s down", p.Where, t.length(p.Lift), t.length(p.Piston))
		t.line("valve drop at TDC", "%s", t.length(p.Drop))
		for _, c := range p.Cases {
			says := ""
			if p.Least.Limit != nil {
				says = ", limit: " + c.Verdict.String()
			}
			t.line("cam", "%+.1f° lash %s: least %s at %.1f°%s", c.Cam.Degrees(), t.length(c.Lash), t.length(c.Least), c.At.Degrees(), says)
		}
		t.says(p.Says)
	}
	if a.CoilBind != nil {
		t.gap("coil bind", *a.CoilBind)
	}
	if a.Retainer != nil {
		t.gap("retainer to seal", *a.Retainer)
	}
	if a.Slot != nil {
		t.gap("slot, closed", a.Slot.Closed)
		t.gap("slot, full lift", a.Slot.Full)
	}
	t.basis(a.Basis)
}
