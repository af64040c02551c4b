package probe

import (
	"context"
	"fmt"
	"strings"
	"time"

	"lobescribe/device/address"
	"lobescribe/device/board"
	"lobescribe/device/dial"
	"lobescribe/device/lines"
	"lobescribe/device/lines/guess"
)

// Step is what was heard at one setting of the line.
type Step struct {
	Line  address.Line `json:"line"`
	Bytes int          `json:"bytes"`
	Score float64      `json:"score"` // from 0 to 1
	Says  string       `json:"says"`
	// Assumes is what nothing in the lines told and was assumed.
	Assumes string `json:"assumes,omitempty"`
	// Firmware is the device's name and version, where its lines tell them.
	Firmware string `json:"firmware,omitempty"`

	board bool
}

// Result is what a probe came to.
type Result struct {
	// Best is the step with the highest score, Steps are all in order.
	Best  Step   `json:"best"`
	Steps []Step `json:"steps"`
	// Sure tells whether Best is good enough to be opened without asking.
	Sure bool `json:"sure"`
	// Address opens the port as found; without settings if it is not sure.
	Address address.Address `json:"-"`
	Says    string          `json:"says"`
}

// probeBauds are tried in this order: the usual speed of indicators first,
// then that of microcontroller boards, then the rest.
var probeBauds = [...]int{9600, 115200, 4800, 19200, 38400, 57600, 2400, 1200}

// How long a probe takes.
const (
	probeAtMost = 15 * time.Second
	// Bytes come at a wrong speed too, though as rubbish; so a port that is
	// silent at first is silent.
	probeSilence = 5 * time.Second
	probeEach    = 1500 * time.Millisecond
	probeEnough  = 400 // bytes
	probeSure    = 0.85
)

// Port listens at the usual speeds until it hears lines of readings. It never
// writes to the port, takes 15 s at most, and opens the port once, since each
// open may reset a board. Seven bits with parity are told from the same bytes.
// progress, which may be nil, is called after each step.
func Port(ctx context.Context, port string, progress func(Step)) (Result, error) {
	a := address.Address{Kind: address.Serial, Port: port}
	link, err := dial.Port(port, a)
	if err != nil {
		return Result{}, fmt.Errorf("probe: %w", err)
	}
	defer link.Close()
	r, err := probe(ctx, link, progress)
	if err != nil {
		return r, fmt.Errorf("probe %s: %w", port, err)
	}
	r.Address = a
	if r.Sure {
		if l := r.Best.Line; l.Bits == 7 {
			r.Address.Bits, r.Address.Parity = l.Bits, l.Parity
		}
		if r.Best.Line.Baud != 9600 {
			r.Address.Baud = r.Best.Line.Baud
		}
	}
	return r, nil
}

// tunable is a line whose speed can be changed while it is open.
type tunable interface {
	// Tune sets the speed, 8N1, and drops what came at the old one.
	Tune(baud int) error
	// Read is as of [port.Link].
	Read(p []byte) (int, error)
}

func probe(ctx context.Context, port tunable, progress func(Step)) (r Result, err error) {
	ctx, cancel := context.WithTimeout(ctx, probeAtMost)
	defer cancel()
	for i, baud := range probeBauds {
		if err := port.Tune(baud); err != nil {
			continue // a speed that this port does not have
		}
		wait := probeEach
		if i == 0 {
			wait = probeSilence
		}
		sample, err := hear(ctx, port, wait)
		if err != nil {
			return r, err
		}
		step := judgeStep(sample, address.Line{Baud: baud, Bits: 8, Parity: 'N', Stop: "1"})
		r.Steps = append(r.Steps, step)
		if progress != nil {
			progress(step)
		}
		if step.Score > r.Best.Score || i == 0 {
			r.Best = step
		}
		if step.Score >= probeSure || i == 0 && len(sample) == 0 || ctx.Err() != nil {
			break
		}
	}
	r.Sure = r.Best.Score >= probeSure
	if r.Sure && r.Best.board && r.Best.Firmware == "" {
		if err := hearVersion(ctx, port, &r.Best); err != nil {
			return r, err
		}
		r.Steps[len(r.Steps)-1].Firmware = r.Best.Firmware
	}
	switch {
	case r.Sure:
		r.Says = fmt.Sprintf("%s: %s", r.Best.Line, r.Best.Says)
		if said, ok := board.ParseVersion(r.Best.Firmware); ok {
			r.Says += fmt.Sprintf("; firmware %d", said.Version)
			if old := said.Outdated(); old != "" {
				r.Says += ": " + old
			}
		}
		if r.Best.Assumes != "" {
			r.Says += "; assumed: " + r.Best.Assumes
		}
	case r.Best.Bytes == 0:
		r.Says = "nothing came: is it switched on and set to send? some send only at a button or when asked (poll=)"
	default:
		r.Says = fmt.Sprintf("bytes come, but at no speed are they lines of readings; nearest is %s", r.Best.Line)
	}
	return r, nil
}

func judgeStep(sample []byte, l address.Line) Step {
	j := guess.Judge(sample, lines.Options{})
	switch {
	case j.SevenEven:
		l.Bits, l.Parity = 7, 'E'
	case j.SevenOdd:
		l.Bits, l.Parity = 7, 'O'
	}
	s := Step{Line: l, Bytes: len(sample), Score: j.Score, Says: j.Says, Assumes: j.Assumes, Firmware: j.Firmware, board: j.Format == "board"}
	if len(sample) == 0 {
		s.Says = "silent"
	}
	return s
}

// hearVersion listens until the board has said its version, which it does every two
// seconds.
func hearVersion(ctx context.Context, port tunable, s *Step) error {
	ctx, cancel := context.WithTimeout(ctx, 2500*time.Millisecond)
	defer cancel()
	var sample []byte
	for s.Firmware == "" && ctx.Err() == nil {
		more, err := hear(ctx, port, 500*time.Millisecond)
		if err != nil {
			return err
		}
		sample = append(sample, more...)
		s.Firmware = guess.Judge(sample, lines.Options{}).Firmware
	}
	return nil
}

// hear reads until there is enough to judge by, or for as long as wait: enough
// are many bytes, or a second of a few whole lines.
func hear(ctx context.Context, port tunable, wait time.Duration) ([]byte, error) {
	var sample []byte
	var first time.Time
	start := time.Now()
	buffer := make([]byte, 1024)
	for ctx.Err() == nil {
		n, err := port.Read(buffer)
		if err != nil {
			return nil, err
		}
		if n > 0 && len(sample) == 0 {
			first = time.Now()
		}
		sample = append(sample, buffer[:n]...)
		now := time.Now()
		switch {
		case len(sample) >= probeEnough,
			len(sample) > 0 && now.Sub(first) > time.Second && strings.Count(string(sample), "\n")+strings.Count(string(sample), "\r") >= 6,
			len(sample) > 0 && now.Sub(first) > probeEach && now.Sub(start) > wait/2,
			len(sample) == 0 && now.Sub(start) > wait:
			return sample, nil
		}
	}
	return sample, nil
}
