package tracefile

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"maps"
	"slices"
	"strings"

	"lobescribe/device/measure"
)

// jsonRow is what the slow path decodes into.
type jsonRow struct {
	fields map[string]json.RawMessage
}

// traceLine is what the first line of a file by Write says of the whole trace.
type traceLine struct {
	Resolution measure.Length `json:"resolution_mm,omitempty"`
	AngleStep  measure.Angle  `json:"angle_step_deg,omitempty"`
	// Numbered: times may be equal; the order of lines is the order of readings.
	Numbered bool `json:"numbered,omitempty"`
}

// jsonLine reads one line. Flat objects with plain numbers, which is what a
// trace is made of, are read by hand; all else goes to the JSON package.
func (r *Reader) jsonLine(line []byte) error {
	line = bytes.Trim(line, " \t\r")
	if len(line) == 0 {
		return nil
	}
	var x measure.Reading
	var seen [numberQ + 1]bool
	if !flat(line, &x, &seen) {
		return r.jsonSlow(line)
	}
	if !seen[timeQ] {
		return r.jsonSlow(line)
	}
	return r.add(x, seen[numberQ] || r.csv.numbered)
}

// flat reads {"name":number,...} and says whether that is all there was.
func flat(b []byte, x *measure.Reading, seen *[numberQ + 1]bool) bool {
	if len(b) < 2 || b[0] != '{' || b[len(b)-1] != '}' {
		return false
	}
	b = b[1 : len(b)-1]
	for {
		b = bytes.TrimLeft(b, " \t")
		if len(b) == 0 || b[0] != '"' {
			return false
		}
		i := bytes.IndexByte(b[1:], '"')
		if i < 0 {
			return false
		}
		c := columnNamed(b[1 : 1+i])
		b = bytes.TrimLeft(b[i+2:], " \t")
		if c.what == other || seen[c.what] || len(b) == 0 || b[0] != ':' {
			return false
		}
		b = bytes.TrimLeft(b[1:], " \t")
		end := 0
		for end < len(b) && (b[end] == '-' || b[end] == '.' || b[end] >= '0' && b[end] <= '9') {
			end++
		}
		v, ok := quick(b[:end], c.unit)
		if !ok {
			return false
		}
		seen[c.what] = true
		set(x, c.what, v)
		b = bytes.TrimLeft(b[end:], " \t")
		if len(b) == 0 {
			return true
		}
		if b[0] != ',' {
			return false
		}
		b = b[1:]
	}
}

func set(x *measure.Reading, what quantity, v int64) {
	switch what {
	case timeQ:
		x.At = measure.Stamp(v)
	case liftQ:
		x.Lift, x.Has = measure.Length(v), x.Has|measure.HasLift
	case angleQ:
		x.Angle, x.Has = measure.Angle(v), x.Has|measure.HasAngle
	case sweepQ:
		x.Sweep, x.Has = measure.Length(v), x.Has|measure.HasSweep
	}
}

func (r *Reader) jsonSlow(line []byte) error {
	n := r.lines.n
	clear(r.json.fields)
	if err := json.Unmarshal(line, &r.json.fields); err != nil {
		var syntax *json.SyntaxError
		if errors.As(err, &syntax) || errors.Is(err, io.ErrUnexpectedEOF) {
			for _, word := range []string{"NaN", "Infinity", "inf", "nan"} {
				if bytes.Contains(line, []byte(word)) {
					return r.fault(n, "%s is no number in JSON; leave the key out where nothing was measured", word)
				}
			}
			return r.fault(n, "this is not JSON (%s); each line must be one whole object", syntax)
		}
		return r.fault(n, `this is not a JSON object; each line must be one, as in {"t_s":0.01,"lift_mm":1.27}`)
	}
	f := r.json.fields
	if raw, ok := f["note"]; ok {
		var note measure.Note
		if err := json.Unmarshal(raw, &note); err != nil || note.Kind == "" {
			return r.fault(n, `the note does not read; it must be like {"note":{"t_s":1.5,"kind":"mark"}}`)
		}
		r.notes = append(r.notes, note)
		return r.fewNotes()
	}
	if raw, ok := f["trace"]; ok && f["t_s"] == nil {
		var about traceLine
		if err := json.Unmarshal(raw, &about); err != nil {
			return r.fault(n, "what it says of the trace does not read: %v", err)
		}
		r.trusted, r.csv.numbered = true, about.Numbered
		r.resolution, r.angleStep = about.Resolution, about.AngleStep
		return nil
	}
	return r.jsonReading(f)
}

func (r *Reader) jsonReading(f map[string]json.RawMessage) error {
	n := r.lines.n
	var x measure.Reading
	var from [numberQ + 1]string
	for _, c := range columns {
		raw := bytes.TrimSpace(f[c.name])
		if len(raw) == 0 || string(raw) == "null" {
			continue
		}
		if from[c.what] != "" {
			return r.fault(n, "it gives the same twice, as %s and %s; keep one of them", from[c.what], c.name)
		}
		v, err := number(raw, c.unit)
		if err != nil {
			return r.fault(n, "%s", badNumber(c.name, raw, err))
		}
		from[c.what] = c.name
		set(&x, c.what, v)
	}
	if from[timeQ] == "" {
		if len(f) == 0 {
			return r.fault(n, `the object is empty; a reading is like {"t_s":0.01,"lift_mm":1.27}`)
		}
		first := strings.ToValidUTF8(slices.Min(slices.Collect(maps.Keys(f))), "?")
		return r.fault(n, "there is no t_s (time in seconds), only %.40q and the like", first)
	}
	return r.add(x, from[numberQ] != "" || r.csv.numbered)
}
