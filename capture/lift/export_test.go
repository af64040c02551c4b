package lift

import (
	"fmt"
	"math"
	"strings"

	"lobescribe/device/measure"
)

// FlankMeasures is what the tables of evidence ask of a flank.
type FlankMeasures struct{ Cut, Free [3]float64 }

// Measures returns those of a finished trace, all along one axis.
func Measures(t measure.Trace) (flanks []FlankMeasures) {
	a := NewAnalysis(Options{Resolution: t.Resolution})
	a.Add(t.Readings, t.Notes)
	if _, err := a.Findings(); err != nil {
		panic(err)
	}
	angles := false
	for _, m := range a.g.all {
		if !m.shape.ok || len(flanks) > 0 && m.shape.angles != angles {
			continue
		}
		angles = m.shape.angles
		for _, f := range m.shape.flanks {
			flanks = append(flanks, FlankMeasures{f.cut(), f.free()})
		}
	}
	return flanks
}

// Table is a table of evidence, for who learns it.
type Table = evidence

// NewTable returns one that knows where its entries stand and has no weights.
func NewTable(from, to [3]float64) *Table { return &Table{from: from, to: to} }

// Together is what flanks say together.
var Together = together

func (e *evidence) Size() int                                          { return len(e.weights) }
func (e *evidence) Corners(m [3]float64, f func(i int, share float64)) { e.corners(m, f) }
func (e *evidence) Of(m [3]float64) float64                            { return e.of(m) }

// Set puts weights into a table.
func (e *evidence) Set(weights []float64) {
	for i, w := range weights {
		e.weights[i] = int8(math.Round(max(min(w, mostWeight), -mostWeight) / weightUnit))
	}
}

// Source returns the table as it stands in evidence_tables.go.
func (e *evidence) Source(enough float64) string {
	var b strings.Builder
	numbers := func(x [3]float64) string { return fmt.Sprintf("[3]float64{%.3f, %.3f, %.3f}", x[0], x[1], x[2]) }
	fmt.Fprintf(&b, "from: %s, to: %s,\nenough: %.2f,\nweights: [...]int8{\n", numbers(e.from), numbers(e.to), enough)
	for i, w := range e.weights {
		fmt.Fprintf(&b, "%d,", w)
		if (i+1)%(thirdKnots*3) == 0 {
			b.WriteString("\n")
		}
	}
	b.WriteString("},\n")
	return b.String()
}
