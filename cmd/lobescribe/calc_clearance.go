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
	f.forms = map[string]func(string) (any, error){
		"curve": func(path string) (any, error) { return readLiftCurve(path) },
	}
	// One lift serves coils and retainer, and may stand before or after them.
	lift := struct {
		Lift measure.Length `json:"lift_mm" flag:"lift" help:"full lift at the valve, for coils and retainer"`
	}{}
	f.question(&lift, "coil_bind")
	f.key("retainer.lift_mm", "lift")
	f.finish = func() {
		if q.CoilBind != nil {
			q.CoilBind.Lift = lift.Lift
		}
		if q.Retainer != nil {
			q.Retainer.Lift = lift.Lift
		}
	}
}

// mostCurveBytes bounds a lift curve's file: a tenth of a degree is a
// hundredth of it.
const mostCurveBytes = 8 << 20

// readLiftCurve reads a CSV with the columns angle_deg and lift_mm; others are
// left alone.
func readLiftCurve(path string) ([]clearance.CurvePoint, error) {
	file, err := openText(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	if info, err := os.Stat(path); err == nil && info.Size() > mostCurveBytes {
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
