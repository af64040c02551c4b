package main

import (
	"fmt"
	"io"
	"text/tabwriter"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
)

// tableFindings prints findings for a person at the engine.
func tableFindings(w io.Writer, f lift.Findings, u measure.Unit) error {
	if len(f.Openings) > 0 {
		t := tabwriter.NewWriter(w, 0, 4, 2, ' ', tabwriter.AlignRight)
		angles := f.Openings[0].NoseAngle != nil
		fmt.Fprint(t, "opening\tnose at\tmax lift\t± (k=2)\thalf lift\tindicator at half\t")
		if angles {
			fmt.Fprint(t, "half, opening\tnose\thalf, closing\t")
		}
		fmt.Fprintln(t)
		for i, o := range f.Openings {
			fmt.Fprintf(t, "%d\t%.1f s\t%s\t%s\t%s\t%s\t", i+1, o.Nose.Seconds(),
				o.MaxLift.In(u), o.MaxLiftU.In(u), o.HalfLift.In(u), o.ClosingHalf.Reading.In(u))
			if angles {
				fmt.Fprintf(t, "%s\t%s\t%s\t", crossed(o.OpeningHalf), degrees(o.NoseAngle), crossed(o.ClosingHalf))
			}
			fmt.Fprintln(t)
		}
		if err := t.Flush(); err != nil {
			return err
		}
		fmt.Fprintf(w, "\nmax lift  %s ± %s (k=2, mean of %d)\n", f.MaxLift.In(u), f.MaxLiftU.In(u), len(f.Openings))
		fmt.Fprintf(w, "half lift %s\n", f.HalfLift.In(u))
		if d := f.Drive; d != nil {
			fmt.Fprintf(w, "drive     %s\n", d.Says)
		}
		fmt.Fprintf(w, "spread    %s over the openings; indicator's step %s\n", f.Spread.In(u), f.Resolution.In(u))
	}
	for _, h := range f.Held {
		fmt.Fprintf(w, "the ± holds %s for this: %s\n", h.By.In(u), h.Says)
	}
	for _, fault := range f.Faults {
		fmt.Fprintf(w, "! %s at %.1f s: %s\n", fault.Kind, fault.At.Seconds(), fault.Says.In(u))
	}
	return nil
}

// crossed prints the angle of a crossing with its uncertainty.
func crossed(c lift.Crossing) string {
	if c.Angle == nil || c.AngleU == nil {
		return degrees(c.Angle)
	}
	return fmt.Sprintf("%.2f ± %.2f°", c.Angle.Degrees(), c.AngleU.Degrees())
}

// degrees prints an angle to a twentieth of what a hand can set.
func degrees(a *measure.Angle) string {
	if a == nil {
		return "-"
	}
	return fmt.Sprintf("%.2f°", a.Degrees())
}
