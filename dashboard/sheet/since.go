package sheet

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"lobescribe/device/measure"
	"lobescribe/storage"
)

// Since says what of a valve's set-up was changed after a trace was started, by its
// trials in order of time: "the stack and the lash were changed by the trial of 2
// Jan 15:04". It is empty when nothing known was changed; what neither trial tells
// is not known to have changed.
//
// A trial written down during or after the trace tells how the valve stood in it,
// as long as nothing differs from the trial before.
func Since(began time.Time, trials []storage.Trial, in *time.Location) string {
	stood := -1
	for i, t := range trials {
		if !t.At.After(began) {
			stood = i
		}
	}
	if stood < 0 {
		stood = 0 // what was written first is how it stood
	}
	if stood >= len(trials) {
		return ""
	}
	was := trials[stood]
	for _, now := range trials[stood+1:] {
		var what []string
		if !slices.Equal(was.Stack, now.Stack) {
			what = append(what, "the stack")
		}
		differs := func(a, b measure.Length) bool { return a != 0 && b != 0 && a != b }
		if differs(was.PushrodLength, now.PushrodLength) {
			what = append(what, "the pushrod")
		}
		if differs(was.Lash, now.Lash) {
			what = append(what, "the lash")
		}
		if len(what) > 0 {
			verb := "was"
			if len(what) > 1 {
				verb = "were"
			}
			return fmt.Sprintf("%s %s changed since, by the trial of %s", strings.Join(what, " and "), verb, now.At.In(in).Format("2 Jan 15:04"))
		}
	}
	return ""
}
