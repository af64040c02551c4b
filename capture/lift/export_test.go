package lift

import (
	"lobescribe/capture/lift/evidence"
	"lobescribe/device/measure"
)

// Flanks returns the measures of a finished trace's flanks, all along one axis.
func Flanks(t measure.Trace) (flanks []evidence.Flank) {
	a := NewAnalysis(Options{Told: t.Resolution})
	a.Add(t.Readings, t.Notes)
	if _, err := a.Findings(); err != nil {
		panic(err)
	}
	return a.g.verdict.flanks
}
