package main

import (
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"lobescribe/capture/lift"
	"lobescribe/capture/rocker/sweep"
	"lobescribe/capture/worksheet"
	"lobescribe/dashboard/question"
	"lobescribe/device/measure"
	"lobescribe/storage"
	"lobescribe/storage/tracefile"
)

func newCalcSweepCommand() *cobra.Command {
	var files sweepFiles
	cmd := calculation[sweep.Question, sweep.Answer]{
		use:   "sweep",
		short: "The lift at which a rocker is square, from a gauge that reads across the stem",
		long: `The lift at which a rocker is square to its stem, and by how much to raise its stand,
from a turn with a second gauge: square to the stem, in the rocker's plane, its flat
tip against the roller or round end. No heights, ratio or bend are needed.

A file is CSV with the columns lift_mm and sweep_mm. The reference pass is the same
gauge, not moved on its stand, against the side of the stem, lash cap or retainer: it
tells how the gauge stands, without which the answer is good to half a millimetre at
best. With an encoder one indicator will do, moved between turns: --lift-turn has
angle_deg and lift_mm, the others angle_deg and sweep_mm.

A stored trace goes by its number. What is stored of its engine is used, and the
passes that go with it are found unless they are named: the reference pass is what
record --sweep --against side has recorded of the same set-up.

Nobody reaches in while somebody turns.`,
		example: `  lobescribe calc sweep --turn turn.csv --reference side.csv --valve-arm "38 mm"
  lobescribe calc sweep --turn 12
  lobescribe calc sweep --lift-turn lift.csv --turn sweep.csv --reference side.csv`,
		flags: func(f *questionFlags, _ *sweep.Question) {
			f.value("turn", "FILE", "CSV of a turn with the gauge against the tip, or the number of a stored one", func(path string) error { files.turn = path; return nil })
			f.value("reference", "FILE", "CSV or number of a turn with the gauge against the side of stem, lash cap or retainer", func(path string) error { files.reference = path; return nil })
			f.value("lift-turn", "FILE", "CSV or number of lift against angle, where one indicator was moved", func(path string) error { files.lift = path; return nil })
			f.value("heel", "length", "what the lift's column reads on the heel (default: its reading at rest)", func(text string) error {
				l, err := f.parseLength(text)
				files.heel = &l
				return err
			})
		},
		compute: func(q sweep.Question) (sweep.Answer, error) {
			if stored, err := files.stored(); err != nil {
				return sweep.Answer{}, err
			} else if stored != nil {
				return files.solveStored(*stored, q)
			}
			warn, err := files.read(&q)
			if err != nil {
				return sweep.Answer{}, err
			}
			a, err := sweep.Solve(q)
			a.Basis.Assumes = append(files.says, a.Basis.Assumes...)
			a.Says = append(a.Says, warn...)
			return a, err
		},
		table: func(t *answerTable, a sweep.Answer) {
			t.line("square at half lift", "%s (to %s either way)", a.Verdict, t.length(a.Tolerance))
			t.line(either(a.Raise, "raise", "lower")+" the stand by", "%s", t.lengthU(a.Raise.Abs(), a.RaiseU))
			t.line("arm is square at", "%s of lift, of %s", t.lengthU(a.SquareAt, a.SquareAtU), t.length(a.Lift))
			t.line("valve arm", "%s", t.lengthU(a.ValveArm, a.ValveArmU))
			t.line("width of the mark", "%s, without the contact's own", t.lengthU(a.Width, a.WidthU))
			t.line("gauge stands", "%s off square", angleU(a.Tilt, a.TiltU))
			t.line("scatter", "%s a reading", t.fine(a.Scatter))
			t.says(a.Says)
			t.basis(a.Basis)
		},
	}.command()
	files.cmd = cmd
	return cmd
}

// sweepFiles are the files that the flags name.
type sweepFiles struct {
	turn, reference, lift string
	heel                  *measure.Length
	says                  []worksheet.Sentence
	cmd                   *cobra.Command
}

// stored returns which traces of the store are meant; nil where files are.
func (s *sweepFiles) stored() (*question.SweepTraces, error) {
	if s.turn == "" {
		return nil, nil
	}
	var pick question.SweepTraces
	names := 0
	for _, one := range []struct {
		name string
		to   *storage.ID
	}{{s.turn, &pick.Turn}, {s.reference, &pick.Reference}, {s.lift, &pick.LiftTurn}} {
		id, err := storage.ParseID(one.name)
		if _, there := os.Stat(one.name); err != nil || there == nil {
			if one.name != "" && names > 0 {
				return nil, worksheet.Wrongf("", "%s is no trace of the store: name all passes by file, or all by number", one.name)
			}
			continue
		}
		*one.to = id
		names++
	}
	if pick.Turn == 0 {
		if names > 0 {
			return nil, worksheet.Wrongf("", "%s is no trace of the store: name all passes by file, or all by number", s.turn)
		}
		return nil, nil
	}
	return &pick, nil
}

func (s *sweepFiles) solveStored(pick question.SweepTraces, q sweep.Question) (sweep.Answer, error) {
	if s.heel != nil {
		return sweep.Answer{}, worksheet.Wrongf("", "--heel is for files without times: a stored trace shows its own heel")
	}
	store, err := openReader(s.cmd)
	if err != nil {
		return sweep.Answer{}, err
	}
	defer store.Close()
	a, err := question.Sweep(withEngine{store}, pick, q)
	if a.Reference != nil {
		a.Basis.Assumes = append([]worksheet.Sentence{worksheet.Sayf("trace %s is the reference pass of trace %s, with the gauge's stand where it was", a.Reference, a.Turn)}, a.Basis.Assumes...)
	}
	return a.Answer, err
}

// withEngine is a reader that finds one engine too.
type withEngine struct{ shelfReader }

func (w withEngine) Engine(id string) (storage.Engine, error) {
	list, err := w.Engines()
	if i := slices.IndexFunc(list, func(e storage.Engine) bool { return e.ID == id }); i >= 0 {
		return list[i], nil
	}
	return storage.Engine{}, cmp.Or(err, fmt.Errorf("engine %q: %w", id, storage.ErrNotFound))
}

// traces reads the files as traces; nil where the turn has no times and is a plain
// table.
func (s *sweepFiles) traces() (*sweep.Recordings, error) {
	one := func(path string) (sweep.Recorded, error) {
		r := sweep.Recorded{Name: path}
		var err error
		if r.Trace, _, err = readTraceFile(s.cmd, path); err == nil {
			r.Findings, err = lift.Analyse(r.Trace, lift.Options{})
		}
		if err != nil {
			err = inFile{err}
		}
		return r, err
	}
	if f, err := tracefile.OpenFile(s.turn, tracefile.Options{}); err != nil {
		return nil, nil // what is wrong with it is said by who reads it as a table
	} else if err := f.Close(); err != nil {
		return nil, err
	}
	var r sweep.Recordings
	var err error
	if r.Turn, err = one(s.turn); err != nil {
		return nil, err
	}
	for _, p := range []struct {
		path string
		to   **sweep.Recorded
	}{{s.reference, &r.Reference}, {s.lift, &r.LiftTurn}} {
		if p.path == "" {
			continue
		}
		got, err := one(p.path)
		if err != nil {
			return nil, err
		}
		*p.to = &got
	}
	return &r, nil
}

// read puts the files' readings into the question, and returns what their traces
// warn of; without any it leaves one that came as JSON alone.
func (s *sweepFiles) read(q *sweep.Question) ([]worksheet.Sentence, error) {
	if s.turn == "" && s.reference == "" && s.lift == "" {
		return nil, nil
	}
	if s.turn == "" {
		return nil, worksheet.Wrongf("", "--turn is missing: name the file of the turn against the tip")
	}
	for _, path := range []string{s.turn, s.reference, s.lift} {
		if piped(path) {
			return nil, worksheet.Wrongf("", "%s is a pipe or a device, which is read only once: write it into a file first", path)
		}
	}
	r, err := s.traces()
	if err != nil {
		return nil, err
	}
	if r != nil && s.heel == nil {
		var warn []worksheet.Sentence
		*q, warn, err = sweep.FromTraces(*q, *r)
		return warn, err
	}
	return nil, s.readTables(q)
}

// readTables reads files without times.
func (s *sweepFiles) readTables(q *sweep.Question) error {
	lifts := []sweep.At(nil)
	if s.lift != "" {
		c, err := readColumns(s.lift, "angle_deg", "lift_mm")
		if err != nil {
			return err
		}
		for i := range c["lift_mm"] {
			lifts = append(lifts, sweep.At{Angle: measure.Angle(c["angle_deg"][i]), Reading: measure.Length(c["lift_mm"][i])})
		}
	}
	pass := func(path string) (p sweep.Pass, err error) {
		if lifts == nil {
			c, err := readColumns(path, "lift_mm", "sweep_mm")
			for i := range c["lift_mm"] {
				p.Lift, p.Sweep = append(p.Lift, measure.Length(c["lift_mm"][i])), append(p.Sweep, measure.Length(c["sweep_mm"][i]))
			}
			return p, err
		}
		c, err := readColumns(path, "angle_deg", "sweep_mm")
		if err != nil {
			return p, err
		}
		var at []sweep.At
		for i := range c["sweep_mm"] {
			at = append(at, sweep.At{Angle: measure.Angle(c["angle_deg"][i]), Reading: measure.Length(c["sweep_mm"][i])})
		}
		return sweep.Pair(lifts, at)
	}
	var err error
	if q.Turn, err = pass(s.turn); err != nil {
		return err
	}
	heel, rests := resting(q.Turn.Lift)
	switch {
	case s.heel != nil:
		heel = *s.heel
	case !rests:
		return worksheet.Wrongf("", "the turn does not rest on the heel, so that nobody knows from where lift counts: begin and end it there, or say what the lift reads on the heel with --heel")
	case heel != 0:
		s.says = append(s.says, worksheet.Sayf("lift counts from %v, where the turn rests lowest", heel))
	}
	above(q.Turn.Lift, heel)
	if s.reference != "" {
		p, err := pass(s.reference)
		if err != nil {
			return err
		}
		above(p.Lift, heel)
		q.Reference = &p
	}
	return nil
}

// resting is what the lifts read on the heel: the middle of the lowest twentieth,
// if that is a rest.
func resting(lifts []measure.Length) (heel measure.Length, rests bool) {
	if len(lifts) == 0 {
		return 0, false
	}
	sorted := slices.Sorted(slices.Values(lifts))
	heel = sorted[len(sorted)/40]
	return heel, heel-sorted[0] < restsWithin && sorted[len(sorted)/20]-heel < restsWithin
}

// restsWithin is how far readings of a rest lie apart at most.
const restsWithin = 30 * measure.Micrometre

func above(dst []measure.Length, heel measure.Length) {
	for i := range dst {
		dst[i] -= heel
	}
}

// readColumns reads named columns of numbers, in millionths of their unit: whole
// nanometres of a _mm column, microdegrees of a _deg one.
func readColumns(path string, names ...string) (columns map[string][]int64, err error) {
	defer func() {
		if err != nil {
			err = inFile{err}
		}
	}()
	in, err := openText(path)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	r := csv.NewReader(in)
	r.ReuseRecord = true
	head, err := r.Read()
	if err != nil {
		return nil, fmt.Errorf("%s: no header row: expected one that names the columns, as --help says", path)
	}
	at := map[string]int{}
	for _, name := range names {
		at[name] = slices.IndexFunc(head, func(h string) bool { return strings.TrimSpace(strings.TrimPrefix(h, "\ufeff")) == name })
		if at[name] < 0 {
			return nil, fmt.Errorf("%s: no column for the %s: expected one that is named as --help says", path, kindOf(name))
		}
	}
	out := map[string][]int64{}
	for line := 2; ; line++ {
		record, err := r.Read()
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", path, err)
		}
		row := make([]int64, len(names))
		for i, name := range names {
			text := strings.TrimSpace(record[at[name]])
			l, err := measure.ParseLengthIn(text, measure.InMillimetres) // a degree counts as a millimetre
			if err != nil {
				return nil, fmt.Errorf("%s: line %d: %q is not a number, where the %s should be", path, line, text, kindOf(name))
			}
			row[i] = int64(l)
		}
		for i, name := range names {
			out[name] = append(out[name], row[i])
		}
	}
}

// kindOf is a column's name in words: "angle" of angle_deg.
func kindOf(name string) string {
	kind, _, _ := strings.Cut(name, "_")
	return kind
}
