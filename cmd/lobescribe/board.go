package main

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/board"
	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

func newBoard() *cobra.Command {
	var testFor time.Duration
	cmd := &cobra.Command{
		Use:   "board ADDRESS",
		Short: "Test a board of your own: edges seen, index to index, the indicator's bits",
		Long: `Listens to a board with this project's firmware while you turn the crank by more
than two turns and move the spindle, and says how board, encoder, index and
indicator do. Nothing is written to it.

Battery off before you wire near the engine; cables clear of the crank.

  lobescribe board 'serial:/dev/ttyUSB0?baud=115200&counts=2400'`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			p, err := newPrinter(cmd)
			if err != nil {
				return err
			}
			o, err := deviceOptions(cmd)
			if err != nil {
				return err
			}
			a, err := parseDevice(args[0], o)
			if err != nil {
				return err
			}
			if testFor <= 0 {
				return wrongWords("--for must be a time, as in 20s")
			}
			fmt.Fprintf(cmd.ErrOrStderr(), "for %v: turn the crank by more than two turns, and move the spindle\n", testFor)
			r, err := testBoard(cmd.Context(), a, o, testFor)
			if err != nil {
				return err
			}
			counts, _ := strconv.ParseInt(a.Value("counts"), 10, 64) // zero where it was not said
			v := struct {
				board.Result
				Findings []board.Finding `json:"findings"`
			}{r, r.Findings(counts)}
			return p.print(v, func(w io.Writer, _ measure.Unit) error {
				for _, f := range v.Findings {
					mark := "ok"
					if !f.Good {
						mark = "! "
					}
					if _, err := fmt.Fprintf(w, "%s %-9s %s\n", mark, f.Part, f.Says); err != nil {
						return err
					}
				}
				return nil
			})
		},
	}
	cmd.Flags().DurationVar(&testFor, "for", 20*time.Second, "how long to listen")
	addJSONFlag(cmd) // what it says of the wires holds no length
	return cmd
}

// boardListener is a decoder that only has the self-test listen.
type boardListener struct{ test *board.SelfTest }

func (l boardListener) Decode(c wire.Chunk, _ *wire.Out) { l.test.Take(c.Bytes) }
func (boardListener) Reset()                             {}
func (boardListener) Found() wire.Found {
	return wire.Found{Settled: true, Format: "board", Says: "the board is tested"}
}

// testBoard listens to a board for a while.
func testBoard(ctx context.Context, a address.Address, o device.Options, d time.Duration) (board.Result, error) {
	ctx, cancel := context.WithTimeout(ctx, d)
	defer cancel()
	var test board.SelfTest
	o.Decoder = func(address.Address, device.DecoderOptions) (device.Decoder, error) { return boardListener{&test}, nil }
	var last device.Status
	for e := range device.Open(ctx, a, o).Events() {
		if e.Status != nil && e.Status.State != device.Closed {
			last = *e.Status
		}
	}
	r := test.Result()
	if r.Lines == 0 && (last.State == device.Absent || last.State == device.Refused) {
		return r, fmt.Errorf("test the board: %s", last.Says)
	}
	return r, nil
}
