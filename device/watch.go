package device

import (
	"fmt"
	"math"
	"time"

	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// watch follows how a link behaves in time: how many readings a second come,
// whether they change, and whether silence is in order. It is a pure state
// machine; the time is handed in.
//
// Silence is in order for a board that speaks only when something moves. So a
// device is held to speak at rest only when it was seen to: when it repeated
// the same reading for a while, or when its rate was said. The silence of such
// a device is a stall, and the link is opened again.
type watch struct {
	expect float64 // readings a second, as said in the address; 0 if not

	openedAt measure.Stamp
	heard    int64 // bytes since the open
	lastByte measure.Stamp
	read     int64 // readings since the open
	lastRead measure.Stamp
	everRead bool
	refused  wire.Refused // since the last reading
	gaveUp   bool         // the link was opened again since nothing came, and nothing has come yet

	rate      float64
	gathers   bool          // its bytes are left to gather
	window    measure.Stamp // where the running window began
	windowed  int
	period    measure.Stamp // between readings, of late
	cameAt    measure.Stamp // of the last reading that was read as it came
	rested    int           // readings since, which came while the port was left alone
	pitch     float64       // µs between readings, over more of them than period
	pitchOf   int           // how many it is over
	rests     bool          // the port is left alone between two that are read as they come
	uneven    measure.Stamp // how far readings come from where the one before and the period put them
	lift      measure.Length
	angle     measure.Angle
	changedAt measure.Stamp
	same      int           // readings in a row that did not change
	sameSince measure.Stamp // when the first of them came
	atRest    bool          // it speaks at rest

	condition   string
	conditionAt measure.Stamp

	asks       bool
	interval   measure.Stamp
	asked      measure.Stamp
	askedFor   bool
	unanswered int
	waits      measure.Stamp // how long answers were seen to take, with room; 0: no longer than usual
	missed     int           // requests in a row that had no answer in time
	since      measure.Stamp // of the first of them, or of the one under way
	behind     bool          // the last answer may have been to the request before the last
	notBefore  measure.Stamp // when to ask again

	looked     measure.Stamp
	sleptAt    measure.Stamp
	sleptAwake time.Duration
}

const (
	quietStart = 250 * measure.Millisecond // silence after which a line begins whole
	stillAfter = 2 * measure.Second        // unchanged for so long is standing still
	restCount  = 20                        // unchanged readings, over
	restFor    = measure.Second            // so long: it speaks at rest

	silentLeast   = 1500 * measure.Millisecond // the least silence that is a stall
	silentPeriods = 8                          // and the least in periods
	silentAtFirst = 5 * measure.Second         // after an open: boards boot for seconds
	silentWord    = 3 * measure.Second         // silence that is worth a word

	// fastRate is where gathering begins. A period of it is how late a stamp may
	// become: at 60 degrees a second the crank turns 0.09 degrees in it, less than
	// a count of a usual encoder.
	fastRate = 700.0

	// evenEnough is how far, on average, readings may come from where they were
	// due, for those between two to be placed by the period: half of what a fast
	// device's times may be off.
	evenEnough = measure.Second / (2 * fastRate)

	paceKnown  = 16  // readings after which the pace of a device is known
	unevenOver = 16  // readings over which its evenness is taken
	pitchOver  = 256 // readings over which its pitch is: one that comes late strays those between two by a tenth of that

	conditionFor = 5 * measure.Second
	lookEvery    = measure.Second // at whether the port is still there
	sleptLeast   = 2 * measure.Second
	rateWindow   = 250 * measure.Millisecond
)

func (w *watch) opened(now measure.Stamp, awake time.Duration) {
	w.openedAt, w.heard, w.read, w.lastByte = now, 0, 0, now
	w.changedAt, w.same = now, 0
	w.asked, w.askedFor, w.unanswered, w.missed, w.notBefore = 0, false, 0, 0, 0
	w.looked = now
	w.rate, w.gathers, w.window, w.windowed = 0, false, now, 0
	w.uneven, w.rests, w.pitchOf = 256*evenEnough, false, 0 // it shows that it is even within a hundred readings
	w.sleptAt, w.sleptAwake = now, awake
}

func (w *watch) bytes(at measure.Stamp, n int) {
	w.heard += int64(n)
	w.gaveUp = false
	w.lastByte = at
}

// took takes note of what a chunk gave.
func (w *watch) took(o *wire.Out, f wire.Found, rested bool) {
	if n := len(o.Conditions); n > 0 {
		w.condition, w.conditionAt = o.Conditions[n-1].Says, o.Conditions[n-1].At
		w.unanswered = 0
	}
	if o.Refused.Total() > o.Refused.Unanswered {
		w.unanswered = 0
	}
	if len(o.Readings) == 0 {
		w.refused = w.refused.Plus(o.Refused)
		return
	}
	w.refused = wire.Refused{}
	w.unanswered = 0
	at := w.lastByte
	if rested {
		w.rested += len(o.Readings)
	} else {
		w.came(at, w.rested+len(o.Readings))
	}
	for _, r := range o.Readings {
		step, turn := max(f.Resolution, 1), max(f.AngleStep, measure.Degree/20)
		if w.read == 0 || (r.Lift-w.lift).Abs() > step || angleAbs(r.Angle-w.angle) > turn {
			w.lift, w.angle, w.changedAt = r.Lift, r.Angle, at
			w.same, w.sameSince = 0, at
		}
		w.read++
		w.same++
	}
	w.lastRead, w.everRead = at, true
	// What was held (a finder's sample, say) came over all its time and not in
	// this moment: it tells the rate by itself.
	n := len(o.Readings)
	if span := o.Readings[n-1].At - o.Readings[0].At; span >= rateWindow {
		w.rate, w.window, w.windowed = float64(n-1)/span.Seconds(), at, 0
	} else {
		w.windowed += n
	}
	if w.same >= restCount && at-w.sameSince >= restFor && w.period < measure.Second {
		w.atRest = true
	}
}

// came takes note that the last of n readings came at this time, the one before
// them at cameAt.
func (w *watch) came(at measure.Stamp, n int) {
	took := at - w.cameAt
	w.cameAt, w.rested = at, 0
	if w.read == 0 {
		return
	}
	each := took / measure.Stamp(n)
	if w.period == 0 {
		w.period = each
	}
	w.period += (each - w.period) / 8

	off := math.Abs(float64(took) - float64(n)*w.pitch)
	w.uneven += (measure.Stamp(off) - w.uneven) / unevenOver
	if off > w.pitch/2 && math.Abs(w.pitch-float64(w.period)) > float64(w.period)/4 { // it sends at another pace now
		w.pitch, w.pitchOf = float64(w.period), 1
		return
	}
	w.pitchOf = min(w.pitchOf+n, pitchOver)
	w.pitch += (float64(took)/float64(n) - w.pitch) * min(1, float64(n)/float64(w.pitchOf))
}

// even reports whether readings come so evenly that those between two can be placed
// by the period.
func (w *watch) even() bool {
	most := min(evenEnough, w.period/8)
	if w.rests {
		most *= 2 // a busy computer must not make it come and go
	}
	w.rests = w.steady() > 0 && !w.gathers && w.uneven <= most
	return w.rests
}

// follow places readings that came while the port was left alone behind the last
// that came before, at the usual pace or closer if they came by then.
func (w *watch) follow(readings []measure.Reading, last measure.Stamp) {
	n := len(readings)
	each := min(w.pitch, float64(readings[n-1].At-last)/float64(n))
	for i := range readings {
		readings[i].At = last + measure.Stamp(each*float64(i+1))
	}
}

// fast reports whether readings follow each other so closely that the bytes
// may be left to gather: the last of them then has its time to within one
// period, and pace puts the others before it. A slower device is read at once,
// for arrival is all that tells the time of its readings.
func (w *watch) fast() bool {
	least := fastRate
	if w.gathers {
		least = fastRate * 2 / 3 // a busy computer must not make it come and go
	}
	w.gathers = !w.asks && w.rate >= least
	return w.gathers
}

// steady returns the time between readings of a device that sends them by
// itself, one after the other; 0 of any other.
func (w *watch) steady() measure.Stamp {
	if w.asks || w.read < paceKnown {
		return 0
	}
	return w.period
}

// pace moves apart the readings of one chunk of a device whose pace is known,
// whose last reading before was at last. Several lines in one read mean that
// something held them up, a timer in the converter or a busy computer: they
// were measured one after the other and not as fast as the line could carry
// them. The latest keeps its time; the others are put before it at the usual
// pace, or closer if there is no room for that.
func (w *watch) pace(readings []measure.Reading, last measure.Stamp) {
	n := measure.Stamp(len(readings))
	if n < 2 || w.read < paceKnown || w.period <= 0 {
		return
	}
	end := readings[n-1].At
	each := min(w.period, (end-last)/n)
	if each*(n-1) <= end-readings[0].At {
		return
	}
	for i := range readings {
		readings[i].At = end - each*(n-1-measure.Stamp(i))
	}
}

func angleAbs(a measure.Angle) measure.Angle {
	if a < 0 {
		return -a
	}
	return a
}

// rateAt returns the readings a second of late.
func (w *watch) rateAt(now measure.Stamp) float64 {
	if d := now - w.window; d >= rateWindow {
		inst := float64(w.windowed) / d.Seconds()
		if w.rate == 0 {
			w.rate = inst
		}
		w.rate += (inst - w.rate) * (1 - math.Exp(-d.Seconds()/2))
		if w.rate < 0.01 {
			w.rate = 0
		}
		w.window, w.windowed = now, 0
	}
	return w.rate
}

// speaks reports whether silence of the device would be a fault.
func (w *watch) speaks() bool { return w.atRest || w.expect > 0 && !w.asks }

// silence returns how long nothing has come.
func (w *watch) silence(now measure.Stamp) measure.Stamp { return now - w.lastByte }

// patience is how much silence is borne.
func (w *watch) patience() measure.Stamp {
	period := w.period
	if period == 0 && w.expect > 0 {
		period = measure.Stamp(float64(measure.Second) / w.expect)
	}
	return max(silentLeast, silentPeriods*period)
}

// stalled reports whether the link should be given up and opened again.
func (w *watch) stalled(now measure.Stamp) bool {
	switch {
	case w.asks:
		return w.unanswered >= 4 && w.silence(now) > max(silentLeast, silentAtFirst*measure.Stamp(b2i(w.heard == 0)))
	case !w.speaks():
		return false
	case w.heard == 0:
		return w.silence(now) > max(silentAtFirst, w.patience())
	}
	return w.silence(now) > w.patience()
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// state tells how it stands while the link is open.
func (w *watch) state(now measure.Stamp, f wire.Found) (s State, says string, silent bool) {
	quiet := w.silence(now)
	switch {
	case f.Format == "none":
		return StandingStill, "open, for its foot switch", false
	case w.gaveUp:
		return Stalled, fmt.Sprintf("nothing has come for %.0f s; opened again, and still nothing: is it switched on?", (now - w.lastRead).Seconds()), true
	case w.heard == 0 && quiet > silentWord:
		if w.asks {
			return Stalled, "open, but it does not answer: is it switched on, and is poll= what it wants to hear?", true
		}
		return Stalled, "open, but nothing comes: is it switched on and set to send? some send only when asked (poll=)", true
	case w.heard == 0:
		return Settling, "open; waiting for readings", false
	case w.asks && w.unanswered >= 4:
		return Stalled, fmt.Sprintf("it has not answered for %.0f s", quiet.Seconds()), true
	case w.speaks() && quiet > w.patience():
		return Stalled, fmt.Sprintf("nothing has come for %.1f s", quiet.Seconds()), true
	case w.read == 0:
		if !f.Settled {
			return Settling, f.Says, false
		}
		if why := w.refused.Mostly(); why != "" {
			return Settling, "bytes come, but no reading: " + why, false
		}
		return Settling, "bytes come, but no reading yet", false
	case !f.Settled && quiet < measure.Second: // it finds again
		return Settling, f.Says, true
	case now-w.lastRead > max(2*measure.Second, silentPeriods*w.period) && quiet < measure.Second:
		return Settling, "bytes come, but they are no readings any more" + because(w.refused, f), true
	case quiet > silentWord:
		return StandingStill, fmt.Sprintf("silent for %.0f s: in order if it speaks only when something moves", quiet.Seconds()), true
	case now-w.changedAt > stillAfter:
		return StandingStill, "readings come and stand still", false
	}
	return Flowing, "readings come", false
}

// because tells why nothing is a reading any more.
func because(r wire.Refused, f wire.Found) string {
	if why := r.Mostly(); why != "" {
		return " (" + why + "): " + f.Says
	}
	return ": " + f.Says
}

// conditionAt returns what the device said of itself lately.
func (w *watch) conditionNow(now measure.Stamp) string {
	if w.condition != "" && now-w.conditionAt > conditionFor {
		w.condition = ""
	}
	return w.condition
}

// age returns how old the last reading is; 0 if there was none.
func (w *watch) age(now measure.Stamp) measure.Stamp {
	if !w.everRead {
		return 0
	}
	return max(now-w.lastRead, 0)
}

// An answer is waited for as long as usual, and of a device that was seen to take
// its time for longer.
const (
	usualAnswer   = 300 * measure.Millisecond
	longestAnswer = 1200 * measure.Millisecond
)

// answerTime is how long an answer may take.
func (w *watch) answerTime() measure.Stamp {
	return max(usualAnswer, 2*w.interval, w.waits)
}

// ask takes note of a request.
func (w *watch) ask(now measure.Stamp) {
	if w.missed == 0 {
		w.since = now
	}
	w.asked, w.askedFor = now, true
}

// notAnswered takes note that an answer did not come in time. It may be on its
// way, so the next is waited for longer: requests must not pile up before a slow
// device.
func (w *watch) notAnswered() {
	w.askedFor = false
	w.unanswered++
	w.missed++
	w.waits = min(2*w.answerTime(), longestAnswer)
}

// answered takes note of an answer. A device that was asked twice before it
// answered, and then takes its time again, has the other request before it still:
// it gets the time to answer that, too, to nobody.
func (w *watch) answered() {
	if took := w.lastByte - w.asked; w.missed == 0 && w.behind && took > usualAnswer {
		w.notBefore = w.lastByte + min(took+took/2, longestAnswer)
	}
	w.behind = w.missed > 0
	w.waits = min(2*(w.lastByte-w.since), longestAnswer)
	w.askedFor, w.missed = false, 0
}

// askEvery returns the interval between two requests.
func askEvery(rate float64) measure.Stamp {
	const usual = 20
	if rate == 0 {
		rate = usual
	}
	return measure.Stamp(float64(measure.Second) / rate)
}

// lookNow reports whether it is time to look for the port again.
func (w *watch) lookNow(now measure.Stamp) bool {
	if now-w.looked < lookEvery {
		return false
	}
	w.looked = now
	return true
}

// slept returns how long the computer slept since the last call: the time by
// which the clock that goes on meanwhile got ahead.
func (w *watch) slept(now measure.Stamp, awake time.Duration) measure.Stamp {
	d := measure.StampOf(awake-w.sleptAwake) - (now - w.sleptAt)
	w.sleptAt, w.sleptAwake = now, awake
	if d < sleptLeast {
		return 0
	}
	return d
}
