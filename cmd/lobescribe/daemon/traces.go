package daemon

import (
	"cmp"
	"context"
	"errors"
	"io"
	"iter"
	"math"
	"path"
	"strings"

	"lobescribe/device/measure"
	"lobescribe/storage"
	"lobescribe/storage/tracefile"
)

// Export writes a trace as "csv", "jsonl" or "parquet".
func (d *Daemon) Export(ctx context.Context, id storage.ID, format string, w io.Writer) error {
	f, err := tracefile.ParseFormat(format)
	if err != nil {
		return err
	}
	return ExportTrace(d.store, id, w, ExportOptions{Format: f})
}

// Import stores a trace file, of any length, while it comes. columns says which of a
// table's is what, or nothing.
func (d *Daemon) Import(ctx context.Context, name, columns string, r io.Reader) (storage.ID, error) {
	choice, err := tracefile.ParseChoice(columns)
	if err != nil {
		return 0, err
	}
	file, err := tracefile.NewReader(r, tracefile.Options{Columns: choice})
	if err != nil {
		return 0, err
	}
	defer file.Close()
	b, err := d.store.Bench()
	if err != nil {
		return 0, err
	}
	id, _, err := ImportFile(ctx, d.store, file, ImportOptions{Head: func(about tracefile.About) storage.Head {
		head := HeadOf(about, path.Base(strings.ReplaceAll(name, `\`, "/")))
		head.Engine, head.Valve = cmp.Or(head.Engine, b.Engine), cmp.Or(head.Valve, b.Valve)
		return head
	}})
	return id, err
}

// Stream is what an export reads: the store.
type Stream interface {
	Head(storage.ID) (storage.Head, error)
	Notes(storage.ID) ([]measure.Note, error)
	Readings(id storage.ID, from, until measure.Stamp) iter.Seq2[[]measure.Reading, error]
}

// survey is what must be known of a trace before its first reading is written.
type survey struct {
	readings        int
	angle, numbered bool
	sweep           bool
	until           measure.Stamp // the last reading; a trace in the making goes on growing
	damage          []error
}

// look goes through a trace once, batch by batch.
func look(s Stream, id storage.ID) (survey, error) {
	var v survey
	var sameTime measure.Has
	for batch, err := range s.Readings(id, math.MinInt64, math.MaxInt64) {
		if err != nil {
			if len(storage.DamagesIn(err)) == 0 {
				return v, err
			}
			v.damage = append(v.damage, err)
			continue
		}
		for _, r := range batch {
			v.sweep = v.sweep || r.Has&measure.HasSweep != 0
			v.angle = v.angle || r.Has&measure.HasAngle != 0
			if v.readings > 0 && r.At == v.until {
				v.numbered = v.numbered || r.Has&sameTime != 0
			} else {
				sameTime = 0
			}
			sameTime |= r.Has
			v.readings, v.until = v.readings+1, r.At
		}
	}
	return v, nil
}

// ExportOptions say how a trace is written to a file.
type ExportOptions struct {
	Format tracefile.Format // default: CSV
	// Damage is told of each part that is damaged, and the rest is written.
	// Default: damage is an error, found before anything was written.
	Damage func(error)
}

// ExportTrace writes a trace in bounded memory, however long it is.
func ExportTrace(s Stream, id storage.ID, w io.Writer, o ExportOptions) error {
	head, err := s.Head(id)
	if err != nil && len(storage.DamagesIn(err)) == 0 {
		return err
	}
	damage := err
	v, err := look(s, id)
	if err != nil {
		return err
	}
	notes, err := s.Notes(id)
	if err != nil && len(storage.DamagesIn(err)) == 0 {
		return err
	}
	damage = errors.Join(append([]error{damage, err}, v.damage...)...)
	if damage != nil && (o.Damage == nil || v.readings == 0) {
		return damage
	}
	for _, d := range storage.DamagesIn(damage) {
		o.Damage(d)
	}
	tw := tracefile.NewWriter(w, tracefile.WriterOptions{Format: o.Format, Angle: v.angle, Sweep: v.sweep, Numbered: v.numbered, Notes: notes,
		Resolution: head.Resolution, AngleStep: head.AngleStep, About: aboutOf(head)})
	for batch, err := range s.Readings(id, math.MinInt64, v.until) {
		if err != nil && len(storage.DamagesIn(err)) == 0 {
			return err
		}
		if err := tw.Write(batch); err != nil {
			return err
		}
	}
	return tw.Close()
}

// aboutOf is what a file says of a trace.
func aboutOf(h storage.Head) tracefile.About {
	a := tracefile.About{Started: h.Started, Engine: h.Engine, Valve: h.Valve, Trial: h.Trial, Remark: h.Remark, Source: h.Source, Against: string(h.Against), CutShort: h.CutShort}
	for _, d := range h.Devices {
		a.Devices = append(a.Devices, tracefile.Instrument(d))
	}
	return a
}

// HeadOf is the head of a trace that comes from a file: what the file says of
// itself. A trial is one of the store it came from and means nothing here.
func HeadOf(a tracefile.About, name string) storage.Head {
	against, _ := storage.ParseAgainst(a.Against) // a word of a later version means nothing here
	h := storage.Head{Started: a.Started, Engine: storage.Printable(a.Engine), Valve: storage.Printable(a.Valve),
		Remark: storage.Printable(a.Remark), Source: "import:" + storage.Printable(name), Against: against}
	for _, d := range a.Devices {
		h.Devices = append(h.Devices, storage.DeviceNote(d))
	}
	return h
}
