package lift_test

// silentBounds is what TestWorkshop holds each kind to, without and with an
// encoder: how many of 100 sessions may be silently wrong, and how many must be
// told where the trouble moves a reading by more than 3 counts or 0.3 degrees.
var silentBounds = map[string][2]bound{
	"sound":           {{1, 0}, {1, 0}},
	"warm drift":      {{1, 0}, {1, 0}},
	"backward":        {{1, 0}, {1, 0}},
	"late port":       {{0, 0}, {1, 82}},
	"misread digit":   {{1, 87}, {1, 88}},
	"misread burst":   {{1, 76}, {1, 84}},
	"no lift":         {{1, 100}, {1, 100}},
	"frozen":          {{1, 29}, {1, 29}},
	"slow gauge":      {{1, 0}, {1, 85}},
	"sticking":        {{1, 74}, {1, 74}},
	"bleeding":        {{1.5, 61}, {0.5, 87}},
	"encoder slips":   {{0, 0}, {1, 96}},
	"encoder loses":   {{0, 0}, {1, 98}},
	"encoder counts":  {{0, 0}, {1, 99}},
	"heel runs out":   {{1, 52}, {1, 82}},
	"cut nose":        {{1, 50}, {1, 66}},
	"hangs free":      {{1.5, 25}, {1, 82}},
	"base slips":      {{1, 97}, {1, 98}},
	"knock":           {{1, 22}, {1, 21}},
	"tip skates off":  {{1.5, 97}, {1, 98}},
	"base slips open": {{1, 96}, {1, 97}},
	"stand yields":    {{2, 0}, {2, 0}},
	"spindle lifted":  {{1, 41}, {1, 74}},
	"unit switched":   {{1, 99}, {1, 99}},
	"re-zeroed":       {{1, 99}, {1, 99}},
	"encoder stands":  {{0, 0}, {1, 94}},
	"vibration":       {{1, 5}, {1, 2}},
	"digit dropped":   {{1, 97}, {1, 96}},
	"minus dropped":   {{1, 95}, {1, 95}},
	"lines twice":     {{1, 0}, {1, 0}},
	"port hiccups":    {{1, 0}, {1, 0}},
	"encoder glitch":  {{0, 0}, {1, 90}},
	"slack drive":     {{0, 0}, {1, 0}},
	"two at once":     {{1, 77}, {1, 86}},
}

type bound struct{ silent, told float64 }

// soundBounds is what is asked of sound sessions, without and with an encoder.
var soundBounds = [2]struct {
	falsely, counts, degrees, least, most float64
}{{0.5, 2.8, 0, 96, 2.4}, {0.5, 2.5, 0.22, 95, 2.6}}
