package sheet_test

import (
	"bytes"
	"encoding/base64"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"image"
	"image/jpeg"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/clearance"
	"lobescribe/capture/rocker/pushrod"
	"lobescribe/dashboard/sheet"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

var keep = flag.String("keep", "", "folder in which to leave the sheets that the tests make, to look at")

// bench is a store with an invented engine in it.
type bench struct {
	*testing.T
	store *storage.Store
}

func newBench(t *testing.T) *bench {
	t.Helper()
	store, err := storage.Open(filepath.Join(t.TempDir(), "bench.lobescribe"), storage.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, store.Close()) })
	return &bench{t, store}
}

func deg(d float64) *measure.Angle { a := measure.FromDegrees(d); return &a }

func (b *bench) engine(change func(*storage.Engine)) storage.Engine {
	b.Helper()
	e := storage.Engine{
		ID: "demo", Name: "Demo four <b>& co</b>", Cylinders: 4, Layout: storage.Inline, ValvesPerCylinder: 2, FiringOrder: []int{1, 3, 4, 2},
		Rotation: storage.Clockwise, RockerRatio: storage.ForValves[float64]{Intake: 1.5, Exhaust: 1.5}, Units: "in",
		CamCard: storage.CamCard{CheckingLift: 50 * measure.Thou, IntakeOpens: deg(-8), IntakeCloses: deg(32), ExhaustOpens: deg(35), ExhaustCloses: deg(-13)},
		Limits:  storage.Limits{PistonIntake: 80 * measure.Thou, CoilBind: 60 * measure.Thou},
	}
	if change != nil {
		change(&e)
	}
	e, err := b.store.PutEngine(e)
	require.NoError(b, err)
	return e
}

// turn records three cycles of a lobe of cos², top mm high and 140 degrees
// either side of its nose, at 100 readings a second and 40 degrees a second,
// with an indicator of 0.0005 in whose spindle runs out as the valve opens.
func (b *bench) turn(valve string, top, nose float64, encoder bool) storage.ID {
	b.Helper()
	return b.turnOn(valve, top, nose, encoder, 0)
}

// turnOn is turn with an indicator whose base slips by so many mm half way.
func (b *bench) turnOn(valve string, top, nose float64, encoder bool, slips float64) storage.ID {
	b.Helper()
	w, err := b.store.Begin(storage.Head{
		Started: time.Date(2026, 3, 14, 9, 30, 0, 0, time.UTC), Engine: "demo", Valve: valve, Resolution: measure.Inch / 2000, Source: "live",
		Devices: []storage.DeviceNote{{Role: "indicator", Address: "serial:/dev/ttyUSB0", Format: "number and unit"}},
	})
	require.NoError(b, err)
	r := rand.New(rand.NewPCG(7, uint64(len(valve))))
	var batch []measure.Reading
	for i := range 3*1800 + 600 {
		crank := float64(i)*0.4 - 300
		x := math.Remainder(crank-nose, 720)
		mm := 0.0
		if math.Abs(x) < 140 {
			mm = top * math.Pow(math.Cos(math.Pi/2*x/140), 2)
		}
		if mm += r.NormFloat64() * 0.002; i > 3000 {
			mm += slips
		}
		step := float64(measure.Inch / 2000)
		one := measure.Reading{At: measure.Stamp(i) * 10 * measure.Millisecond, Lift: measure.Length(-math.Round(mm*1e6/step) * step), Has: measure.HasLift}
		if encoder {
			one.Angle, one.Has = measure.FromDegrees(math.Round(crank/0.15)*0.15), measure.HasLift|measure.HasAngle
		}
		batch = append(batch, one)
	}
	require.NoError(b, w.Append(batch, nil))
	require.NoError(b, w.End())
	// The list of traces shows a max lift only once the findings are stored.
	b.find(w.ID())
	return w.ID()
}

func (b *bench) find(id storage.ID) {
	b.Helper()
	_, t, err := b.store.Load(id)
	require.NoError(b, err)
	f, err := analyse(t)
	require.NoError(b, err)
	require.NotEmpty(b, f.Openings)
	require.NoError(b, b.store.PutFindings(id, f))
}

func (b *bench) trial(valve string, stack []measure.Length, below measure.Length, remark string) {
	b.Helper()
	_, err := b.store.PutTrial(storage.Trial{Engine: "demo", Valve: valve, Stack: stack, AdjusterBelowValve: &below, Remark: remark,
		At: time.Date(2026, 3, 14, 10, 0, 0, 0, time.UTC)})
	require.NoError(b, err)
}

// whole fills the bench: eight valves with an encoder set to cylinder 1's top
// dead centre, one of them worn.
func (b *bench) whole() {
	b.engine(nil)
	tdc := map[int]float64{1: 0, 3: 180, 4: 360, 2: 540}
	for cylinder := 1; cylinder <= 4; cylinder++ {
		top := 10.668
		if cylinder == 3 {
			top = 10.2
		}
		b.turn(fmt.Sprintf("%dI", cylinder), 10.9, tdc[cylinder]+110, true)
		b.turn(fmt.Sprintf("%dE", cylinder), top, tdc[cylinder]-114, true)
	}
	b.trial("1I", nil, 900*measure.Micrometre, `=HYPERLINK("http://evil.example","<script>alert(1)</script>")`)
	b.trial("1I", []measure.Length{500 * measure.Micrometre}, 60*measure.Micrometre, "better")
}

var options = sheet.Options{Made: time.Date(2026, 3, 15, 18, 0, 0, 0, time.UTC), Version: "test"}

func (b *bench) gather(o sheet.Options) sheet.Data {
	b.Helper()
	d, err := sheet.Gather(b.store, "demo", o)
	require.NoError(b, err)
	return d
}

func written(t *testing.T, write func(io.Writer, sheet.Data) error, d sheet.Data, name string) string {
	t.Helper()
	var w bytes.Buffer
	require.NoError(t, write(&w, d))
	if *keep != "" {
		require.NoError(t, os.WriteFile(filepath.Join(*keep, name), w.Bytes(), 0o600))
	}
	return w.String()
}

func TestSheetOfAWholeEngine(t *testing.T) {
	b := newBench(t)
	b.whole()
	d := b.gather(options)
	require.Len(t, d.Valves, 8)
	for _, v := range d.Valves {
		require.True(t, v.Measured(), v.Name)
		require.NotNil(t, v.Timed, v.Name)
		want := 10.9
		if strings.HasSuffix(v.Name, "E") {
			if want = 10.668; v.Name == "3E" {
				want = 10.2
			}
		}
		assert.InDelta(t, want, v.Findings.MaxLift.Millimetres(), 0.015, v.Name)
		// The nose of every cylinder stands right although the encoder was set
		// to cylinder 1's dead centre.
		nose := 110.0
		if strings.HasSuffix(v.Name, "E") {
			nose = -114
		}
		got := v.Timed.Timing.Nose
		assert.InDelta(t, nose, got.Angle.Degrees(), max(got.U.Degrees(), 1), v.Name)
		// Cylinder 4 is a whole turn away, which an encoder does not tell.
		assert.Equal(t, v.Name[0] == '2' || v.Name[0] == '3', len(v.Timed.Note) > 0, v.Name)
	}
	require.Len(t, d.Cylinders, 4)
	for _, c := range d.Cylinders {
		require.NotEmpty(t, c.Pairs)
		assert.InDelta(t, 112, c.Pairs[0].Separation.Degrees(), 0.3, "(110 + 114) / 2")
		require.NotNil(t, c.Card)
	}
	rod := 200 * measure.Millimetre
	cuts, err := pushrod.Solve(pushrod.Question{Rods: []pushrod.Rod{{Valve: "1I", Checking: rod}, {Valve: "1E", Checking: rod}}})
	require.NoError(t, err)
	d.Pushrods = &cuts
	limit := 60 * measure.Thou
	gap, err := clearance.Solve(clearance.Question{CoilBind: &clearance.CoilBindQuestion{Installed: 45 * measure.Millimetre, Lift: 10_900_000, Solid: 33 * measure.Millimetre, Limit: &limit}})
	require.NoError(t, err)
	d.Valves[0].Clearance = &gap

	page := written(t, sheet.Write, d, "whole.html")
	assert.Contains(t, page, `<td class="big">`+d.Valves[0].Findings.MaxLift.Decimal(measure.InInches, 4)+" ")
	assert.Contains(t, page, "3 exhaust")
	assert.Contains(t, page, "Pushrods to cut")
	assert.Contains(t, page, "does not meet the limit")
	assert.Equal(t, 9, strings.Count(page, "<svg"), "each valve, and all together")
	assert.NotContains(t, page, "<?xml")

	// It stands by itself and runs nothing.
	assert.NotRegexp(t, regexp.MustCompile(`(?i)<script|<link|<img|<iframe|@import|url\(|javascript:| on[a-z]+=`), strings.ReplaceAll(page, "&lt;script", ""))
	for _, address := range regexp.MustCompile(`https?://[^\s"'<&]+`).FindAllString(page, -1) {
		assert.Contains(t, []string{"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink", "http://evil.example"}, address)
	}
	assert.Contains(t, page, "Demo four &lt;b&gt;&amp; co&lt;/b&gt;")
	assert.Contains(t, page, "&lt;script&gt;alert(1)")

	assert.Equal(t, page, written(t, sheet.Write, d, "whole.html"), "the same data, the same sheet")
	wellFormed(t, page)
}

// wellFormed walks the page as XML with HTML's liberties: every element that
// opens closes, in order.
func wellFormed(t *testing.T, page string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(page))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	var open []string
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		switch v := token.(type) {
		case xml.StartElement:
			open = append(open, v.Name.Local)
		case xml.EndElement:
			require.Equal(t, open[len(open)-1], v.Name.Local)
			open = open[:len(open)-1]
		}
	}
	assert.Empty(t, open)
}

func TestSheetOfAnEmptyEngine(t *testing.T) {
	b := newBench(t)
	b.engine(func(e *storage.Engine) { e.Units, e.Name, e.FiringOrder, e.CamCard = "mm", "", nil, storage.CamCard{} })
	d := b.gather(options)
	page := written(t, sheet.Write, d, "empty.html")
	assert.Contains(t, page, "<h1>demo</h1>")
	assert.Equal(t, 8, strings.Count(page, "not measured</td>"))
	assert.Contains(t, page, "No trials were recorded.")
	wellFormed(t, page)
	_, err := sheet.Gather(b.store, "unheard-of", options)
	require.ErrorIs(t, err, storage.ErrNotFound)
}

// Without an encoder there is lift and no timing.
func TestSheetWithoutAnEncoder(t *testing.T) {
	b := newBench(t)
	b.engine(nil)
	b.turn("1I", 10.9, 110, false)
	d := b.gather(sheet.Options{Made: options.Made, Units: measure.InMillimetres})
	page := written(t, sheet.Write, d, "lift.html")
	assert.InDelta(t, 10.9, d.Valves[0].Findings.MaxLift.Millimetres(), 0.015)
	assert.Contains(t, page, `<td class="big">`+d.Valves[0].Findings.MaxLift.Decimal(measure.InMillimetres, 3)+" ")
	assert.Equal(t, 1, strings.Count(page, "<svg"))
	assert.Contains(t, page, "seconds from the nose")
	assert.NotContains(t, page, "<h2>Timing</h2>")
	require.NotEmpty(t, d.Valves[0].Drawn)
	highest := 0.0
	for _, p := range d.Valves[0].Drawn {
		highest = max(highest, p.Y)
	}
	assert.InDelta(t, 10.9, highest, 0.02, "the spindle ran out, the lift still grows upwards")
}

func TestCSV(t *testing.T) {
	b := newBench(t)
	b.whole()
	d := b.gather(options)
	text := written(t, sheet.WriteCSV, d, "whole.csv")
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	require.NoError(t, err)
	head := map[string]int{}
	for i, name := range rows[0] {
		head[name] = i
	}
	at := func(row []string, name string) string { return row[head[name]] }
	found := 0
	for _, row := range rows[1:] {
		for _, cell := range row {
			if cell != "" && strings.ContainsAny(cell[:1], "=+@\t") {
				t.Errorf("a spreadsheet would take %q for a formula", cell)
			}
		}
		if at(row, "about") == "lift" && at(row, "valve") == "1I" && at(row, "quantity") == "max lift" {
			found++
			var l, u measure.Length
			require.NoError(t, l.UnmarshalJSON([]byte(at(row, "value"))))
			require.NoError(t, u.UnmarshalJSON([]byte(at(row, "u"))))
			for _, v := range d.Valves {
				if v.Name == "1I" {
					assert.Equal(t, v.Findings.MaxLift, l, "exact")
					assert.Equal(t, v.Findings.MaxLiftU, u)
				}
			}
			assert.Equal(t, "mm", at(row, "unit"))
		}
	}
	assert.Equal(t, 1, found)
	assert.Contains(t, text, "'=HYPERLINK")
}

// The newest marked photograph of a valve stands on its sheet, small, with its
// marks; the sheet still needs nothing but itself.
func TestSheetShowsAPhotograph(t *testing.T) {
	b := newBench(t)
	b.engine(nil)
	b.trial("1I", nil, 900*measure.Micrometre, "")
	trials, err := b.store.Trials("demo")
	require.NoError(t, err)
	img := image.NewGray(image.Rect(0, 0, 1600, 1200))
	var raw bytes.Buffer
	require.NoError(t, jpeg.Encode(&raw, img, nil))
	for _, marks := range []string{`{"stem_a_px":[[800,700]],"stem_b_px":[[800,1100]],"pivot_px":[[300,600]],"tip_px":[[801.5,602]],"at_lift_mm":5}`, `{"at_lift_mm":6}`} {
		_, err = b.store.PutPhotograph(storage.Photograph{Trial: trials[0].ID, At: time.Date(2026, 3, 14, 11, 0, 0, 0, time.UTC), JPEG: raw.Bytes(), Width: 1600, Height: 1200, Marks: json.RawMessage(marks)})
		require.NoError(t, err)
	}
	text := written(t, sheet.Write, b.gather(sheet.Options{Made: options.Made, Units: measure.InMillimetres}), "photographed.html")
	assert.Equal(t, 1, strings.Count(text, "data:image/jpeg;base64,"))
	assert.Contains(t, text, `cx="801.5" cy="602"`)
	assert.Contains(t, text, `x1="300" y1="600" x2="801.5" y2="602"`)
	assert.Contains(t, text, "Photographed 14 Mar 11:00, at a lift of 5.000 mm")
	// What it says needs the trial's max lift, which is not known yet: asked for, and then
	// answered. The arm drops 2 in 501.5 pixels, which of 38 mm is 0.152 mm, at 1 mm below half lift.
	assert.Contains(t, text, "so that half lift is known")
	trials[0].MaxLift = new(12 * measure.Millimetre)
	_, err = b.store.PutTrial(trials[0])
	require.NoError(t, err)
	answered := written(t, sheet.Write, b.gather(sheet.Options{Made: options.Made, Units: measure.InMillimetres}), "answered.html")
	assert.Contains(t, answered, "By photograph, square at half lift to 0.381 mm: fails")
	assert.Contains(t, answered, "lower the stand by 1.152 mm")
	_, picture, _ := strings.Cut(text, "data:image/jpeg;base64,")
	picture, _, _ = strings.Cut(picture, `"`)
	small, err := base64.StdEncoding.DecodeString(picture)
	require.NoError(t, err)
	c, err := jpeg.DecodeConfig(bytes.NewReader(small))
	require.NoError(t, err)
	assert.Equal(t, [2]int{400, 300}, [2]int{c.Width, c.Height})
}
