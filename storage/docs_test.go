package storage

import (
	"encoding/json"
	"fmt"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"lobescribe/capture/valve"
	"lobescribe/device/measure"
)

func angle(deg float64) *measure.Angle {
	a := measure.FromDegrees(deg)
	return &a
}

func eight() Engine {
	return Engine{
		ID: "small-block", Name: "the blue one", Cylinders: 8, Layout: Vee, ValvesPerCylinder: 2,
		FiringOrder: []int{1, 8, 4, 3, 6, 5, 7, 2}, Rotation: Clockwise,
		RockerRatio: ForValves[float64]{1.5, 1.6}, RockerArm: 38_100_000, Units: "in",
		CamCard: CamCard{CheckingLift: 1_270_000, IntakeOpens: angle(-2), IntakeCloses: angle(38.5), LobeSeparation: angle(110),
			MaxLiftIntake: 12_700_000, LashIntake: 457_200},
		ShimsOnHand: []Shims{{Thickness: 762_000, Count: 4}},
		Order:       []string{"3I", "3E"},
	}
}

func TestEngineJSONSaysItsUnits(t *testing.T) {
	b, err := json.Marshal(eight())
	require.NoError(t, err)
	var m map[string]any
	require.NoError(t, json.Unmarshal(b, &m))
	assert.InDelta(t, 38.1, m["rocker_arm_mm"], 1e-12)
	card := m["cam_card"].(map[string]any)
	assert.InDelta(t, 1.27, card["checking_lift_mm"], 1e-12)
	assert.InDelta(t, -2, card["io_btdc_deg"], 1e-12)
	assert.NotContains(t, card, "ec_atdc_deg", "not on the card")
	var back Engine
	require.NoError(t, json.Unmarshal(b, &back))
	assert.Equal(t, eight(), back)
}

func TestValvesInOrderOfWork(t *testing.T) {
	e := eight()
	assert.Equal(t, []string{"3I", "3E", "1I", "1E", "8I", "8E", "4I", "4E", "6I", "6E", "5I", "5E", "7I", "7E", "2I", "2E"}, valve.Names(e.Valves()))
	e.Order = nil
	assert.Equal(t, []string{"1I", "1E", "8I", "8E"}, valve.Names(e.Valves())[:4])
	assert.Equal(t, []string{"1I1", "1I2", "1E1", "1E2", "2I1"}, valve.Names(Engine{Cylinders: 2, ValvesPerCylinder: 4}.Valves())[:5])
	assert.Equal(t, []string{"1I1", "1I2", "1E"}, valve.Names(Engine{Cylinders: 1, ValvesPerCylinder: 3}.Valves()))
	assert.Equal(t, []string{"1I1", "1I2", "1I3", "1E1", "1E2"}, valve.Names(Engine{Cylinders: 1, ValvesPerCylinder: 5}.Valves()))
}

func TestValidateNamesTheField(t *testing.T) {
	require.NoError(t, eight().Validate())
	for says, spoil := range map[string]func(*Engine){
		`id must be of small letters`:                           func(e *Engine) { e.ID = "../x" },
		`cylinders is 0; it must be 1 to 48`:                    func(e *Engine) { e.Cylinders = 0 },
		`valves_per_cylinder is 1; it must be 2 to 6`:           func(e *Engine) { e.ValvesPerCylinder = 1 },
		`layout is "w"`:                                         func(e *Engine) { e.Layout = "w" },
		`rotation is "left"`:                                    func(e *Engine) { e.Rotation = "left" },
		`units is "furlong"; write in or mm`:                    func(e *Engine) { e.Units = "furlong" },
		`firing_order is [1 1]; it must name each of the 8`:     func(e *Engine) { e.FiringOrder = []int{1, 1} },
		`rocker_ratio.exhaust is 7`:                             func(e *Engine) { e.RockerRatio.Exhaust = 7 },
		`stroke_mm is -1 mm`:                                    func(e *Engine) { e.Stroke = -measure.Millimetre },
		`cam_card.ec_atdc_deg is 400 deg`:                       func(e *Engine) { e.CamCard.ExhaustCloses = angle(400) },
		`shims_on_hand[1] is 2 of 0 mm`:                         func(e *Engine) { e.ShimsOnHand = append(e.ShimsOnHand, Shims{Count: 2}) },
		`order[1] is "9I"; the valves are 1I 1E`:                func(e *Engine) { e.Order[1] = "9I" },
		`order[1] names "3I" a second time`:                     func(e *Engine) { e.Order[1] = "3I" },
		`limits.coil_bind_mm is 20000 mm; it must be 0 to 10 m`: func(e *Engine) { e.Limits.CoilBind = 20_000 * measure.Millimetre },
	} {
		e := eight()
		e.Order = []string{"3I", "3E"}
		spoil(&e)
		assert.ErrorContains(t, e.Validate(), says)
	}
	for says, trial := range map[string]Trial{
		`trial "t1": engine is ""`:          {ID: "t1"},
		`trial "t1": valve is missing`:      {ID: "t1", Engine: "e"},
		`stack_mm[1] is 0 mm`:               {ID: "t1", Engine: "e", Valve: "1I", Stack: []measure.Length{5, 0}},
		`lash_mm is -1 mm`:                  {ID: "t1", Engine: "e", Valve: "1I", Lash: -measure.Millimetre},
		`pushrod_length_mm is -0.000001 mm`: {ID: "t1", Engine: "e", Valve: "1I", PushrodLength: -1},
	} {
		assert.ErrorContains(t, trial.Validate(), says)
	}
	assert.EqualValues(t, 12, Trial{Stack: []measure.Length{5, 7}}.Height())
}

func TestDocumentsAndRevisions(t *testing.T) {
	s := newStore(t, Options{})
	e, err := s.PutEngine(eight())
	require.NoError(t, err)
	assert.EqualValues(t, 1, e.Rev)
	_, err = s.PutEngine(eight())
	require.ErrorIs(t, err, ErrExists)

	mine, err := s.Engine(e.ID)
	require.NoError(t, err)
	theirs := mine
	theirs.Name = "theirs"
	theirs, err = s.PutEngine(theirs)
	require.NoError(t, err)
	assert.EqualValues(t, 2, theirs.Rev)
	mine.Name = "mine"
	_, err = s.PutEngine(mine)
	require.ErrorIs(t, err, ErrStale)
	got, err := s.Engine(e.ID)
	require.NoError(t, err)
	assert.Equal(t, "theirs", got.Name)
	assert.Equal(t, theirs, got)

	require.ErrorIs(t, s.DeleteEngine(e.ID, 1), ErrStale)
	require.NoError(t, s.DeleteEngine(e.ID, 2))
	require.ErrorIs(t, s.DeleteEngine(e.ID, 2), ErrNotFound)
	_, err = s.Engine(e.ID)
	require.ErrorIs(t, err, ErrNotFound)
	_, err = s.PutEngine(theirs)
	require.ErrorIs(t, err, ErrStale, "it was deleted in the meantime")
	_, err = s.PutEngine(Engine{ID: "Bad"})
	require.ErrorContains(t, err, "id must be")

	a, err := s.PutTrial(Trial{Engine: "x", Valve: "1I", AdjusterBelowValve: new(measure.Length)})
	require.NoError(t, err)
	b, err := s.PutTrial(Trial{Engine: "y", Valve: "1E"})
	require.NoError(t, err)
	assert.NotEqual(t, a.ID, b.ID)
	list, err := s.Trials("x")
	require.NoError(t, err)
	assert.Equal(t, []Trial{a}, list)
	list, err = s.Trials("")
	require.NoError(t, err)
	assert.Len(t, list, 2)
	require.NoError(t, s.DeleteTrial(b.ID, b.Rev))
	_, err = s.Trial(b.ID)
	require.ErrorIs(t, err, ErrNotFound)
	one, err := s.Trial(a.ID)
	require.NoError(t, err)
	assert.NotNil(t, one.AdjusterBelowValve, "measured and zero is not the same as not measured")

	set, err := s.Bench()
	require.NoError(t, err)
	assert.Equal(t, Bench{}, set)
	set.Devices = map[string]string{"indicator": "tcp://127.0.0.1:4001"}
	set, err = s.PutBench(set)
	require.NoError(t, err)
	again, err := s.Bench()
	require.NoError(t, err)
	assert.Equal(t, set, again)
	_, err = s.PutBench(Bench{})
	require.ErrorIs(t, err, ErrExists)
}

func TestOnlyOneOfManyChangesWins(t *testing.T) {
	s := newStore(t, Options{})
	e, err := s.PutEngine(eight())
	require.NoError(t, err)
	var won, lost int
	var mu sync.Mutex
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			_, err := s.PutEngine(e)
			mu.Lock()
			defer mu.Unlock()
			if err == nil {
				won++
			} else if assert.ErrorIs(t, err, ErrStale) {
				lost++
			}
		})
	}
	all.Wait()
	assert.Equal(t, 1, won)
	assert.Equal(t, 7, lost)
}

// Fields of a later version survive being read and written by this one: at the
// top, inside a struct, and not inside maps and lists, where they would come
// back from the dead.
func TestUnknownFieldsSurvive(t *testing.T) {
	s := newStore(t, Options{})
	e, err := s.PutEngine(eight())
	require.NoError(t, err)
	require.NoError(t, s.update(OpDocument, func(tx *bbolt.Tx) error {
		key := docKey(kindEngine, e.ID)
		docs := tx.Bucket([]byte(bucketDocs))
		var d storedDoc
		require.NoError(t, unseal(sealDoc, key, docs.Get(key), &d))
		var m map[string]any
		require.NoError(t, json.Unmarshal(d.Doc, &m))
		m["paint"] = "blue"
		m["limits"].(map[string]any)["guide_mm"] = 2.5
		m["shims_on_hand"].([]any)[0].(map[string]any)["drawer"] = 3
		d.Doc, err = json.Marshal(m)
		require.NoError(t, err)
		v, err := seal(sealDoc, key, d)
		require.NoError(t, err)
		return docs.Put(key, v)
	}))
	got, err := s.Engine(e.ID)
	require.NoError(t, err)
	got.Name, got.Notes, got.Limits.CoilBind = "renamed", "", 1_500_000
	_, err = s.PutEngine(got)
	require.NoError(t, err)
	var m map[string]any
	require.NoError(t, s.view(func(r rows) error {
		key := docKey(kindEngine, e.ID)
		var d storedDoc
		require.NoError(t, unseal(sealDoc, key, r.get(bucketDocs, key), &d))
		return json.Unmarshal(d.Doc, &m)
	}))
	assert.Equal(t, "renamed", m["name"])
	assert.Equal(t, "blue", m["paint"])
	assert.Equal(t, map[string]any{"guide_mm": 2.5, "coil_bind_mm": 1.5}, m["limits"])
	assert.NotContains(t, m["shims_on_hand"].([]any)[0], "drawer")
}

func TestADamagedDocumentStandsInNobodysWay(t *testing.T) {
	s := newStore(t, Options{})
	_, err := s.PutEngine(eight())
	require.NoError(t, err)
	other := eight()
	other.ID = "other"
	_, err = s.PutEngine(other)
	require.NoError(t, err)
	require.NoError(t, s.update(OpDocument, func(tx *bbolt.Tx) error {
		return tx.Bucket([]byte(bucketDocs)).Put(docKey(kindEngine, "other"), []byte("Ld\x01\x00rubbish"))
	}))
	list, err := s.Engines()
	var hurt *Damage
	require.ErrorAs(t, err, &hurt)
	assert.Equal(t, "engine/other", hurt.Name)
	assert.Len(t, list, 1, "the others are there")
	assert.Equal(t, []*Damage{hurt}, DamagesIn(fmt.Errorf("listing: %w", err)))
	assert.Empty(t, DamagesIn(ErrNotFound))
	rep, err := s.Verify(t.Context())
	require.NoError(t, err)
	require.Len(t, rep.Damages, 1)
	assert.Contains(t, rep.String(), `"engine/other" does not read`)
	_, err = s.PutEngine(other)
	require.NoError(t, err, "it can be written again")
}
