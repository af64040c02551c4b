package lift_test

// silentBounds is what TestWorkshop holds each kind to, without and with an
// encoder: how many of 100 sessions may be silently wrong, and how many must be
// told where the trouble moves a reading by more than 3 counts or 0.3 degrees.
var silentBounds = map[string][2]bound{
	"sound":          {{1, 0}, {1, 0}},
	"warm drift":     {{1, 0}, {1, 0}},
	"backward":       {{1, 0}, {1, 0}},
	"late port":      {{0, 0}, {1, 91}},
	"misread digit":  {{1, 88}, {1, 88}},
	"misread burst":  {{3, 81}, {2, 81}},
	"no lift":        {{1, 100}, {1, 100}},
	"frozen":         {{1, 26}, {2, 26}},
	"slow gauge":     {{3, 0}, {1, 93}},
	"sticking":       {{2, 81}, {2, 81}},
	"bleeding":       {{3, 61}, {2, 84}},
	"encoder slips":  {{0, 0}, {2, 96}},
	"encoder loses":  {{0, 0}, {2, 98}},
	"encoder counts": {{0, 0}, {1, 99}},
	"heel runs out":  {{2, 59}, {2, 81}},
	"cut nose":       {{2, 34}, {1, 92}},
	"hangs free":     {{4, 20}, {2, 69}},
	"base slips":     {{1, 96}, {1, 96}},
	"knock":          {{1, 22}, {1, 22}},
	"vibration":      {{1, 1}, {1, 1}},
	"digit dropped":  {{1, 96}, {1, 96}},
	"minus dropped":  {{1, 95}, {1, 95}},
	"lines twice":    {{1, 0}, {1, 0}},
	"port hiccups":   {{1, 0}, {1, 0}},
	"encoder glitch": {{0, 0}, {1, 91}},
	"slack drive":    {{0, 0}, {1, 0}},
	"two at once":    {{2, 70}, {2, 85}},
}

type bound struct{ silent, told float64 }

// soundBounds is what is asked of sound sessions, without and with an encoder.
var soundBounds = [2]struct {
	falsely, counts, degrees, least, most float64
}{{1, 2.8, 0, 93, 1.25}, {1, 2.5, 0.22, 93, 1.1}}
