package lift_test

// silentBounds is what TestWorkshop holds each kind to, without and with an
// encoder: how many of 100 sessions may be silently wrong, and how many must be
// told where the trouble moves a reading by more than 3 counts or 0.3 degrees.
var silentBounds = map[string][2]bound{
	"sound":           {{1, 0}, {1, 0}},
	"warm drift":      {{1, 0}, {1, 0}},
	"backward":        {{1, 0}, {1, 0}},
	"late port":       {{0, 0}, {1, 86}},
	"misread digit":   {{1, 88}, {1, 88}},
	"misread burst":   {{2, 82}, {1, 82}},
	"no lift":         {{1, 100}, {1, 100}},
	"frozen":          {{1, 26}, {2, 26}},
	"slow gauge":      {{1, 0}, {1, 89}},
	"sticking":        {{1, 81}, {1, 81}},
	"bleeding":        {{3, 61}, {1, 84}},
	"encoder slips":   {{0, 0}, {2, 96}},
	"encoder loses":   {{0, 0}, {2, 98}},
	"encoder counts":  {{0, 0}, {1, 99}},
	"heel runs out":   {{1, 59}, {1, 81}},
	"cut nose":        {{1, 79}, {1, 99}},
	"hangs free":      {{1, 30}, {1, 77}},
	"base slips":      {{1, 96}, {1, 96}},
	"knock":           {{1, 22}, {1, 22}},
	"tip skates off":  {{6, 85}, {2, 93}},
	"base slips open": {{2, 95}, {1, 97}},
	"stand yields":    {{7, 0}, {9, 0}},
	"unit switched":   {{6, 93}, {1, 98}},
	"re-zeroed":       {{1, 95}, {1, 97}},
	"encoder stands":  {{0, 0}, {2, 90}},
	"vibration":       {{1, 1}, {1, 1}},
	"digit dropped":   {{1, 96}, {1, 96}},
	"minus dropped":   {{1, 95}, {1, 95}},
	"lines twice":     {{1, 0}, {1, 0}},
	"port hiccups":    {{1, 0}, {1, 0}},
	"encoder glitch":  {{0, 0}, {1, 90}},
	"slack drive":     {{0, 0}, {1, 0}},
	"two at once":     {{2, 72}, {1, 86}},
}

type bound struct{ silent, told float64 }

// soundBounds is what is asked of sound sessions, without and with an encoder.
var soundBounds = [2]struct {
	falsely, counts, degrees, least, most float64
}{{1, 2.8, 0, 96, 1.8}, {1, 2.5, 0.22, 95, 1.5}}
