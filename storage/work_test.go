package storage

import (
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"lobescribe/device/measure"
)

func rods(engine string) Work {
	return Work{Engine: engine, Kind: WorkPushrod, At: time.Date(2026, 3, 14, 10, 0, 0, 0, time.UTC),
		Question: json.RawMessage(`{"rods":[{"valve":"1I","checking_rod_mm":200.5}]}`)}
}

func TestWorks(t *testing.T) {
	s := newStore(t, Options{})
	trial, err := s.PutTrial(Trial{Engine: "x", Valve: "1I"})
	require.NoError(t, err)
	a, err := s.PutWork(rods("x"))
	require.NoError(t, err)
	assert.EqualValues(t, 1, a.Rev)
	assert.NotEqual(t, trial.ID, a.ID)
	b, err := s.PutWork(Work{Engine: "y", Valve: "1E", Kind: WorkSpring, Question: json.RawMessage(`{}`)})
	require.NoError(t, err)
	assert.Greater(t, b.ID, a.ID, "names sort by age")

	got, err := s.Work(a.ID)
	require.NoError(t, err)
	assert.Equal(t, a, got)
	list, err := s.Works("x")
	require.NoError(t, err)
	assert.Equal(t, []Work{a}, list)
	list, err = s.Works("")
	require.NoError(t, err)
	assert.Equal(t, []Work{a, b}, list)

	a.Question = json.RawMessage(`{"checking_rod_mm":201}`)
	changed, err := s.PutWork(a)
	require.NoError(t, err)
	assert.EqualValues(t, 2, changed.Rev)
	_, err = s.PutWork(a)
	require.ErrorIs(t, err, ErrStale)
	got, err = s.Work(a.ID)
	require.NoError(t, err)
	assert.JSONEq(t, `{"checking_rod_mm":201}`, string(got.Question), "a question is changed as a whole")

	rep, err := s.Verify(t.Context())
	require.NoError(t, err)
	assert.True(t, rep.Whole(), "%s", rep)
	assert.Equal(t, 3, rep.Documents, "a trial and two works")

	require.ErrorIs(t, s.DeleteWork(a.ID, 1), ErrStale)
	require.NoError(t, s.DeleteWork(a.ID, 2))
	_, err = s.Work(a.ID)
	require.ErrorIs(t, err, ErrNotFound)
	_, err = s.PutWork(changed)
	require.ErrorIs(t, err, ErrStale, "it was deleted in the meantime")
}

func TestWorkValidateNamesTheField(t *testing.T) {
	s := newStore(t, Options{})
	before, err := s.nextWork()
	require.NoError(t, err)
	for field, spoil := range map[string]func(*Work){
		"id":       func(w *Work) { w.ID = "../x" },
		"engine":   func(w *Work) { w.Engine = "" },
		"kind":     func(w *Work) { w.Kind = "horoscope" },
		"question": func(w *Work) { w.Question = nil },
	} {
		w := rods("x")
		spoil(&w)
		_, err := s.PutWork(w)
		var wrong *FieldError
		require.ErrorAs(t, err, &wrong)
		assert.Equal(t, field, wrong.Field())
	}
	for _, question := range []string{`null`, `[]`, `7`, `"{}"`, `{`, `{} {}`, `{"x":"` + strings.Repeat("x", MostQuestion) + `"}`} {
		w := rods("x")
		w.Question = json.RawMessage(question)
		_, err := s.PutWork(w)
		assert.ErrorContains(t, err, "question ", "%.20s", question)
	}
	w := rods("x")
	w.Valve, w.Kind = "3I", "clearances"
	_, err = s.PutWork(w)
	assert.EqualError(t, err, `work "new": kind is "clearances"; write pushrod, clearance, spring or rocker`)
	after, err := s.PutWork(rods("x"))
	require.NoError(t, err)
	assert.Equal(t, []string{"w000001", "w000002"}, []string{before, after.ID}, "what was refused cost no number")
}

// Field errors of the other documents name their field the same way, and their
// texts are what they were.
func TestFieldErrors(t *testing.T) {
	e := eight()
	e.CamCard.ExhaustCloses = angle(400)
	far := 1001 * measure.Turn
	turned := eight()
	turned.TDC = &TopDeadCentre{Angle: far}
	for err, want := range map[error][2]string{
		e.Validate():                              {"cam_card.ec_atdc_deg", `engine "small-block": cam_card.ec_atdc_deg is 400 deg; it must be within 360 degrees`},
		turned.Validate():                         {"tdc.angle_deg", `engine "small-block": tdc.angle_deg is 360360 deg; it must be within 1000 turns`},
		Trial{ID: "t1", Engine: "e"}.Validate():   {"valve", `trial "t1": valve is missing; name it like "3I" or "3E"`},
		Work{ID: "w1", Kind: "rocker"}.Validate(): {"engine", `work "w1": engine is ""; name the engine that it belongs to`},
	} {
		var wrong *FieldError
		require.ErrorAs(t, err, &wrong)
		assert.Equal(t, want, [2]string{wrong.Field(), err.Error()})
	}
}

// Zero degrees at top dead centre is known, and not the same as not known.
func TestTopDeadCentreIsKept(t *testing.T) {
	s := newStore(t, Options{})
	e := eight()
	e.TDC = &TopDeadCentre{U: 50_000, Method: TDCByStop, On: "2026-11-25"}
	_, err := s.PutEngine(e)
	require.NoError(t, err)
	got, err := s.Engine(e.ID)
	require.NoError(t, err)
	require.NotNil(t, got.TDC)
	assert.Equal(t, TopDeadCentre{U: 50_000, Method: TDCByStop, On: "2026-11-25"}, *got.TDC)
	got.TDC = nil
	_, err = s.PutEngine(got)
	require.NoError(t, err)
	got, err = s.Engine(e.ID)
	require.NoError(t, err)
	assert.Nil(t, got.TDC)
}

func TestUnknownFieldsOfAWorkSurvive(t *testing.T) {
	s := newStore(t, Options{})
	w, err := s.PutWork(rods("x"))
	require.NoError(t, err)
	spoilWork(t, s, w.ID, func(doc map[string]any) { doc["remark"] = "by lamplight" })
	got, err := s.Work(w.ID)
	require.NoError(t, err)
	got.Valve = "1I"
	_, err = s.PutWork(got)
	require.NoError(t, err)
	spoilWork(t, s, w.ID, func(doc map[string]any) {
		assert.Equal(t, "by lamplight", doc["remark"])
		assert.Equal(t, "1I", doc["valve"])
	})
}

// spoilWork changes what stands in the file of a work.
func spoilWork(t *testing.T, s *Store, id string, change func(map[string]any)) {
	t.Helper()
	require.NoError(t, s.update(OpDocument, func(tx *bbolt.Tx) error {
		key := docKey(kindWork, id)
		docs := tx.Bucket([]byte(bucketDocs))
		var d storedDoc
		if err := unseal(sealDoc, key, docs.Get(key), &d); err != nil {
			return err
		}
		var m map[string]any
		if err := json.Unmarshal(d.Doc, &m); err != nil {
			return err
		}
		change(m)
		var err error
		if d.Doc, err = json.Marshal(m); err != nil {
			return err
		}
		v, err := seal(sealDoc, key, d)
		if err != nil {
			return err
		}
		return docs.Put(key, v)
	}))
}

func TestADamagedWorkIsToldAndHidesNoOther(t *testing.T) {
	s := newStore(t, Options{})
	bad, err := s.PutWork(rods("x"))
	require.NoError(t, err)
	good, err := s.PutWork(rods("x"))
	require.NoError(t, err)
	spoilWork(t, s, bad.ID, func(doc map[string]any) { doc["at"] = "yesterday" })
	list, err := s.Works("x")
	var hurt *Damage
	require.ErrorAs(t, err, &hurt)
	assert.Equal(t, "work/"+bad.ID, hurt.Name)
	assert.Equal(t, []Work{good}, list)
	rep, err := s.Verify(t.Context())
	require.NoError(t, err)
	require.Len(t, rep.Damages, 1)
	assert.Equal(t, hurt.Name, rep.Damages[0].Name)
	assert.Equal(t, 1, rep.Documents)
}

// A store repaired after its count was lost gives no name a second time.
func TestANewWorkTakesNobodysName(t *testing.T) {
	s := newStore(t, Options{})
	first, err := s.PutWork(rods("x"))
	require.NoError(t, err)
	require.NoError(t, s.update(OpDocument, func(tx *bbolt.Tx) error { return tx.Bucket([]byte(bucketDocs)).SetSequence(0) }))
	second, err := s.PutWork(rods("x"))
	require.NoError(t, err)
	assert.NotEqual(t, first.ID, second.ID)
}

// Works go into a backup and out of it as everything else does.
func TestWorksAreBackedUp(t *testing.T) {
	s := newStore(t, Options{})
	w, err := s.PutWork(rods("x"))
	require.NoError(t, err)
	copied := filepath.Join(t.TempDir(), "copy")
	_, err = s.BackupFile(t.Context(), copied, false)
	require.NoError(t, err)
	c, err := Open(copied, Options{ReadOnly: true})
	require.NoError(t, err)
	defer c.Close()
	got, err := c.Work(w.ID)
	require.NoError(t, err)
	assert.Equal(t, w, got)
}
