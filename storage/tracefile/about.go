package tracefile

import (
	"encoding/json"
	"fmt"
	"maps"
	"strings"
	"time"

	"lobescribe/device/measure"
)

// About is what a file may say of a trace besides its readings: when, on what
// and with what it was recorded. Only Parquet carries it.
type About struct {
	Started                              time.Time // zero when it is not known
	Engine, Valve, Trial, Remark, Source string
	Against                              string // as storage.Head has it
	Devices                              []Instrument
	// CutShort: the recording ended before anybody ended it.
	CutShort bool
}

// Instrument is one device that gave readings.
type Instrument struct {
	Role    string `json:"role"` // "indicator", "encoder" or "sweep"
	Address string `json:"address"`
	Format  string `json:"format,omitempty"`
	Assumes string `json:"assumes,omitempty"` // what nothing told and was assumed
}

// The keys of a Parquet file's metadata. The first says that the file is ours
// and how it is laid out; a later layout would have another number.
const (
	keyLayout     = "lobescribe.trace"
	keyStarted    = "lobescribe.started"
	keyEngine     = "lobescribe.engine"
	keyValve      = "lobescribe.valve"
	keyTrial      = "lobescribe.trial"
	keyRemark     = "lobescribe.remark"
	keySource     = "lobescribe.source"
	keyAgainst    = "lobescribe.against"
	keyDevices    = "lobescribe.devices"
	keyCutShort   = "lobescribe.cut_short"
	keyResolution = "lobescribe.resolution_mm"
	keyAngleStep  = "lobescribe.angle_step_deg"
	keyNotes      = "lobescribe.notes"
	keyUnits      = "lobescribe.units"
	keyReadings   = "lobescribe.readings"
	keySeal       = "lobescribe.crc32c"

	layout = "1"
	// layoutSweep: with a column sweep_nm, which an earlier program would overlook.
	layoutSweep = "2"
)

// metadata is what a Parquet file says of the whole trace, key by key. What is
// not known has no key.
func (o *WriterOptions) metadata() (map[string]string, error) {
	m, columns := map[string]string{keyLayout: layout}, maps.Clone(units)
	if o.Sweep {
		m[keyLayout] = layoutSweep
	} else {
		delete(columns, "sweep_nm")
	}
	put := func(key, text string) {
		if text != "" {
			m[key] = text
		}
	}
	putJSON := func(key string, v any) error {
		b, err := json.Marshal(v)
		if err != nil {
			return fmt.Errorf("writing %s: %w", key, err)
		}
		m[key] = string(b)
		return nil
	}
	if !o.About.Started.IsZero() {
		put(keyStarted, o.About.Started.Format(time.RFC3339Nano))
	}
	put(keyEngine, o.About.Engine)
	put(keyValve, o.About.Valve)
	put(keyTrial, o.About.Trial)
	put(keyRemark, o.About.Remark)
	put(keySource, o.About.Source)
	put(keyAgainst, o.About.Against)
	if o.About.CutShort {
		put(keyCutShort, "true")
	}
	values := map[string]any{keyUnits: columns}
	if len(o.About.Devices) > 0 {
		values[keyDevices] = o.About.Devices
	}
	if o.Resolution != 0 {
		values[keyResolution] = o.Resolution
	}
	if o.AngleStep != 0 {
		values[keyAngleStep] = o.AngleStep
	}
	if len(o.Notes) > 0 {
		values[keyNotes] = o.Notes
	}
	for key, v := range values {
		if err := putJSON(key, v); err != nil {
			return nil, err
		}
	}
	return m, nil
}

// readMetadata takes what a Parquet file of ours says of the whole trace. A
// file of somebody else's has no such keys and says nothing.
func (r *Reader) readMetadata(get func(key string) (string, bool)) error {
	version, ours := get(keyLayout)
	if !ours {
		return nil
	}
	if version != layout && version != layoutSweep {
		return r.fault(0, "it was written by a newer lobescribe (layout %.20q); read it with that one, or export the trace as CSV there", version)
	}
	r.trusted, r.csv.numbered = true, true
	r.parquet.seal = newSeal()
	for key, to := range map[string]*string{keyReadings: &r.parquet.count, keySeal: &r.parquet.sum} {
		var there bool
		if *to, there = get(key); !there {
			return r.notWhole(fmt.Errorf("it has no key %s", key))
		}
	}
	text := func(key string) string { v, _ := get(key); return v }
	r.about = About{Engine: text(keyEngine), Valve: text(keyValve), Trial: text(keyTrial), Remark: text(keyRemark),
		Source: text(keySource), Against: text(keyAgainst), CutShort: text(keyCutShort) == "true"}
	var started time.Time
	var resolution measure.Length
	var angleStep measure.Angle
	for key, v := range map[string]any{keyStarted: &started, keyResolution: &resolution, keyAngleStep: &angleStep,
		keyNotes: &r.notes, keyDevices: &r.about.Devices} {
		raw, there := get(key)
		if !there {
			continue
		}
		if key == keyStarted {
			raw = `"` + raw + `"`
		}
		if err := json.Unmarshal([]byte(raw), v); err != nil {
			return r.fault(0, "its %s does not read (%s); export the trace again", strings.TrimPrefix(key, "lobescribe."), err)
		}
	}
	r.about.Started, r.resolution, r.angleStep = started, resolution, angleStep
	return nil
}
