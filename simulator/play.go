package simulator

import (
	"context"
	"fmt"
	"io"
	"time"

	"lobescribe/device/measure"
)

// PlayBytes writes timed bytes to w at the pace of their stamps, times speed;
// at once where speed is 0. Before them it does the first of mischiefs to
// them, taking each chunk for a line.
//
// It returns nil at the end, the context's error when that is done, and what
// the writer said.
func PlayBytes(ctx context.Context, chunks []Chunk, w io.Writer, speed float64, mischiefs ...Mischief) error {
	for _, m := range mischiefs {
		if err := m.check(); err != nil {
			return err
		}
		chunks = m.Spoil(chunks, "\r\n")
	}
	pace := pacer{speed: speed, started: time.Now()}
	for _, c := range chunks {
		if err := pace.wait(ctx, c.At); err != nil {
			return err
		}
		if _, err := w.Write(c.Bytes); err != nil {
			return fmt.Errorf("playing bytes at %v: %w", c.At, err)
		}
	}
	return nil
}

// pacer waits for stamps of a time that runs speed times as fast as ours.
type pacer struct {
	speed   float64 // 0: does not wait
	started time.Time
}

// now returns the stamp that it is.
func (p pacer) now() measure.Stamp {
	return measure.Stamp(float64(time.Since(p.started).Microseconds()) * p.speed)
}

// wait returns when a stamp has come, or early with the context's error. The
// monotonic clock is asked each time, so that lateness does not add up.
func (p pacer) wait(ctx context.Context, until measure.Stamp) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if p.speed <= 0 {
		return nil
	}
	d := time.Duration(float64(until)/p.speed)*time.Microsecond - time.Since(p.started)
	if d <= 0 {
		return nil
	}
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
