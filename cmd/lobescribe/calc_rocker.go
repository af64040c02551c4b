package main

import (
	"math"
	"strings"

	"github.com/spf13/cobra"

	"lobescribe/capture/rocker"
	"lobescribe/device/measure"
)

func newCalcRockerCommand() *cobra.Command {
	return calculation[rocker.Question, rocker.Answer]{
		use:   "rocker",
		short: "Rocker geometry: ratio, sweep and angles now, and what puts it square",
		long: `The geometry of one rocker from what a caliper can measure: lift, ratio, sweep
of the tip on the stem and angles as it stands, and by how much to raise the
stand and lengthen the pushrod so that it is square to the valve at half lift.
What was not measured is taken at a usual value; the answer says so, and by how
much it depends on it.`,
		example: `  lobescribe calc rocker --ratio 1.4 --lift "0.435 in" --below "0.140 in"
  lobescribe calc rocker --valve-arm "38 mm" --adjuster-arm "27 mm" --bend 8 --lobe-lift "7.6 mm" --lash "0.15 mm" --below "3.5 mm" --pushrod "221 mm"`,
		compute: rocker.Solve,
		table:   rockerTable,
	}.command()
}

func rockerTable(t *answerTable, a rocker.Answer) {
	t.line("square at half lift", "%s (to %s either way)", a.Verdict, t.length(a.Tolerance))
	t.line(either(a.Raise, "raise", "lower")+" the stand by", "%s", t.lengthU(a.Raise.Abs(), a.RaiseU))
	t.line("pushrod "+either(a.PushrodLonger, "longer", "shorter")+" by", "%s", t.lengthU(a.PushrodLonger.Abs(), a.PushrodLongerU))
	t.line("sweep now", "%s, least possible %s", t.lengthU(a.Now.Sweep, a.SweepU), t.length(a.LeastSweep))
	t.line("open against closed", "%s now, %s when square", t.length(a.Now.OpenVsClosed), t.length(a.Square.OpenVsClosed))
	for _, s := range []struct {
		name string
		rocker.Setting
	}{{"as it is", a.Now}, {"when square", a.Square}} {
		t.line(s.name, "lift %s from %s at the lobe, mean ratio %.3f, swing %.2f°", t.length(s.Lift), t.length(s.LobeLift), s.MeanRatio, s.Swing.Degrees())
		for _, p := range []struct {
			name string
			rocker.Pose
		}{{"closed", s.Closed}, {"half lift", s.Half}, {"full lift", s.Full}} {
			t.poseLine(p.name, p.Pose)
		}
		for _, p := range s.At {
			t.poseLine("at "+t.length(p.Lift), p)
		}
	}
	if a.SquareBelow != 0 {
		t.line("square shows as", "adjuster's end %s below the valve's end at half lift", t.length(a.SquareBelow))
	}
	for _, d := range a.Depends {
		how := "measured"
		if d.Assumed {
			how = "assumed"
		}
		t.line("depends on", "%s (%s, ± %s): raise ± %s, pushrod ± %s", d.Field, how, t.uncertain(d), t.length(d.RaiseU), t.length(d.PushrodU))
	}
	t.says(a.Says)
	t.basis(a.Basis)
}

func (t *answerTable) poseLine(name string, p rocker.Pose) {
	way := "below"
	if p.Angle < 0 {
		way = "above"
	}
	t.line("  "+name, "arm %.2f° %s square, ratio %.3f, contact %s, drags the stem: %s", math.Abs(p.Angle.Degrees()), way, p.Ratio, t.length(p.Contact), p.Thrust)
}

// uncertain writes a dependence's uncertainty in the unit its field names.
func (t *answerTable) uncertain(d rocker.Dependence) string {
	switch {
	case strings.HasSuffix(d.Field, "_mm"):
		return t.length(measure.FromMillimetres(d.U))
	case strings.HasSuffix(d.Field, "_deg"):
		return measure.FromDegrees(d.U).String()
	}
	return trimmedNumber(d.U)
}
