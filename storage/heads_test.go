package storage

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// Along the heads every valve stands once, or nothing is said.
func TestHeadsHoldEveryValveOnce(t *testing.T) {
	four := func(heads ...[]string) error {
		return Engine{ID: "v4", Cylinders: 4, Layout: Vee, ValvesPerCylinder: 2, Heads: heads}.Validate()
	}
	assert.NoError(t, four())
	assert.NoError(t, four([]string{"1E", "1I", "3I", "3E"}, []string{"2E", "2I", "4I", "4E"}))
	assert.ErrorContains(t, four([]string{"1E", "1I", "3I", "3E"}), "lacks 2E 2I 4E 4I")
	assert.ErrorContains(t, four([]string{"1E", "1E"}), `"1E", which is no valve of this engine or stands there twice`)
	assert.ErrorContains(t, four([]string{"9E"}), `"9E", which is no valve`)
}
