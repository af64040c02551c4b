package sheet_test

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/verdict"
	"lobescribe/dashboard/sheet"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// asks keeps a question, an hour after the one before.
func (b *bench) asks(kind storage.WorkKind, valve, text string) storage.Work {
	b.Helper()
	all, err := b.store.Works("")
	require.NoError(b, err)
	w, err := b.store.PutWork(storage.Work{Engine: "demo", Valve: valve, Kind: kind, Question: json.RawMessage(text),
		At: time.Date(2026, 3, 14, 10, 0, 0, 0, time.UTC).Add(time.Duration(len(all)) * time.Hour)})
	require.NoError(b, err)
	return w
}

func (b *bench) valve(d sheet.Data, name string) sheet.Valve {
	b.Helper()
	for _, v := range d.Valves {
		if v.Name == name {
			return v
		}
	}
	b.Fatalf("no valve %s", name)
	return sheet.Valve{}
}

// shut is a valve that stays shut while its piston passes: it comes nearest at
// top dead centre, by what the piston has gone since the valve was measured.
// With stroke 86 and rod 143 mm that is 7.386405 mm at 30 degrees (Heywood,
// Internal Combustion Engine Fundamentals, eqs 2.4-2.6, from memory; numbers of
// the equations unchecked), of 10 mm measured there: 2.613595 mm.
const shut = `{"piston":{"stroke_mm":86,"rod_mm":143,"measured_at_deg":30,"measured_clearance_mm":10,
	"curve":[{"angle_deg":-90,"lift_mm":0},{"angle_deg":-30,"lift_mm":0},{"angle_deg":0,"lift_mm":0},{"angle_deg":30,"lift_mm":0},{"angle_deg":90,"lift_mm":0}]`

// row returns the first row of the sheet's tables that begins with name, its
// cells stripped of marks.
func row(t *testing.T, page, name string) string {
	t.Helper()
	_, rest, found := strings.Cut(page, `<tr><th scope="row">`+name+`</th>`)
	require.True(t, found, "no row %q", name)
	rest, _, _ = strings.Cut(rest, "</tr>")
	return rest
}

func TestSheetShowsWhatWasWorkedOut(t *testing.T) {
	b := newBench(t)
	b.engine(nil) // limits: piston to intake valve 0.080 in, coil bind 0.060 in
	// Ends of 10 mm, pressed in by 4, add 6 at either side: tubes of 188 and 190.
	b.asks(storage.WorkPushrod, "", `{"ends":[{"length_mm":10,"press_depth_mm":4}],"rods":[{"valve":"1E","checking_rod_mm":202},{"valve":"1I","checking_rod_mm":200},{"valve":"3I","checking_rod_mm":200}]}`)
	b.asks(storage.WorkClearance, "1I", shut+`}}`)
	b.asks(storage.WorkClearance, "", `{"retainer":{"closed_gap_mm":12,"lift_mm":10.5}}`)
	// 500 N at 45 mm and 1000 N at 35 mm: 50 N/mm.
	b.asks(storage.WorkSpring, "", `{"loads":[{"height_mm":45,"load_n":500},{"height_mm":35,"load_n":1000}],"installed_height_mm":45,"lift_mm":10,"solid_height_mm":33}`)
	b.asks(storage.WorkRocker, "1I", `{"rocker_ratio":1.5,"lift_mm":10}`)

	d := b.gather(options)
	page := written(t, sheet.Write, d, "worked.html")
	wellFormed(t, page)
	require.NotNil(t, d.Pushrods)
	// 188 / 25.4 = 7.4016, 200 / 25.4 = 7.8740
	assert.Contains(t, row(t, page[strings.Index(page, "Pushrods to cut"):], "1 intake"), `<td class="big">7.4016</td><td class="big">7.8740</td>`)
	assert.Contains(t, page, "2 of 7.4016 in: 1 intake, 3 intake")
	assert.Contains(t, page, "1 of 7.4803 in: 1 exhaust")
	// 2.613595 / 25.4 = 0.1029
	piston := row(t, page, "1 intake, piston")
	assert.Contains(t, piston, `<td class="big">0.1029 <span class="u">± `)
	assert.Contains(t, piston, "<td>0.0800</td>", "the limit of the engine")
	assert.Contains(t, piston, "Nearest at ")
	assert.NotContains(t, piston, "look", "0.1029 is more than 0.0800")
	// 12 - 10.5 = 1.5 mm = 0.0591 in; no limit was set
	assert.Contains(t, row(t, page, "Whole engine, retainer"), `0.0591 <span`)
	// 45 - 10 - 33 = 2 mm = 0.0787 in, of 0.060
	assert.Contains(t, row(t, page, "Whole engine, spring, coil bind"), `0.0787 <span`)
	// 50 N/mm is 285.5 lbf/in, 500 N 112 lbf, 1000 N 225 lbf (1 lbf =
	// 4.4482216152605 N, 1 in = 25.4 mm, both exact).
	assert.Regexp(t, `Rate 285\.5 ± [0-9.]+ lbf/in \(from its loads\), on the seat 112 ± \d+ lbf, at full lift 225 ± \d+ lbf`, page)
	assert.NotContains(t, page, "To look at again")

	mm := options
	mm.Units = measure.InMillimetres
	metric := written(t, sheet.Write, b.gather(mm), "worked-mm.html")
	assert.Contains(t, metric, "Rate 50.0 ± ")
	assert.Contains(t, row(t, metric, "1 intake, piston"), `<td class="big">2.614 <span`)

	rows, err := csv.NewReader(strings.NewReader(written(t, sheet.WriteCSV, d, "worked.csv"))).ReadAll()
	require.NoError(t, err)
	numbers := map[string]string{}
	for _, r := range rows[1:] {
		numbers[r[0]+"/"+r[1]+"/"+r[3]] = r[4]
	}
	for name, want := range map[string]string{
		"pushrod/1I/tube": "188", "pushrod/1E/over both tips": "202", "clearance/1I/piston, limit": "2.032", "clearance/1I/piston": "2.613595",
		"clearance//retainer": "1.5", "spring//rate": "50", "spring//coil bind": "2", "spring//coil bind, limit": "1.524",
	} {
		assert.Equal(t, want, numbers[name], name)
	}
}

// The newest question counts, part by part, and also when it has no answer: an
// older cut length or clearance beside it would be taken for what was asked.
func TestTheNewestQuestionCounts(t *testing.T) {
	b := newBench(t)
	b.engine(nil)
	b.asks(storage.WorkPushrod, "", `{"rods":[{"valve":"1I","checking_rod_mm":200},{"valve":"1E","checking_rod_mm":202},{"valve":"3I","checking_rod_mm":203}]}`)
	b.asks(storage.WorkPushrod, "1I", `{"checking_rod_mm":201}`)
	b.asks(storage.WorkPushrod, "1E", `{"checking_rod_mm":202,"adjuster_down_mm":3,"thread_left_mm":1}`) // not that much thread
	// A limit of the question's that is stricter than the engine's 2.032 mm.
	b.asks(storage.WorkClearance, "1I", shut+`,"limit_mm":2.7},"coil_bind":{"installed_height_mm":45,"lift_mm":10,"solid_height_mm":33,"limit_mm":0.1}}`)
	b.asks(storage.WorkClearance, "1I", `{"coil_bind":{"installed_height_mm":45,"lift_mm":10,"solid_height_mm":33.5}}`)
	b.asks(storage.WorkSpring, "1E", `{"loads":[{"height_mm":45,"load_n":500},{"height_mm":35,"load_n":1000}]}`)
	b.asks(storage.WorkSpring, "1E", `{"loads":[{"height_mm":45,"load_n":500},{"height_mm":35,"load_n":900}]}`)

	d := b.gather(options)
	var cuts []string
	for _, c := range d.Pushrods.Cuts {
		cuts = append(cuts, c.Valve+" "+c.Overall.String())
	}
	assert.Equal(t, []string{"1I 201 mm", "3I 203 mm"}, cuts, "in the order of work")
	require.Len(t, b.valve(d, "1E").Notes, 1)
	assert.Contains(t, b.valve(d, "1E").Notes[0], "thread left")
	a := b.valve(d, "1I").Clearance
	require.NotNil(t, a)
	assert.InDelta(t, 2.613595, a.Piston.Least.Left.Millimetres(), 1e-6)
	assert.NotEqual(t, verdict.Meets, a.Piston.Least.Verdict.Kind)
	assert.Equal(t, 2_700*measure.Micrometre, *a.Piston.Least.Limit)
	assert.Equal(t, 1_500*measure.Micrometre, a.CoilBind.Left)
	assert.Equal(t, 60*measure.Thou, *a.CoilBind.Limit)
	require.Len(t, d.Springs, 1)
	assert.InDelta(t, 40, float64(d.Springs[0].Answer.Rate), 1e-9)
	page := written(t, sheet.Write, d, "newest.html")
	assert.Contains(t, row(t, page, "1 intake, piston"), "look", "2.61 is less than 2.7")

	// One rod that stands for all: whatever was asked before it is out of date.
	b.asks(storage.WorkPushrod, "", `{"checking_rod_mm":199}`)
	d = b.gather(options)
	require.Len(t, d.Pushrods.Cuts, 1)
	assert.Contains(t, written(t, sheet.Write, d, "one.html"), "1 of 7.8346 in: every rod") // 199 / 25.4
	b.asks(storage.WorkPushrod, "3E", `{"checking_rod_mm":198}`)
	page = written(t, sheet.Write, b.gather(options), "two.html")
	assert.Contains(t, page, "1 of 7.8346 in: every other rod")
	assert.Contains(t, page, "1 of 7.7953 in: 3 exhaust") // 198 / 25.4
}

// hurt is a store of which a work does not read.
type hurt struct {
	*storage.Store
	err error
}

func (h hurt) Works(engine string) ([]storage.Work, error) {
	all, err := h.Store.Works(engine)
	return all, errors.Join(err, h.err)
}

func TestSheetTellsWhatOfTheWorksIsLost(t *testing.T) {
	b := newBench(t)
	b.engine(nil)
	b.asks(storage.WorkPushrod, "", `{"rods":[{"valve":"1I","checking_rod_mm":200}]}`)
	b.asks(storage.WorkSpring, "", `{"wire_mm":4,"colour":"red"}`) // as a later version might
	b.asks(storage.WorkSpring, "9E", `{}`)
	d, err := sheet.Gather(hurt{b.store, &storage.Damage{Part: storage.PartDocument, Name: "work/w000007", Why: "its checksum is wrong"}}, "demo", options)
	require.NoError(t, err)
	page := written(t, sheet.Write, d, "hurt.html")
	wellFormed(t, page)
	assert.Contains(t, page, "&#34;work/w000007&#34; does not read: its checksum is wrong.")
	assert.Contains(t, page, "The question w000002 (spring) does not read: Colour: is not a field here")
	assert.Contains(t, page, "this engine has no such valve")
	assert.Contains(t, page, "Pushrods to cut", "the others are there")

	_, err = sheet.Gather(hurt{b.store, storage.ErrClosed}, "demo", options)
	require.ErrorIs(t, err, storage.ErrClosed, "a store that does not answer is no damage")
}

// A count at top dead centre that was set down for the engine gives every
// cylinder its own.
func TestSheetCountsFromTheEnginesTopDeadCentre(t *testing.T) {
	b := newBench(t)
	b.engine(func(e *storage.Engine) {
		e.TDC = &storage.TopDeadCentre{Angle: *deg(25), U: *deg(0.5), Method: storage.TDCByStop, On: "2026-11-25"}
	})
	b.turn("1I", 10.9, 110+25, true)
	b.turn("3I", 10.9, 110+25+180, true)
	d := b.gather(options)
	for _, name := range []string{"1I", "3I"} {
		v := b.valve(d, name)
		require.NotNil(t, v.Timed, name)
		nose := v.Timed.Timing.Nose
		assert.InDelta(t, 110, nose.Angle.Degrees(), max(nose.U.Degrees(), 1), name)
		assert.Contains(t, strings.Join(v.Timed.Note, ": "), "25 deg at the top dead centre of cylinder 1", name)
	}
	page := written(t, sheet.Write, d, "tdc.html")
	assert.Contains(t, page, "<dt>encoder at TDC of cylinder 1</dt><dd>25.0° ± 0.5°, positive stop, 2026-11-25</dd>")
}

// A figure that was worked out with another lift than the valve has now is to be
// worked out again, on the sheet and before metal is cut; one that was not, is not.
func TestWhatStandsOnAnotherLiftIsToBeWorkedOutAgain(t *testing.T) {
	b := newBench(t)
	b.engine(nil)
	b.turn("1I", 10, 110, false)
	of := func(lift string) string {
		return `{"coil_bind":{"installed_height_mm":45,"solid_height_mm":30,"lift_mm":` + lift + `},"retainer":{"closed_gap_mm":14,"lift_mm":` + lift + `}}`
	}
	b.asks(storage.WorkClearance, "1I", of("10.4"))
	b.asks(storage.WorkSpring, "1I", `{"loads":[{"height_mm":45,"load_n":500},{"height_mm":35,"load_n":1000}],"installed_height_mm":45,"lift_mm":10.4,"solid_height_mm":33}`)
	b.asks(storage.WorkClearance, "1E", of("10.4")) // nothing is measured of it
	d := b.gather(options)
	again := b.valve(d, "1I").Again
	require.Len(t, again, 3, "%v", again)
	assert.Regexp(t, `^Coil bind was worked out with a lift of 0\.4094 in, and max lift is 0\.39[34]\d in now: work it out again\.$`, again[1], "newest first") // 10.4 / 25.4, 10 / 25.4
	assert.Empty(t, b.valve(d, "1E").Again)
	assert.Contains(t, says(d.Gate(), "clearances"), "work it out again")
	assert.Contains(t, written(t, sheet.Write, d, "again.html"), "work it out again")

	// Worked out again with the lift as it is shown.
	lift := b.valve(d, "1I").Findings.MaxLift.Decimal(measure.InMillimetres, 3)
	b.asks(storage.WorkClearance, "1I", of(lift))
	b.asks(storage.WorkSpring, "1I", `{"loads":[{"height_mm":45,"load_n":500},{"height_mm":35,"load_n":1000}],"installed_height_mm":45,"lift_mm":`+lift+`,"solid_height_mm":33}`)
	assert.Empty(t, b.valve(b.gather(options), "1I").Again)
}
