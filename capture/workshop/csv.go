package workshop

import (
	"bufio"
	"fmt"
	"io"

	"lobescribe/device/measure"
)

// WriteCSV writes the readings with the truth in columns of its own: an import
// takes the first and leaves the others alone.
func (s *Session) WriteCSV(w io.Writer) error {
	out := bufio.NewWriter(w)
	encoder := s.AngleStep > 0
	if encoder {
		fmt.Fprintln(out, "t_s,lift_mm,angle_deg,true_lift_mm,true_angle_deg,wrong")
	} else {
		fmt.Fprintln(out, "t_s,lift_mm,true_lift_mm,wrong")
	}
	for i, r := range s.Trace.Readings {
		p := s.Truth.Points[i]
		wrong := 0
		if p.Wrong {
			wrong = 1
		}
		if encoder {
			fmt.Fprintf(out, "%.6f,%s,%.6f,%s,%.6f,%d\n", r.At.Seconds(), mm(r.Lift), r.Angle.Degrees(), mm(p.Lift), p.Angle.Degrees(), wrong)
		} else {
			fmt.Fprintf(out, "%.6f,%s,%s,%d\n", r.At.Seconds(), mm(r.Lift), mm(p.Lift), wrong)
		}
	}
	return out.Flush()
}

func mm(l measure.Length) string { return l.Decimal(measure.InMillimetres, 6) }
