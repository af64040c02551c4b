package timing

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"lobescribe/device/measure"
)

// ReadPoints reads lifts above the heel against crank angle from CSV with a
// header row: a column angle_deg and one of lift_mm or lift_in. Other columns
// are passed over, lines that begin with # too. It is how somebody hands over
// what was written down beside a degree wheel.
func ReadPoints(r io.Reader) ([]Point, error) {
	in := csv.NewReader(r)
	in.Comment = '#'
	in.TrimLeadingSpace = true
	head, err := in.Read()
	if err != nil {
		return nil, fmt.Errorf("reading the header row: %w (expected the columns angle_deg and lift_mm or lift_in)", err)
	}
	angle, lift, unit := -1, -1, measure.Millimetre
	for i, name := range head {
		switch strings.ToLower(strings.TrimSpace(strings.TrimPrefix(name, "\ufeff"))) {
		case "angle_deg":
			angle = i
		case "lift_mm", "lift_in":
			if lift >= 0 {
				return nil, fmt.Errorf("the header row has two columns of lift: which of the two is meant?")
			}
			lift = i
			if strings.HasSuffix(strings.ToLower(strings.TrimSpace(name)), "in") {
				unit = measure.Inch
			}
		}
	}
	if angle < 0 || lift < 0 {
		return nil, fmt.Errorf("the header row %q lacks a column: expected angle_deg and lift_mm or lift_in", strings.Join(head, ","))
	}
	var out []Point
	for {
		row, err := in.Read()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return nil, fmt.Errorf("reading points: %w", err)
		}
		line, _ := in.FieldPos(0)
		a, err := number(row[angle], 1e6)
		if err != nil {
			return nil, fmt.Errorf("line %d, angle_deg: %w", line, err)
		}
		l, err := number(row[lift], 1e6)
		if err != nil {
			return nil, fmt.Errorf("line %d, %s: %w", line, strings.TrimSpace(head[lift]), err)
		}
		if len(out) == most {
			return nil, fmt.Errorf("line %d: more than %d points: thin them out", line, most)
		}
		out = append(out, Point{measure.FromDegrees(a), measure.Length(math.Round(l * float64(unit)))})
	}
}

// number reads a finite number within ± limit.
func number(text string, limit float64) (float64, error) {
	v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	if err != nil || math.IsNaN(v) || math.Abs(v) > limit {
		return 0, fmt.Errorf("%q is not a usable number", text)
	}
	return v, nil
}
