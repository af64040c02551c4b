package tracefile

import (
	"bytes"
	"encoding/json"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

// ui is the folder of the page's tooling, which has the reader.
const ui = "../../dashboard/ui"

// seen is what dashboard/ui/test/parquet.mjs prints.
type seen struct {
	Columns []struct{ Name, Type, Repetition string }
	Groups  []struct {
		Rows    string
		Columns []struct {
			Path, Codec string
			Encodings   []string
			Says        map[string]string
		}
	}
	Says map[string]string
	By   string `json:"created_by"`
	Rows []map[string]*string
}

// readElsewhere reads a file with hyparquet, a reader in another language that
// has nothing in common with the library that writes it.
func readElsewhere(t *testing.T, file []byte) seen {
	t.Helper()
	if _, err := os.Stat(filepath.Join(ui, "node_modules", "hyparquet")); err != nil {
		const says = "the independent reader was not fetched: run go generate ./..."
		if os.Getenv("LOBESCRIBE_NEED_CHROMIUM") != "" {
			t.Fatal(says)
		}
		t.Skip(says)
	}
	name := filepath.Join(t.TempDir(), "turn.parquet")
	require.NoError(t, os.WriteFile(name, file, 0o600))
	cmd := exec.Command("node", filepath.Join("test", "parquet.mjs"), name)
	cmd.Dir = ui
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	require.NoError(t, err, stderr.String())
	var got seen
	require.NoError(t, json.Unmarshal(out, &got))
	return got
}

// readings makes a trace of what was seen: whole numbers, in the units that
// the columns themselves say.
func (s *seen) readings(t *testing.T) []measure.Reading {
	t.Helper()
	number := func(text string) int64 {
		v, err := strconv.ParseInt(text, 10, 64)
		require.NoError(t, err)
		return v
	}
	var out []measure.Reading
	for _, row := range s.Rows {
		require.ElementsMatch(t, []string{"t_us", "lift_nm", "angle_udeg"}, slices.Collect(maps.Keys(row)))
		require.NotNil(t, row["t_us"])
		r := measure.Reading{At: measure.Stamp(number(*row["t_us"]))}
		if v := row["lift_nm"]; v != nil {
			r.Lift, r.Has = measure.Length(number(*v)), r.Has|measure.HasLift
		}
		if v := row["angle_udeg"]; v != nil {
			r.Angle, r.Has = measure.Angle(number(*v)), r.Has|measure.HasAngle
		}
		out = append(out, r)
	}
	return out
}

// Somebody else's reader sees the same readings to the nanometre, the
// microdegree and the microsecond, and in the column metadata what unit they
// are in.
func TestParquetByAnotherReader(t *testing.T) {
	in := measure.Trace{Resolution: 12_700, AngleStep: 150_000}
	for i := range 9000 { // more than one page
		r := measure.Reading{At: measure.Stamp(i)*10_007 - 2_000_000, Lift: measure.Length(i*i%840)*12_700 - 127, Angle: measure.Angle(i) * 150_000, Has: both}
		switch i % 5 {
		case 3:
			r.Lift, r.Has = 0, measure.HasAngle
		case 4:
			r.Angle, r.Has = 0, measure.HasLift
		}
		in.Readings = append(in.Readings, r)
	}
	// Past what a float64 holds exactly, which is where a reader would show
	// that a column is not the whole numbers it says it is.
	last := in.Readings[len(in.Readings)-1].At
	for i, lift := range []measure.Length{1<<53 + 1, -(1<<53 + 1), 0} {
		in.Readings = append(in.Readings, measure.Reading{At: last + measure.Stamp(i+1), Lift: lift, Has: measure.HasLift})
	}
	in.Notes = []measure.Note{{At: 2_500_000, Kind: measure.NoteMark}}
	about := About{Engine: "demo", Valve: "3E", Trial: "2", Remark: "half \"lift\", °", Source: "live",
		Started: time.Date(2026, 3, 1, 9, 30, 0, 5e8, time.UTC),
		Devices: []Instrument{{Role: "indicator", Address: "serial:/dev/ttyUSB0", Format: "plain"}}}
	var b bytes.Buffer
	w := NewWriter(&b, WriterOptions{Format: Parquet, Notes: in.Notes, Resolution: in.Resolution, AngleStep: in.AngleStep, About: about})
	require.NoError(t, w.Write(in.Readings))
	require.NoError(t, w.Close())

	got := readElsewhere(t, b.Bytes())
	assert.Equal(t, in.Readings, got.readings(t))
	assert.Equal(t, []struct{ Name, Type, Repetition string }{
		{"t_us", "INT64", "REQUIRED"}, {"lift_nm", "INT64", "OPTIONAL"}, {"angle_udeg", "INT64", "OPTIONAL"}}, got.Columns)
	assert.Contains(t, got.By, "lobescribe")

	wantUnits := map[string]string{"t_us": "us", "lift_nm": "nm", "angle_udeg": "udeg"}
	require.NotEmpty(t, got.Groups)
	for _, group := range got.Groups {
		require.Len(t, group.Columns, len(wantUnits))
		for _, column := range group.Columns {
			assert.Equal(t, wantUnits[column.Path], column.Says["unit"], column.Path)
			assert.NotEmpty(t, column.Says["says"], column.Path)
		}
	}

	assert.Equal(t, map[string]string{
		"lobescribe.trace": "1", "lobescribe.engine": "demo", "lobescribe.valve": "3E", "lobescribe.trial": "2",
		"lobescribe.remark": `half "lift", °`, "lobescribe.source": "live", "lobescribe.started": "2026-03-01T09:30:00.5Z",
		"lobescribe.devices":       `[{"role":"indicator","address":"serial:/dev/ttyUSB0","format":"plain"}]`,
		"lobescribe.resolution_mm": "0.0127", "lobescribe.angle_step_deg": "0.15", "lobescribe.readings": "9003",
		"lobescribe.notes":  `[{"t_s":2.5,"kind":"mark"}]`,
		"lobescribe.crc32c": got.Says["lobescribe.crc32c"], // compared below
		"lobescribe.units":  got.Says["lobescribe.units"],
	}, got.Says)
	var told map[string]struct{ Unit, Says string }
	require.NoError(t, json.Unmarshal([]byte(got.Says["lobescribe.units"]), &told))
	for name, unit := range wantUnits {
		assert.Equal(t, unit, told[name].Unit, name)
	}
	seal := newSeal()
	seal.add(got.readings(t))
	assert.Equal(t, seal.String(), got.Says["lobescribe.crc32c"], "the checksum, over what the other reader saw")
}

// Several row groups, each with its columns' units, to the last reading.
func TestParquetGroupsByAnotherReader(t *testing.T) {
	const n = rowsInGroup + 1000
	readings := make([]measure.Reading, n)
	for i := range readings {
		readings[i] = measure.Reading{At: measure.Stamp(i) * 1000, Lift: measure.Length(i % 840 * 12_700), Has: measure.HasLift}
	}
	var b bytes.Buffer
	require.NoError(t, Write(&b, measure.Trace{Readings: readings}, Parquet))
	got := readElsewhere(t, b.Bytes())
	require.Len(t, got.Groups, 2)
	for _, group := range got.Groups {
		for _, column := range group.Columns {
			assert.Equal(t, units[column.Path].Unit, column.Says["unit"], column.Path)
		}
	}
	require.Len(t, got.Rows, n)
	assert.Equal(t, strconv.Itoa((n-1)*1000), *got.Rows[n-1]["t_us"])
	assert.Nil(t, got.Rows[n-1]["angle_udeg"])
}
