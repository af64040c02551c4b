package sheet

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"lobescribe/device/measure"
	"lobescribe/storage"
)

func TestSince(t *testing.T) {
	at := func(hour int) time.Time { return time.Date(2026, 1, 2, hour, 0, 0, 0, time.UTC) }
	trial := func(hour int, stack, rod, lash measure.Length) storage.Trial {
		return storage.Trial{At: at(hour), Stack: []measure.Length{stack}, PushrodLength: rod, Lash: lash}
	}
	const um = measure.Micrometre
	first := trial(8, 380*um, 220_000*um, 0)
	for name, c := range map[string]struct {
		began  int
		trials []storage.Trial
		says   string
	}{
		"no trial":                       {9, nil, ""},
		"one trial before":               {9, []storage.Trial{first}, ""},
		"the same again after it":        {9, []storage.Trial{first, trial(10, 380*um, 220_000*um, 0)}, ""},
		"another stack after it":         {9, []storage.Trial{first, trial(10, 760*um, 220_000*um, 0)}, "the stack was changed since, by the trial of 2 Jan 10:00"},
		"stack and rod":                  {9, []storage.Trial{first, trial(10, 760*um, 221_000*um, 0)}, "the stack and the pushrod were changed since, by the trial of 2 Jan 10:00"},
		"measured again after it":        {11, []storage.Trial{first, trial(10, 760*um, 220_000*um, 0)}, ""},
		"a lash that was not told first": {9, []storage.Trial{first, trial(10, 380*um, 220_000*um, 250*um)}, ""},
		"changed and changed back":       {9, []storage.Trial{first, trial(10, 760*um, 0, 0), trial(11, 380*um, 0, 0)}, "the stack was changed since, by the trial of 2 Jan 10:00"},
		"written down only afterwards":   {7, []storage.Trial{first}, ""},
	} {
		assert.Equal(t, c.says, Since(at(c.began), c.trials, time.UTC), name)
	}
}
