package storage

import (
	"encoding/json"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"lobescribe/device/measure"
)

// A store of schema 1 with top dead centre as its page wrote it: the angle in
// tdc_deg, the rest as a line of English in the notes.
func TestTopDeadCentreOutOfTheNotes(t *testing.T) {
	const line = "Top dead centre of cylinder 1: the encoder shows "
	deg := func(d float64) measure.Angle { return measure.FromDegrees(d) }
	cases := map[string]struct {
		doc   string
		want  *TopDeadCentre
		notes string
	}{
		"whole": {`{"tdc_deg":3.5,"notes":"Bored 0.5 over.\nOil: 20W-50\n` + line + `3.5° ± 0.2° there, found with a stop in the plug hole on 2026-11-25."}`,
			&TopDeadCentre{Angle: deg(3.5), U: deg(0.2), Method: TDCByStop, On: "2026-11-25"}, "Bored 0.5 over.\nOil: 20W-50"},
		"no-u": {`{"tdc_deg":-12.3457,"notes":"` + line + `-12.3457° there, typed in on 2026-11-26."}`,
			&TopDeadCentre{Angle: deg(-12.3457), Method: TDCTyped, On: "2026-11-26"}, ""},
		"piston": {`{"tdc_deg":0,"notes":"` + line + `0° ± 1.25° there, found with the indicator on the piston on 2026-01-02.\nlast"}`,
			&TopDeadCentre{U: deg(1.25), Method: TDCByPiston, On: "2026-01-02"}, "last"},
		"another-angle": {`{"tdc_deg":90,"notes":"x\n` + line + `3.5° there, typed in on 2026-11-26."}`, &TopDeadCentre{Angle: deg(90)}, "x"},
		"angle-alone":   {`{"tdc_deg":90,"notes":"x"}`, &TopDeadCentre{Angle: deg(90)}, "x"},
		"line-alone":    {`{"notes":"` + line + `3.5° there, typed in on 2026-11-26."}`, nil, ""},
		"neither":       {`{"notes":"Top dead centre of cylinder 2 is marked"}`, nil, "Top dead centre of cylinder 2 is marked"},
		"way-unknown": {`{"tdc_deg":3.5,"notes":"` + line + `3.5° ± 0.2° there, felt with a finger on 2026-11-25."}`,
			&TopDeadCentre{Angle: deg(3.5), U: deg(0.2), On: "2026-11-25"}, ""},
	}
	path := filepath.Join(t.TempDir(), "s")
	s, err := Open(path, Options{})
	require.NoError(t, err)
	for id, c := range cases {
		var doc map[string]any
		require.NoError(t, json.Unmarshal([]byte(c.doc), &doc))
		doc["id"], doc["cylinders"], doc["valves_per_cylinder"], doc["of_a_later_version"] = id, 4, 2, "kept"
		_, err := s.putDoc(kindEngine, id, 0, doc)
		require.NoError(t, err)
	}
	require.NoError(t, s.update(OpOpen, func(tx *bbolt.Tx) error {
		if err := tx.Bucket([]byte(bucketDocs)).Put(docKey(kindEngine, "hurt"), []byte("not a document")); err != nil {
			return err
		}
		return putSchema(tx, 1)
	}))
	require.NoError(t, s.Close())

	s, err = Open(path, Options{})
	require.NoError(t, err)
	defer s.Close()
	for id, c := range cases {
		e, err := s.Engine(id)
		require.NoError(t, err, id)
		assert.Equal(t, c.want, e.TDC, id)
		assert.Equal(t, c.notes, e.Notes, id)
		assert.NoError(t, e.Validate(), id)
		doc, _, err := s.DocumentJSON(ErrandEngine, id)
		require.NoError(t, err)
		assert.NotContains(t, string(doc), "tdc_deg", id)
		assert.Contains(t, string(doc), `"of_a_later_version":"kept"`, id)
	}
	_, err = s.Engine("hurt")
	assert.NotEmpty(t, DamagesIn(err), "it stays as it is, and says so")
}
