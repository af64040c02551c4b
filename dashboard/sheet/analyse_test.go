package sheet_test

import (
	"lobescribe/capture/lift"
	"lobescribe/device/measure"
)

func analyse(t measure.Trace) (lift.Findings, error) { return lift.Analyse(t, lift.Options{}) }
