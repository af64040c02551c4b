package bytelog

import (
	"context"
	"errors"
	"io"
	"math/rand/v2"
	"time"
)

// Player plays a recording back: it writes the bytes at their times.
type Player struct {
	// Speed is how much faster than it was recorded; 0 is 1, and below 0 is
	// as fast as it goes.
	Speed float64
	// Mark is called where the link was lost or opened; nil passes over it.
	// Whoever plays through a pseudo-tty can pull it here.
	Mark func(Kind) error
	// Hostile, if not nil, makes the link worse than it was: pieces are cut at
	// odd places, and garbage lines, lines without end, and stalls are put in
	// between. The same seed does the same.
	Hostile *rand.Rand
}

// Play writes the recording to w until its end or until ctx ends.
func (p Player) Play(ctx context.Context, r *Reader, w io.Writer) error {
	speed := p.Speed
	if speed == 0 {
		speed = 1
	}
	start := time.Now()
	var stalled time.Duration
	for {
		e, err := r.Next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if speed > 0 {
			due := time.Duration(float64(e.At.Duration())/speed) + stalled
			if err := sleep(ctx, due-time.Since(start)); err != nil {
				return err
			}
		} else if err := ctx.Err(); err != nil {
			return err
		}
		switch {
		case e.Kind != Bytes:
			if p.Mark != nil {
				if err := p.Mark(e.Kind); err != nil {
					return err
				}
			}
		case p.Hostile == nil:
			if _, err := w.Write(e.Bytes); err != nil {
				return err
			}
		default:
			stall, err := p.worsen(ctx, w, e.Bytes, speed)
			if err != nil {
				return err
			}
			stalled += stall
		}
	}
}

// worsen writes b in pieces, with things put in where a line has ended, and
// returns how long it stalled.
func (p Player) worsen(ctx context.Context, w io.Writer, b []byte, speed float64) (stall time.Duration, err error) {
	for len(b) > 0 {
		n := 1 + p.Hostile.IntN(min(len(b), 24))
		if _, err := w.Write(b[:n]); err != nil {
			return stall, err
		}
		ended := b[n-1] == '\n'
		b = b[n:]
		if !ended {
			continue
		}
		switch p.Hostile.IntN(24) {
		case 0: // noise
			junk := make([]byte, 1+p.Hostile.IntN(40))
			for i := range junk {
				junk[i] = byte(0x80 + p.Hostile.IntN(0x80))
			}
			_, err = w.Write(append(junk, '\r', '\n'))
		case 1: // a line without end
			long := make([]byte, 300)
			for i := range long {
				long[i] = '8'
			}
			_, err = w.Write(append(long, '\r', '\n'))
		case 2:
			_, err = w.Write([]byte("\x00\x00\r\n"))
		case 3:
			if speed > 0 {
				pause := time.Duration(p.Hostile.IntN(300)) * time.Millisecond
				stall += pause
				err = sleep(ctx, pause)
			}
		}
		if err != nil {
			return stall, err
		}
	}
	return stall, nil
}

func sleep(ctx context.Context, d time.Duration) error {
	if d <= 0 {
		return ctx.Err()
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}
