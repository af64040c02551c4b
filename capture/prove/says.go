package prove

import (
	"fmt"

	"lobescribe/capture/worksheet"
)

// say puts what is to be done into a sentence.
func (g *Guide) say() {
	g.now.Says = g.sentence()
}

func (g *Guide) sentence() string {
	switch g.now.Stage {
	case Hang:
		return "Let the spindle hang free, so that it touches nothing, and take your hand away."
	case Home:
		return "Press the spindle home, as far as it goes in, and hold it there."
	case Snap:
		n := len(g.falls)
		switch {
		case g.place == nil:
			return "Let go, and put the spindle on the valve's retainer, or on anything hard that stands still, so that it is pushed in a little."
		case g.away.away:
			return "Let go, so that it snaps down, and wait until it stands still."
		case n == 0:
			return fmt.Sprintf("Lift the spindle off by 2 to 5 mm (0.1 to 0.2 in), and let go so that it snaps down: %d times.", Snaps)
		case n == Snaps-1:
			return "Once more: lift it and let it snap down."
		}
		return fmt.Sprintf("Lift it and let it snap down: %d more.", Snaps-n)
	case Other:
		return "Now let the retainer come from below: push the valve open by a millimetre and let it come back, where checking springs are fitted, or turn the engine by hand through one opening. Or finish without: then the play between the two directions stays unknown."
	}
	return "The indicator is proved."
}

// inBoth prints nanometres in both units: somebody who proves an indicator may not have
// said which is theirs yet.
func inBoth(nm float64) string { return worksheet.InBoth(worksheet.Rounded(length(nm))) }
